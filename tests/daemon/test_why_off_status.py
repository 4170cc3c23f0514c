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
