"""`nightcure cure` as a test asks it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from typer.testing import CliRunner, Result

from nightcure.cli.main import app

GOOD = "time_s,part_c\n0,20\n3600,20\n7200,20\n10800,20\n14400,20\n"


def nightcure(*arguments: str | Path, typed: str | None = None) -> Result:
    return CliRunner().invoke(app, [str(a) for a in arguments], input=typed)


def cured(card: str | Path, history: Path, *more: str) -> dict[str, Any]:
    result = nightcure("cure", "run", card, history, "--json", *more)
    assert result.exit_code == 0, result.stderr
    found: dict[str, Any] = json.loads(result.stdout)
    return found
