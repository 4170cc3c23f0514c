"""What several tests of this room need."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from nightcure.oven.log import Log
from nightcure.oven.read_log import read_log
from tests.oven.tables import Read


@pytest.fixture
def read(tmp_path: Path) -> Read:
    def at_once(content: str, **options: Any) -> Log:
        path = tmp_path / "log.csv"
        path.write_text(content, encoding="utf-8")
        return read_log(path, **options)

    return at_once
