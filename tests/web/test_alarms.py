"""Alarms through the API: raised, seen, cleared, reset, as ISA-18.2 / IEC 62682 have it.

States by those standards; the transitions are from memory of them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from nightcure.tick import Fault, Reading
from tests.workshop import wait_for

from .conftest import Steered

AIR, LID = 0, 1


class Alarmed:
    """An oven whose sensors are pulled and put back, and its alarms as the page sees them."""

    def __init__(self, steered: Steered) -> None:
        self.steered, self.pulled = steered, set[int]()
        whole: Callable[[float | None], list[Reading]] = steered.oven.oven.sense

        def sense(now_s: float | None = None) -> list[Reading]:
            missing = Reading(None, 0.0, Fault.MISSING)
            return [missing if i in self.pulled else s for i, s in enumerate(whole(now_s))]

        steered.oven.oven.sense = sense  # type: ignore[method-assign]
        steered.start()

    def shown(self, name: str) -> dict[str, Any] | None:
        alarms = self.steered.client.get("/api/status").json()["alarms"]
        return next((a for a in alarms if a["name"] == name), None)

    def becomes(self, name: str, state: str | None) -> None:
        """Wait until the alarm is in a state; None is normal."""

        def there() -> bool:
            alarm = self.shown(name)
            return (alarm and alarm["state"]) == state

        wait_for(there, 15, f"{name} {state}")

    def told(self, name: str) -> list[str]:
        events = self.steered.client.get("/api/events?limit=1000").json()
        return [e["state"] for e in events if e["name"] == name]


@pytest.fixture
def alarmed(steered: Steered) -> Alarmed:
    return Alarmed(steered)


TRIP, WARNING = "control-sensor-lost", "sensor-lost"


def test_a_trip_is_seen_then_goes_then_is_reset(alarmed: Alarmed) -> None:
    ask = alarmed.steered.ask
    alarmed.pulled = {AIR}
    alarmed.becomes(TRIP, "unacknowledged")
    status = alarmed.steered.client.get("/api/status").json()
    assert (status["phase"], status["heater"], status["contactor"]) == ("tripped", False, False)
    assert status["trip"]["name"] == TRIP
    assert (status["why_off"]["code"], status["why_off"]["fields"]) == ("tripped", {"alarm": TRIP})
    assert ask("reset")[1].startswith("Not reset: the cause is still there. No believable air")
    assert ask("acknowledge", alarm=TRIP) == (200, "Acknowledged.")
    alarmed.becomes(TRIP, "acknowledged")
    assert ask("acknowledge", alarm=TRIP) == (409, "There was nothing to acknowledge.")
    assert ask("reset")[0] == 409
    alarmed.pulled = set()
    alarmed.becomes(TRIP, "latched")
    assert alarmed.steered.client.get("/api/status").json()["phase"] == "tripped"
    assert ask("reset") == (200, "Reset; the oven may be started again.")
    alarmed.becomes(TRIP, None)
    assert ask("reset") == (409, "Nothing has tripped.")
    assert alarmed.told(TRIP) == ["unacknowledged", "acknowledged", "latched", "normal"]
    assert alarmed.steered.client.get("/api/nights").json()[0]["outcome"] == "tripped"


def test_a_trip_whose_cause_goes_unseen_still_waits_for_a_person(alarmed: Alarmed) -> None:
    ask = alarmed.steered.ask
    alarmed.pulled = {AIR}
    alarmed.becomes(TRIP, "unacknowledged")
    alarmed.pulled = set()
    alarmed.becomes(TRIP, "returned-unacknowledged")
    alarmed.pulled = {AIR}
    alarmed.becomes(TRIP, "unacknowledged")
    alarmed.pulled = set()
    alarmed.becomes(TRIP, "returned-unacknowledged")
    assert ask("acknowledge")[0] == 200
    alarmed.becomes(TRIP, "latched")
    alarmed.pulled = {AIR}
    alarmed.becomes(TRIP, "unacknowledged")
    alarmed.pulled = set()
    alarmed.becomes(TRIP, "returned-unacknowledged")
    assert ask("reset")[0] == 200
    alarmed.becomes(TRIP, None)


def test_a_warning_comes_and_goes_by_itself_once_it_was_seen(alarmed: Alarmed) -> None:
    ask = alarmed.steered.ask
    alarmed.pulled = {LID}
    alarmed.becomes(WARNING, "unacknowledged")
    assert alarmed.steered.client.get("/api/status").json()["trip"] is None
    assert ask("acknowledge", alarm="no such alarm")[0] == 409
    assert ask("acknowledge", alarm=WARNING)[0] == 200
    alarmed.becomes(WARNING, "acknowledged")
    alarmed.pulled = set()
    alarmed.becomes(WARNING, None)
    alarmed.pulled = {LID}
    alarmed.becomes(WARNING, "unacknowledged")
    alarmed.pulled = set()
    alarmed.becomes(WARNING, "returned-unacknowledged")
    assert ask("acknowledge")[0] == 200
    alarmed.becomes(WARNING, None)
    assert ask("reset")[0] == 409
    assert alarmed.steered.client.get("/api/status").json()["phase"] == "ramp"
