"""The [model] and [regulator] sections that a survey makes, as text and into a file."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

from ..bench.file import write_checked
from ..errors import BadInput

if TYPE_CHECKING:
    from ..oven.survey import Survey
    from ..oven.tuning import Tuned


def _lines(values: dict[str, float | str | bool]) -> list[str]:
    lines = []
    for key, value in values.items():
        if isinstance(value, bool):
            shown = str(value).lower()
        elif isinstance(value, str):
            shown = f'"{value}"'
        else:
            shown = repr(float(f"{value:.4g}"))
        lines.append(f"{key} = {shown}")
    return lines


def model_section(found: Survey) -> str:
    """[model] as a survey found it."""
    loss = found.loss_w_per_k
    note = "" if loss is None else f"  # by survey; loss {loss.low:.3g} to {loss.high:.3g} W/K"
    return "\n".join([f"[model]{note}", *_lines({**found.model()})])


def regulator_section(tuned: Tuned) -> str:
    """[regulator] as the rules give it."""
    return "\n".join([f"[regulator]  # {tuned.gains.rule}", *_lines(tuned.regulator())])


def sections(found: Survey, tuned: Tuned) -> str:
    """Both sections as TOML."""
    return f"{model_section(found)}\n\n{regulator_section(tuned)}"


def put_into(oven: Path, found: Survey, tuned: Tuned) -> None:
    """Replace both sections of an oven.toml; the rest stays, the old file is kept as .bak.

    Raises:
        BadInput: the file with the new sections would not be a valid one; it is left as it was.
    """
    old = oven.read_text(encoding="utf-8-sig")
    new = old
    for name, text in (("model", model_section(found)), ("regulator", regulator_section(tuned))):
        found_at = re.search(rf"^\[{name}\].*?(?=^\[|\Z)", new, flags=re.M | re.S)
        if found_at:
            new = f"{new[: found_at.start()]}{text}\n\n{new[found_at.end() :]}"
        else:
            new = f"{new.rstrip()}\n\n{text}\n"
    try:
        shutil.copy2(oven, oven.with_suffix(oven.suffix + ".bak"))  # as private as the file itself
    except OSError as error:
        raise BadInput(f"{oven} cannot be kept as .bak: {error.strerror}.") from None
    write_checked(oven, new, replace=True)
