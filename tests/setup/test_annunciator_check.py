"""`nightcure check --siren`: each on its own for a moment, and nothing that heats."""

from __future__ import annotations

from pathlib import Path

import pytest

from nightcure.settings import AnnunciatorOutputs, Output
from nightcure.setup import annunciator_check
from nightcure.setup.annunciator_check import try_annunciator
from nightcure.setup.finding import Rating
from nightcure.simulate import bench_chip
from tests.nights import SETTINGS

TELLS = AnnunciatorOutputs(siren=Output(pin=16), alarm=Output(pin=26, active_high=False))


def test_each_is_tried_and_nothing_else(pins: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(annunciator_check, "TRIED_S", 0.01)
    driven: list[tuple[int, bool]] = []
    plain = bench_chip.LineRequest.set_value

    def watched(self: bench_chip.LineRequest, line: int, value: bench_chip.Value) -> None:
        driven.append((line, value is bench_chip.Value.ACTIVE))
        plain(self, line, value)

    monkeypatch.setattr(bench_chip.LineRequest, "set_value", watched)
    said: list[str] = []
    settings = SETTINGS.model_copy(update={"annunciator": TELLS, "ledger": pins / "n.ledger"})
    found = try_annunciator(settings, said.append)
    assert [(f.check, f.rating) for f in found] == [("siren", Rating.OK), ("alarm", Rating.OK)]
    assert {pin for pin, _ in driven} == {16, 26}
    assert [high for pin, high in driven if pin == 16] == [False, True, False]
    lamp = [high for pin, high in driven if pin == 26]
    assert (lamp[0], lamp[-1], False in lamp) == (True, True, True), "lit by a low line"
    assert said == [
        "Now: siren, GPIO16 (header pin 36).",
        "Now: lamp 'alarm', GPIO26 (header pin 37).",
    ]


def test_none_while_the_controller_holds_the_pins(
    pins: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(annunciator_check, "controller_runs", lambda _: True)
    settings = SETTINGS.model_copy(update={"annunciator": TELLS, "ledger": pins / "n.ledger"})
    (found,) = try_annunciator(settings, lambda _: None)
    assert found.rating is Rating.LOOK
    assert "stop it first" in found.sentence


def test_none_is_declared(pins: Path) -> None:
    settings = SETTINGS.model_copy(update={"ledger": pins / "n.ledger"})
    (found,) = try_annunciator(settings, lambda _: None)
    assert "None is declared" in found.sentence
