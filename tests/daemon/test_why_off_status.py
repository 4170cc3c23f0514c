"""What the page is told of why the heater is off."""

from __future__ import annotations

import json
from typing import Any

from nightcure.daemon.status import live_state
from nightcure.loop.loop import Loop
from nightcure.tick import TickInputs
from tests.nights import SETTINGS, SHORT, start, still


def told(loop: Loop, inputs: TickInputs) -> dict[str, Any] | None:
    live = live_state(SETTINGS, loop, inputs, loop.tick(inputs), 1.0)
    found: dict[str, Any] | None = json.loads(json.dumps(live))["why_off"]
    return found


def test_the_status_says_why_with_code_fields_and_sentence() -> None:
    loop = Loop(SETTINGS)
    assert told(loop, still(0.0)) == {
        "code": "no-night", "fields": {"phase": "idle"}, "sentence": "No night is running.",
    }  # fmt: skip
    first = told(loop, still(2.0, start(SHORT)))
    assert first is not None
    assert first["code"] == "contactor-open"
    assert told(loop, still(4.0)) is None
    lost = told(loop, still(6.0, values=(None, 9.0, 9.0, 9.0)))
    assert lost == {
        "code": "no-air-temperature", "fields": {"fault": "missing"},
        "sentence": "No believable air temperature: not on the bus.",
    }  # fmt: skip


def test_an_oven_whose_air_is_not_known_is_not_ready() -> None:
    """Fails before this: "Ready for a night." beside an air that does not answer."""
    loop = Loop(SETTINGS)
    for t_s, air_c, said in ((0.0, 9.0, "Ready for a night."), (2.0, None, "not known")):
        inputs = still(t_s, values=(air_c, 9.0, 9.0, 9.0))
        live = live_state(SETTINGS, loop, inputs, loop.tick(inputs), 1.0)
        assert said in live["next"]
