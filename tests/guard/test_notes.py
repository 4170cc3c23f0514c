"""The interlocks' notes say what the program does: every rule, every fault, every stated time."""

from __future__ import annotations

import re
from pathlib import Path

from nightcure.guard.interlocks import RULES
from nightcure.settings import Timing
from tests.faults.test_rehearsed import EXPECTED

NOTES = (Path(__file__).parents[2] / "hardware-notes" / "interlocks.md").read_text("utf-8")


def rows(heading: str) -> dict[str, list[str]]:
    """A table's rows by the name in their first cell."""
    table = NOTES.split(f"| {heading} |", 1)[1].split("\n\n", 1)[0]
    cells = [re.split(r"\s*\|\s*", line.strip("| ")) for line in table.splitlines()[2:]]
    return {c[0].strip("`"): c[1:] for c in cells}


def test_every_interlock_is_described_in_order_with_its_kind() -> None:
    told = rows("interlock")
    assert list(told) == [rule.name for rule in RULES]
    for rule in RULES:
        assert told[rule.name][0] == ("trip" if rule.latching else "warning")
        after_s = getattr(rule, "AFTER_S", None) or getattr(rule, "TRIP_S", None)
        if after_s is not None:
            assert f"{after_s:g} s" in told[rule.name][1]
    assert f"(`dead_man_s` ({Timing().dead_man_s:g} s)" in NOTES.replace("after `", "(`")


def test_every_fault_has_the_time_it_is_held_to() -> None:
    told = rows("fault")
    assert told.keys() == EXPECTED.keys()
    for name, (found_by, bounds_s) in EXPECTED.items():
        assert set(told[name][0].split(", ")) == found_by
        assert told[name][1] == " / ".join(f"{b:g}" for b in bounds_s)
