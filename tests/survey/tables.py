"""A lump's heat-and-cool test as the rows of a table."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest

from nightcure.errors import BadInput
from nightcure.survey.log import Log


def air_c(t_s: float, off_s: float = 1800.0) -> float:
    """A lump that warms and cools."""
    peak = 25.0 * (1 - math.exp(-off_s / 2000.0))
    if t_s <= off_s:
        return 9.0 + 25.0 * (1 - math.exp(-t_s / 2000.0))
    return 9.0 + peak * math.exp(-(t_s - off_s) / 2000.0)


ROWS = [(60 * i, air_c(60 * i), int(i < 30)) for i in range(91)]


def text(rows: list[tuple[Any, ...]], head: str = "time_s,air_c,heater", sep: str = ",") -> str:
    return "\n".join([head, *(sep.join(str(x) for x in row) for row in rows)]) + "\n"


Read = Callable[..., Log]


def refused(read: Read, content: str, **options: Any) -> str:
    with pytest.raises(BadInput) as caught:
        read(content, **options)
    assert str(caught.value).endswith(".")
    return str(caught.value)
