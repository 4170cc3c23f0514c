"""Each thing that may be wrong on the bus is found, and named with what to do."""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from nightcure.clock import MachineClock
from nightcure.settings import Settings
from nightcure.setup.bus_checks import look_at_bus
from nightcure.setup.finding import Finding, Rating
from nightcure.simulate.scenario import scenario
from nightcure.simulate.wires import W1Tree
from tests.setup.board import AIR, LID, RIM, SHED

SETTINGS, _ = scenario()
LOOK, OK, WRONG = Rating.LOOK, Rating.OK, Rating.WRONG


class QuickClock(MachineClock):
    """Conversions wait for nothing here."""

    def __init__(self, round_s: float = 0.0) -> None:
        self._round_s = round_s
        self._added_s = 0.0

    def monotonic(self) -> float:  # type: ignore[override]
        return time.monotonic() + self._added_s

    def sleep(self, duration_s: float) -> None:  # type: ignore[override]
        self._added_s += self._round_s


@pytest.fixture
def tree(tmp_path: Path) -> W1Tree:
    tree = W1Tree(tmp_path / "w1", [AIR, LID, RIM, SHED])
    for sensor_id, value_c in ((AIR, 9.0), (LID, 9.5), (RIM, 9.25), (SHED, 6.0)):
        tree.set_c(sensor_id, value_c)
    (tmp_path / "w1" / "w1_bus_master1" / "therm_bulk_read").write_text("-1\n")
    return tree


def look(tree: W1Tree, settings: Settings = SETTINGS, round_s: float = 0.0) -> dict[str, Finding]:
    found = look_at_bus(settings, tree.root, QuickClock(round_s))
    assert all(f.sentence.endswith(".") for f in found)
    return {f.check: f for f in found}


def test_a_cold_oven_in_order(tree: W1Tree) -> None:
    found = look(tree)
    assert {f.rating for f in found.values()} == {OK}
    assert list(found) == ["1-Wire bus", "Air", "Lid", "Rim", "Shed", "agreement", "read time"]
    assert "9.0 °C" in found["Air"].sentence
    assert found["agreement"].figures == {"apart_k": 0.5}, "the shed is not in the oven"


@pytest.mark.parametrize(
    ("harm", "word"),
    [
        (lambda t: t.missing(LID), "plug and cable"),
        (lambda t: t.crc(LID), "checksum"),
        (lambda t: t.power_on(LID), "85 °C"),
        (lambda t: t.empty(LID), "no answer"),
    ],
)
def test_a_sensor_that_is_not_right(
    tree: W1Tree, harm: Callable[[W1Tree], None], word: str
) -> None:
    harm(tree)
    found = look(tree)
    assert found["Lid"].rating is WRONG
    assert word in found["Lid"].sentence
    assert found["Air"].rating is OK
    missing = found["1-Wire bus"].figures["missing"]
    assert missing == ([LID] if "plug" in word else [])
    assert (found["1-Wire bus"].rating is WRONG) == bool(missing)


def test_a_sensor_that_is_garbled_now_and_then(
    tree: W1Tree, monkeypatch: pytest.MonkeyPatch
) -> None:
    reads = 0

    def every_other(duration_s: float) -> None:
        nonlocal reads
        reads += 1
        tree.crc(LID) if reads == 2 else tree.set_c(LID, 9.5)

    clock = QuickClock()
    monkeypatch.setattr(clock, "sleep", every_other)
    found = {f.check: f for f in look_at_bus(SETTINGS, tree.root, clock)}
    assert found["Lid"].rating is LOOK
    assert "1 of 8 readings: garbled" in found["Lid"].sentence
    assert found["Lid"].figures["faults"] == ["crc"]


def test_a_sensor_that_the_file_does_not_know(tree: W1Tree) -> None:
    tree.set_c("28-0000000000ff", 21.0)
    found = look(tree)["1-Wire bus"]
    assert found.rating is LOOK
    assert "28-0000000000ff (21.0 °C)" in found.sentence
    assert found.figures["unknown"] == ["28-0000000000ff"]


def test_sensors_that_differ_in_a_cold_oven(tree: W1Tree) -> None:
    tree.set_c(RIM, 12.0)
    found = look(tree)["agreement"]
    assert found.rating is LOOK
    assert "Rim shows 2.8 K more than the others: an offset" in found.sentence


def test_values_that_cannot_be(tree: W1Tree) -> None:
    tree.set_c(AIR, 61.0)
    assert look(tree)["Air"].rating is WRONG
    assert "past its limit of 60.0 °C" in look(tree)["Air"].sentence
    tree.set_c(SHED, -50.0)
    assert "cannot be" in look(tree)["Shed"].sentence


def test_no_bus_at_all(tree: W1Tree) -> None:
    shutil.rmtree(tree.root)
    (found,) = look(tree).values()
    assert found.rating is WRONG
    assert "dtoverlay=w1-gpio" in found.sentence


@pytest.mark.parametrize(("round_s", "rating"), [(0.8, OK), (2.5, LOOK), (9.0, WRONG)])
def test_the_time_it_takes_against_the_tick(tree: W1Tree, round_s: float, rating: Rating) -> None:
    found = look(tree, round_s=round_s)["read time"]
    assert found.rating is rating
    assert found.figures["longest_s"] == pytest.approx(round_s, abs=0.3)


def test_sensors_read_one_by_one(tree: W1Tree) -> None:
    (tree.root / "w1_bus_master1" / "therm_bulk_read").unlink()
    found = look(tree)["read time"]
    assert found.rating is LOOK
    assert "therm_bulk_read is not there" in found.sentence


def test_a_sensor_with_an_offset_is_named(tree: W1Tree) -> None:
    """One alone against two and more: families of clones are 0.5 to 3 K off (Petrich)."""
    tree.set_c(LID, 8.0)
    found = look(tree)["agreement"]
    assert found.rating is LOOK
    assert "Lid shows 1.1 K less than the others: an offset" in found.sentence


def test_odd_ones_are_named_and_nobody_is_refused(tree: W1Tree) -> None:
    """Fed by its data wire, and set to coarse steps; a number that no genuine one has."""
    (tree.root / LID / "ext_power").write_text("0\n")
    (tree.root / RIM / "resolution").write_text("9\n")
    found = look(tree)
    assert (found["Lid"].rating, found["Rim"].rating) == (LOOK, LOOK)
    assert "9.5 °C, part; starved: " in found["Lid"].sentence
    assert "steps of 0.5 K" in found["Rim"].sentence
    assert "makers" not in found
    clone = "28-0300a2795846"
    tree.set_c(clone, 9.5)
    (tree.root / "w1_bus_master1" / "w1_master_slaves").write_text(
        "".join(f"{i}\n" for i in (AIR, LID, RIM, SHED, clone))
    )
    data = SETTINGS.model_dump(mode="json")
    data["thermometers"][1]["id"] = clone
    told = look(tree, Settings.model_validate(data))
    assert told["makers"].figures == {"clones": [clone]}
    assert not [f for f in told.values() if f.rating is WRONG]
