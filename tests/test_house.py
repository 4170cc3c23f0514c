"""The house's order: imports run downhill, and the controller stays small."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent

HEAVY = {"numpy", "scipy", "fastapi", "uvicorn", "starlette", "plotext", "nightcure_web"}
#: What the controller's process is made of; `oven` and `simulate.rehearse` belong to the planner's.
CONTROLLER = (
    "nightcure.cli.main",
    "nightcure.daemon.daemon",
    "nightcure.board.relay",
    "nightcure.ledger.inbox",
    "nightcure.ledger.writer",
    "nightcure.loop.loop",
    "nightcure.board.ds18b20",
)


@pytest.fixture(scope="module")
def contracts() -> str:
    """What the import linter says of the contracts in pyproject.toml."""
    done = subprocess.run(
        [Path(sys.executable).parent / "lint-imports"],
        cwd=ROOT, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout
    return done.stdout


@pytest.mark.parametrize(
    "contract",
    [
        "imports run downhill",
        "the page knows the ledger, never the heater",
        "the controller imports nothing of the web",
        "the ledger knows plain records only",
        "the oven is a leaf",
        "the loop does no I/O of its own and needs no numerics",
    ],
)
def test_the_contracts_are_kept(contracts: str, contract: str) -> None:
    assert f"{contract} KEPT" in contracts


def all_modules() -> set[str]:
    """Dotted names of the controller's modules and packages, one level down."""
    package = ROOT / "controller" / "nightcure"
    return {
        f"nightcure.{path.stem}"
        for path in package.iterdir()
        if (path.suffix == ".py" or (path / "__init__.py").exists())
        and path.stem not in ("__init__", "__main__", "__pycache__")
    }


def test_every_module_has_its_place() -> None:
    """A new module is named in the layers or is one of the leaves, and may not import the web."""
    linter = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["importlinter"]
    by_name = {c["name"]: c for c in linter["contracts"]}
    placed = {
        ".".join(name.strip().split(".")[:2])
        for layer in by_name["imports run downhill"]["layers"]
        for name in layer.split("|")
    }
    assert all_modules() - placed == {"nightcure.ledger", "nightcure.oven", "nightcure.scenario"}
    webless = by_name["the controller imports nothing of the web"]["source_modules"]
    assert all_modules() - set(webless) == {"nightcure.cli"}
    strangers = set(by_name["the ledger knows plain records only"]["forbidden_modules"])
    assert all_modules() - strangers == {"nightcure.ledger", "nightcure.errors"}


@pytest.mark.parametrize("module", CONTROLLER)
def test_the_controller_imports_neither_numerics_nor_web(module: str) -> None:
    code = f"import sys, {module}; print(sorted(set({sorted(HEAVY)}) & set(sys.modules)))"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.stdout.strip() == "[]", done.stdout + done.stderr


def test_no_code_file_has_grown_past_one_reason_to_exist() -> None:
    too_long = {
        str(path.relative_to(ROOT)): lines
        for folder in ("controller", "web/nightcure_web", "web/page/src")
        for path in (ROOT / folder).rglob("*")
        if path.suffix in {".py", ".ts", ".tsx"}
        and (lines := len(path.read_text(encoding="utf-8").splitlines())) > 420
    }
    assert too_long == {}
