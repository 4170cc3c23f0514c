"""The house: its rooms, the order of its imports, and what must never be.

The contracts stand in pyproject.toml. Each is shown to fail: the layers when any import between two
rooms is turned round, the others when one import that they forbid is put in.
"""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from collections import Counter
from copy import deepcopy
from graphlib import TopologicalSorter
from pathlib import Path
from typing import Any

import grimp
import pytest
from importlinter.application.use_cases import read_user_options
from importlinter.configuration import configure
from importlinter.contracts.forbidden import ForbiddenContract
from importlinter.contracts.layers import LayersContract
from importlinter.domain.contract import Contract

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "controller" / "nightcure"
LINTER = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["importlinter"]
CONTRACTS: dict[str, dict[str, Any]] = {c["id"]: c for c in LINTER["contracts"]}
LAYERS = [re.split(r"\s*\|\s*", layer) for layer in CONTRACTS["downhill"]["layers"]]

HEAVY = {
    *("numpy", "scipy", "fastapi", "uvicorn", "starlette", "plotext", "nightcure_web"),
    *("apprise", "paho", "requests", "nightcure.notifier"),
}
#: What the controller's process is made of.
CONTROLLER = (
    "nightcure.cli.main",
    "nightcure.daemon.daemon",
    "nightcure.board.relay",
    "nightcure.ledger.inbox",
    "nightcure.ledger.writer",
    "nightcure.loop.loop",
    "nightcure.board.ds18b20",
)


def rooms() -> set[str]:
    """Folders and loose modules of the controller's package."""
    return {
        path.stem
        for path in PACKAGE.iterdir()
        if (path.suffix == ".py" or (path / "__init__.py").exists())
        and path.stem not in ("__init__", "__pycache__")
    }


@pytest.fixture(scope="module")
def graph() -> grimp.ImportGraph:
    """Every import of product code, by module."""
    return grimp.build_graph("nightcure", "nightcure_web", cache_dir=None)


def room(module: str) -> str:
    """The room a module stands in; the page's server is one."""
    top, _, rest = module.partition(".")
    return "web" if top == "nightcure_web" else rest.partition(".")[0]


def arrows(graph: grimp.ImportGraph) -> set[tuple[str, str]]:
    """Which room imports which."""
    found = {
        (room(importer), room(imported))
        for importer in graph.modules
        for imported in graph.find_modules_directly_imported_by(importer)
    }
    return {(a, b) for a, b in found if a != b and b}


# ---- how large it is -----------------------------------------------------------------------------


def test_there_are_few_rooms_and_few_arrows(graph: grimp.ImportGraph) -> None:
    beside = {"web", "systemd"}
    assert len(rooms() | beside) <= 28
    assert len(arrows(graph)) <= 135


def test_no_modules_import_each_other_in_a_circle(graph: grimp.ImportGraph) -> None:
    order = TopologicalSorter(
        {m: graph.find_modules_directly_imported_by(m) for m in graph.modules}
    )
    order.prepare()  # raises CycleError, which names the circle


def test_no_two_modules_share_a_name() -> None:
    """Outside commands and routes, whose modules are named after the command and the path."""
    paths = [*PACKAGE.rglob("*.py"), *(ROOT / "web" / "nightcure_web").rglob("*.py")]
    names = Counter(
        path.stem
        for path in paths
        if path.parent.name not in ("cli", "routes") and path.stem != "__init__"
    )
    assert [name for name, count in names.items() if count > 1] == []


# ---- the contracts -------------------------------------------------------------------------------


def contract_of(name: str) -> Contract:
    """A contract of pyproject.toml, as the import linter reads it."""
    configure()
    told = read_user_options(str(ROOT / "pyproject.toml"))
    (options,) = (c for c in told.contracts_options if c["id"] == name)
    kind = {"layers": LayersContract, "forbidden": ForbiddenContract}[options["type"]]
    return kind(options["name"], told.session_options, options)


@pytest.fixture(scope="module")
def linted() -> grimp.ImportGraph:
    """Every import of product code, those of other packages as well."""
    return grimp.build_graph(
        "nightcure", "nightcure_web", include_external_packages=True, cache_dir=None
    )


@pytest.mark.parametrize("name", CONTRACTS)
def test_the_contracts_are_kept(linted: grimp.ImportGraph, name: str) -> None:
    assert contract_of(name).check(deepcopy(linted), verbose=False).kept


def wrong_import(graph: grimp.ImportGraph, file: str, line: str) -> tuple[str, str]:
    """Who would import what, were this line in that file; other packages by their first name."""
    (statement,) = ast.parse(line).body
    if isinstance(statement, ast.Import):
        imported = statement.names[0].name
    else:
        assert isinstance(statement, ast.ImportFrom)
        imported = f"{statement.module}.{statement.names[0].name}"
    if not imported.startswith("nightcure"):
        imported = imported.split(".")[0]
    while imported.startswith("nightcure") and imported not in graph.modules:
        imported = imported.rpartition(".")[0]
    importer = file.removesuffix(".py").replace("/", ".")
    assert importer in graph.modules
    return importer, imported


#: By contract: imports that it forbids, one broken by each never.
FORBIDDEN = {
    "downhill": [("nightcure/tick.py", "from nightcure.loop import why_off")],
    "hardware": [
        ("nightcure/loop/loop.py", "import gpiozero"),
        ("nightcure/daemon/daemon.py", "from gpiozero import LED"),
        ("nightcure/setup/bus_checks.py", "import w1thermsensor"),
        ("nightcure/cli/off.py", "import gpiod"),
        ("nightcure_web/app.py", "import gpiozero"),
    ],
    "board": [
        ("nightcure/record/recorder.py", "from nightcure.board.relay import Outputs"),
        ("nightcure/simulate/rehearse.py", "from nightcure.board.relay import Outputs"),
        ("nightcure/cli/controller.py", "from nightcure.board.off import main"),
        ("nightcure/__main__.py", "from nightcure.board.relay import Outputs"),
        ("nightcure_web/app.py", "from nightcure.board import relay"),
    ],
    "pure": [
        ("nightcure/loop/loop.py", "import sqlite3"),
        ("nightcure/guard/guard.py", "from nightcure.ledger.writer import LedgerWriter"),
        ("nightcure/heat/pid.py", "import numpy"),
        ("nightcure/measure/screening.py", "from nightcure.oven.thermal import Network"),
    ],
    "time": [
        ("nightcure/loop/loop.py", "import time"),
        ("nightcure/guard/guard.py", "from datetime import datetime"),
        ("nightcure/heat/pid.py", "import random"),
        ("nightcure/measure/screening.py", "import threading"),
        ("nightcure/loop/why_off.py", "from uuid import uuid4"),
        ("nightcure/heat/heating.py", "import concurrent.futures"),
        ("nightcure/cure/cure_clock.py", "from nightcure.clock import MachineClock"),
    ],
    "io": [
        ("nightcure/loop/loop.py", "import logging"),
        ("nightcure/guard/guard.py", "from pathlib import Path"),
        ("nightcure/measure/screening.py", "import urllib.request"),
    ],
    "models": [
        ("nightcure/oven/thermal.py", "from nightcure.loop.loop import Loop"),
        ("nightcure/cure/card.py", "from nightcure.tick import Decision"),
    ],
    "rows": [
        ("nightcure/ledger/writer.py", "from nightcure.settings import Settings"),
        ("nightcure/ledger/rows.py", "from nightcure.tick import Decision"),
    ],
    "plan": [("nightcure/plan/nights.py", "from nightcure.heat.pid import PidRegulator")],
    "morning": [
        ("nightcure/report/facts.py", "from nightcure.loop.loop import Loop"),
        ("nightcure/survey/survey.py", "from nightcure.record.recorder import Recorder"),
    ],
    "lean": [
        ("nightcure/daemon/status.py", "import numpy"),
        ("nightcure/record/recorder.py", "from nightcure.oven.thermal import Network"),
        ("nightcure/cli/controller.py", "import numpy"),
        ("nightcure/cli/controller.py", "from nightcure.plan.plan import plan_night"),
        ("nightcure/daemon/daemon.py", "import apprise"),
    ],
    "tells": [
        ("nightcure/notifier/watch.py", "from nightcure.ledger.inbox import Inbox"),
        ("nightcure/notifier/mqtt.py", "from nightcure.board.relay import Outputs"),
        ("nightcure/notifier/notifier.py", "from nightcure.loop.loop import Loop"),
    ],
    "page": [
        ("nightcure_web/app.py", "from nightcure.daemon.daemon import Daemon"),
        ("nightcure_web/live.py", "from nightcure.loop.loop import Loop"),
        ("nightcure_web/jobs.py", "from nightcure.record.recorder import Recorder"),
    ],
    "webless": [
        ("nightcure/daemon/daemon.py", "import nightcure_web"),
        ("nightcure/simulate/demo.py", "from nightcure_web.app import run"),
        ("nightcure/cli/off.py", "import fastapi"),
    ],
}  # fmt: skip


def test_every_contract_is_tried() -> None:
    assert FORBIDDEN.keys() == CONTRACTS.keys()


@pytest.mark.parametrize(
    ("contract", "file", "line"), [(c, *turned) for c, all_ in FORBIDDEN.items() for turned in all_]
)
def test_a_forbidden_import_is_found(
    linted: grimp.ImportGraph, contract: str, file: str, line: str
) -> None:
    importer, imported = wrong_import(linted, file, line)
    graph = deepcopy(linted)
    if imported not in graph.modules:
        graph.add_module(imported, is_squashed=True)
    graph.add_import(importer=importer, imported=imported)
    assert not contract_of(contract).check(graph, verbose=False).kept


def test_any_import_turned_round_is_found(graph: grimp.ImportGraph) -> None:
    """Every arrow between two rooms of the controller, one after the other, by the layers alone."""
    layers = [grimp.Layer(*layer, independent=True) for layer in LAYERS]

    def broken() -> bool:
        return bool(graph.find_illegal_dependencies_for_layers(layers, containers={"nightcure"}))

    assert not broken()
    turned = [(a, b) for a, b in sorted(arrows(graph)) if "web" not in (a, b) and a != "__main__"]
    assert len(turned) > 100
    for upper, lower in turned:
        wrong = f"nightcure.{lower}", f"nightcure.{upper}"
        graph.add_import(importer=wrong[0], imported=wrong[1])
        assert broken(), f"{lower} -> {upper}"
        graph.remove_import(importer=wrong[0], imported=wrong[1])


def test_no_list_of_rooms_has_grown_old() -> None:
    """Where a contract lists rooms by name, a new room is on the list."""
    everywhere = {f"nightcure.{name}" for name in rooms()}
    reaches_board = {"nightcure.board", "nightcure.daemon", "nightcure.setup"}
    assert set(CONTRACTS["board"]["source_modules"]) == (
        everywhere - reaches_board | {"nightcure_web"}
    )
    below = {"nightcure.ledger", "nightcure.errors", "nightcure.__main__"}
    assert set(CONTRACTS["rows"]["forbidden_modules"]) == everywhere - below


# ---- what no import shows ------------------------------------------------------------------------


def test_only_the_loop_decides_that_the_heater_is_on() -> None:
    """Decisions are made in the loop, and in `tick` one with everything off.

    Fails before this: a watched pulse of heat in setup made its own.
    """
    makers = set()
    for path in PACKAGE.rglob("*.py"):
        for call in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(call, ast.Call):
                continue
            called = ast.unparse(call.func).split(".")[-1]
            makes = called in ("Decision", "_make")
            named = {k.arg for k in call.keywords}
            changes = "heater_on" in named or (called == "_replace" and None in named)
            if makes or changes:
                makers.add(str(path.relative_to(PACKAGE)))
    assert makers == {"loop/loop.py", "tick.py"}


@pytest.mark.parametrize("module", CONTROLLER)
def test_the_controller_imports_neither_numerics_nor_web(module: str) -> None:
    code = f"import sys, {module}; print(sorted(set({sorted(HEAVY)}) & set(sys.modules)))"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.stdout.strip() == "[]", done.stdout + done.stderr


def test_the_drawing_is_the_order_that_is_held() -> None:
    """The drawing in DEVELOPERS.md names the layers of pyproject.toml, from the top down."""
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    (drawing,) = re.findall(r"<!-- order -->\n```\n(.*?)```", guide, re.DOTALL)
    drawn = [re.split(r"\s*·\s*", line.split("  ")[0].strip()) for line in drawing.splitlines()]
    assert [sorted(layer) for layer in drawn] == [sorted(layer) for layer in LAYERS]


def test_no_code_file_has_grown_past_one_reason_to_exist() -> None:
    too_long = {
        str(path.relative_to(ROOT)): lines
        for folder in ("controller", "web/nightcure_web", "web/page/src")
        for path in (ROOT / folder).rglob("*")
        if path.suffix in {".py", ".ts", ".tsx"}
        and (lines := len(path.read_text(encoding="utf-8").splitlines())) > 420
    }
    assert too_long == {}
