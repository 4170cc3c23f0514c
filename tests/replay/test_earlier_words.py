"""Sentences that were put into other words since a night was recorded."""

from __future__ import annotations

import pytest

from nightcure.replay.earlier_words import in_todays_words, reworded

OLD_AND_NEW = [
    ("The night was ended by control-sensor-lost.",
     "The night was ended by a trip: no air temperature."),
    ("resume-refused: the cause is gone.", "Night not resumed: the cause is gone."),
    ("over-temperature: acknowledged.", "Over-temperature: acknowledged."),
    ("exotherm: reset.", "Exotherm: reset."),
    ("test: Not reset: tick-late still holds: The controller stood still.",
     "test: Not reset: the cause is still there. The controller stood still."),
    ("Not started: the oven has tripped (heater-stuck-on); reset first.",
     "Not started: the oven has tripped (heater stuck on); reset first."),
    ("No believable air temperature for 1 min 02 s (missing): look at the sensor.",
     "No believable air temperature for 1 min 02 s (not on the bus): look at the sensor."),
    ("Sensor lost: nothing believable from Lid (crc), Rim (power-on). The night goes on.",
     "Sensor lost: nothing believable from Lid (garbled readings), Rim (the thermometer lost its "
     "supply). The night goes on."),
    ("Stopped by page, 127.0.0.1.", "Stopped on the page, at the board itself."),
    ("Started 'Short' with the air at 9.0 °C, by page, 192.168.1.20.",
     "Started 'Short' with the air at 9.0 °C, on the page, from another device (192.168.1.20)."),
    ("Segment 2 of 3: soak.", "The soak begins: step 2 of 3."),
    ("Segment 3 of 3: cool.", "The cool-down begins: the last of 3 steps."),
    ("page, ::1: Acknowledged.", "On the page, at the board itself: Acknowledged."),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new"), OLD_AND_NEW)
def test_an_old_sentence_in_todays_words(old: str, new: str) -> None:
    assert reworded(old) == new
    assert reworded(new) == new, "today's stays as it is"


def test_only_sentences_are_touched() -> None:
    recorded = [["night", "tripped", "The night was ended by exotherm.", None], "odd", [1]]
    assert in_todays_words(recorded) == [
        ["night", "tripped", "The night was ended by a trip: exotherm.", None], "odd", [1],
    ]  # fmt: skip
    assert in_todays_words(None) is None
