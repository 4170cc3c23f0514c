"""What goes off goes off before anything is written; what is written tells what was decided."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from nightcure.daemon import daemon as module
from nightcure.daemon.daemon import Daemon
from nightcure.ledger.latch_file import LatchFile
from nightcure.ledger.writer import LedgerLost
from nightcure.simulate.wires import W1Tree
from nightcure.tick import Decision

from ..nights import SETTINGS


class Bench:
    """Everything a daemon touches, noted in the order in which it does."""

    def __init__(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.done: list[str] = []
        self.settings = SETTINGS.model_copy(update={"ledger": tmp_path / "n.ledger"})
        tree = W1Tree(tmp_path / "w1", [t.id for t in SETTINGS.thermometers])
        for t in SETTINGS.thermometers:
            tree.set_c(t.id, 9.0)
        monkeypatch.setenv("NIGHTCURE_W1_ROOT", str(tmp_path / "w1"))
        bench = self

        class Outputs:
            applied_s = 0.0

            def __init__(self, settings: Any, clock: Any) -> None:
                bench.done.append("outputs off")

            def apply(self, decision: Decision) -> None:
                on = decision.heater_on or decision.contactor_on
                bench.done.append(f"outputs {'on' if on else 'off'}")

            def all_off(self) -> None:
                bench.done.append("outputs off")

            def close(self) -> None:
                bench.done.append("outputs given back")

        write = LatchFile.write

        def written(file: LatchFile, latch: Any) -> None:
            bench.done.append(f"latch {latch.state}")
            write(file, latch)

        monkeypatch.setattr(module, "Outputs", Outputs)
        monkeypatch.setattr(module, "PressButton", lambda _: SimpleNamespace(pressed=lambda: False))
        monkeypatch.setattr(LatchFile, "write", written)


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Bench:
    return Bench(tmp_path, monkeypatch)


def test_a_start_takes_the_outputs_before_it_opens_the_ledger(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Fails before this. And when the ledger cannot be opened, all is given back."""

    def broken(path: Path) -> None:
        bench.done.append("ledger")
        raise LedgerLost("The ledger cannot be opened: disk I/O error.")

    monkeypatch.setattr(module, "LedgerWriter", broken)
    with pytest.raises(LedgerLost):
        Daemon(bench.settings)
    assert bench.done == ["outputs off", "ledger", "outputs given back"]
    LatchFile(bench.settings.ledger.parent).close()


def test_a_tick_moves_the_outputs_before_it_writes(bench: Bench) -> None:
    daemon = Daemon(bench.settings)
    put = daemon._recorder.put

    def noted(batch: Any) -> None:
        bench.done.append("written")
        put(batch)

    daemon._recorder.put = noted  # type: ignore[method-assign]
    bench.done.clear()
    daemon._tick()
    assert bench.done == ["outputs off", "written"]
    daemon._recorder.start()
    daemon._recorder.stop()
    assert bench.done[2:] == ["latch clear"]
