"""The test of the switches: asked of the controller that runs, or of one of this process's own.

Whether anything may be switched on is the loop's to say, as on any night; here it is asked for,
watched, and told.
"""

from __future__ import annotations

import math
import os
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from ..daemon.daemon import Daemon
from ..errors import BadInput, NightcureError
from ..ledger.reader import LedgerReader
from ..settings import Settings
from ..setup.finding import Finding, Rating
from ..setup.pulse_results import Pulse, pulse_findings
from ..tick import SWITCHES
from .send_command import AskedNight, live_state_of

WHO = "check at the oven"
#: How long this process's own controller may take to be ready, s.
READY_S = 60.0
#: How often its record is looked at.
LOOK_S = 0.5
#: The night of the test is over long before.
LONGEST_H = 4.0


def follow_test(
    settings: Settings, say: Callable[[str], None], stopped: Callable[[], bool] = lambda: False
) -> list[Finding]:
    """Ask the running controller for the test, follow it to its end, and tell what was found.

    Args:
        say: told each sentence of the night.
        stopped: whether it is to end, as by Ctrl-C.

    Raises:
        BadInput: it was refused, or the controller fell silent.
    """
    night = AskedNight(settings.ledger, WHO, "a test of the switches", cut_out_tested=True)
    air_c = night.live["control_c"]
    at_c = 20.0 if air_c is None else min(max(math.floor(air_c), 0), settings.limits.hottest_soak_c)
    soak = {"kind": "soak", "at_c": at_c, "hours": LONGEST_H}
    after = night.reader.newest_event()
    # What they say was confirmed at the terminal.
    night.start(
        {"name": "Test of the switches", "segments": [soak]},
        test=SWITCHES,
        cautions_accepted=True,
    )
    over = trip = None
    try:
        while over is None:
            time.sleep(LOOK_S)
            if stopped():
                raise KeyboardInterrupt
            live_state_of(night.reader)
            over = night.why_over()
            for event in night.reader.events(night.night_id, after):
                after = event["id"]
                if event["kind"] in ("note", "alarm", "trip"):
                    say(event["message"])
                if event["kind"] == "trip" and trip is None:
                    trip = event["message"]
    except KeyboardInterrupt:
        night.stop()
        raise BadInput("Stopped before it was over; everything is off.") from None
    return _findings(settings, night, trip or over)


def _findings(settings: Settings, night: AskedNight, sentence: str) -> list[Finding]:
    assert night.night_id is not None
    row = night.reader.night(night.night_id)
    passed = row is not None and row.outcome == "done"
    columns = night.reader.columns(night.night_id, "mono_s", "heater", "contactor", "believed")
    pulse = Pulse(settings, columns)
    found = [
        Finding(
            "switches",
            Rating.OK if passed else Rating.WRONG,
            sentence,
            {"night": night.night_id, "heated_s": round(pulse.heated_s, 1)},
        )
    ]
    return [*found, *pulse_findings(settings, pulse)] if pulse.given else found


def refuse_anothers_ledger(ledger: Path) -> None:
    """What a controller of another user writes, the service could not write any more.

    Raises:
        BadInput: ledger or folder belong to somebody else.
    """
    place = ledger.resolve()
    place = place if place.exists() else place.parent
    if place.stat().st_uid != os.geteuid():
        raise BadInput(
            f"{place} belongs to {_name(place)}: start its controller (sudo systemctl start "
            f"nightcure-controller) and test again; it is asked for the test then."
        )


def _name(place: Path) -> str:
    try:
        return place.owner()
    except KeyError:
        return "another user"


class OwnController:
    """A controller that this command runs itself, for as long as the test takes."""

    def __init__(self, daemon: Daemon) -> None:
        self.daemon = daemon
        self._stopped = threading.Event()

    def stop(self) -> None:
        """Off at once, and the test is over; called by another thread."""
        self.daemon.outputs.all_off(for_good=True)
        self._stopped.set()

    def test(self, say: Callable[[str], None]) -> list[Finding]:
        """`follow_test`, with this controller at work meanwhile; everything is off afterwards.

        Raises what `follow_test` or the daemon raises; BadInput where `stop` ended it.
        """
        found: list[Finding] = []
        failed: list[Exception] = []

        def work() -> None:
            try:
                self._wait_until_ready()
                found.extend(follow_test(self.daemon.settings, say, self._stopped.is_set))
            except Exception as error:
                failed.append(error)
            finally:
                self.daemon.stopping.set()

        asking = threading.Thread(target=work, name="asking", daemon=True)
        asking.start()
        self.daemon.run()
        asking.join()
        if failed:
            raise failed[0]
        return found

    def _wait_until_ready(self) -> None:
        began_s = time.time()
        end_s = time.monotonic() + READY_S
        while time.monotonic() < end_s and not self._stopped.is_set():
            live = _live(self.daemon.settings.ledger)
            if live is not None and live["host_s"] >= began_s and live["control_c"] is not None:
                return
            time.sleep(0.1)
        raise BadInput("The controller was not ready in time: no believable air temperature.")


def _live(ledger: Path) -> dict[str, Any] | None:
    try:
        return LedgerReader(ledger).live()
    except NightcureError:
        return None
