"""What several tests of this room need."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from nightcure.survey.log import Log
from nightcure.survey.read_log import read_log
from tests.survey.tables import Read


@pytest.fixture
def read(tmp_path: Path) -> Read:
    def at_once(content: str, **options: Any) -> Log:
        path = tmp_path / "log.csv"
        path.write_text(content, encoding="utf-8")
        return read_log(path, **options)

    return at_once
