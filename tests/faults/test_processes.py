"""Real processes that die, hang or are told to stop while the oven heats: the pin goes off."""

from __future__ import annotations

import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from nightcure.ledger.reader import LedgerReader
from tests.recording import replay
from tests.workshop import Workshop, wait_for

#: From the moment something dies to the pin's being off: what the product promises.
PROMISE_S = 10.0


@pytest.fixture
def workshop(tmp_path: Path) -> Iterator[Workshop]:
    with Workshop(tmp_path) as shop:
        yield shop


def ledger_is_sound(path: Path) -> bool:
    with sqlite3.connect(path) as db:
        return bool(db.execute("PRAGMA integrity_check").fetchone() == ("ok",))


def off_command(shop: Workshop) -> None:
    """What the service manager runs after every end."""
    done = subprocess.run(
        [sys.executable, "-m", "nightcure", "off", str(shop.oven_file)],
        env=shop.env,
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )
    assert done.returncode == 0, done.stderr


def test_sigterm_leaves_the_heater_off_and_the_night_resumes(workshop: Workshop) -> None:
    process = workshop.controller()
    workshop.start_heating()
    process.send_signal(signal.SIGTERM)
    wait_for(
        lambda: not workshop.heater_on() and not workshop.contactor_on(),
        PROMISE_S,
        "the pins off after SIGTERM",
    )
    assert process.wait(15) == 0
    assert ledger_is_sound(workshop.ledger)

    workshop.controller()
    wait_for(workshop.heater_on, 30, "the resumed night heats")
    messages = [e["message"] for e in LedgerReader(workshop.ledger).events()]
    assert any(m.startswith("Resumed after") for m in messages), messages
    assert len(LedgerReader(workshop.ledger).nights()) == 1


def test_kill_9_then_the_off_command_and_the_night_resumes(workshop: Workshop) -> None:
    process = workshop.controller()
    workshop.start_heating()
    process.kill()
    process.wait(10)
    assert workshop.heater_on(), "a killed process leaves its line driven, as the Pi's kernel does"
    off_command(workshop)
    assert not workshop.heater_on()
    assert not workshop.contactor_on()
    assert ledger_is_sound(workshop.ledger)

    workshop.controller()
    wait_for(workshop.heater_on, 30, "the resumed night heats")
    night = LedgerReader(workshop.ledger).nights()[0]
    assert night["outcome"] is None
    seqs = [t.seq for t in LedgerReader(workshop.ledger).ticks(night["id"])]
    assert seqs == sorted(set(seqs))
    count, differences = replay(workshop.ledger)
    assert count >= len(seqs) > 2, "it goes on ticking while it is read"
    assert differences == [], "its record decides the same in a fresh loop"


@pytest.mark.parametrize("where", ["MainThread", "library"])
def test_a_stalled_loop_thread_meets_the_dead_man(workshop: Workshop, where: str) -> None:
    workshop.with_stalls()
    workshop.controller()
    workshop.start_heating()
    workshop.stall(where)
    wait_for(
        lambda: not workshop.heater_on() and not workshop.contactor_on(),
        PROMISE_S,
        "the dead-man opens the outputs",
    )


def test_a_read_of_the_bus_without_end_leaves_readings_that_are_too_old(
    workshop: Workshop,
) -> None:
    """A reading counts for ten seconds (measure.screening), and a tick is two."""
    workshop.with_stalls()
    workshop.controller()
    workshop.start_heating()
    workshop.stall("reader")
    wait_for(lambda: not workshop.heater_on(), 15.0, "off for want of a fresh reading")
    why = {"code": ""}

    def told() -> bool:
        why.update((workshop.live() or {}).get("why_off") or {})
        return why["code"] == "no-air-temperature"

    wait_for(told, 5.0, f"and that is why: {why}")


def test_a_dead_man_that_hangs_leaves_the_loop_and_stop_as_they_are(workshop: Workshop) -> None:
    workshop.with_stalls()
    workshop.controller()
    workshop.start_heating()
    workshop.stall("dead-man")
    before = workshop.live()
    assert before is not None
    wait_for(lambda: (workshop.live() or before)["seq"] > before["seq"] + 3, 20, "it goes on")
    assert workshop.heater_on()
    assert workshop.command("stop")[0] == "done"
    wait_for(lambda: not workshop.heater_on(), PROMISE_S, "the pin off after stop")


def test_a_hung_page_changes_nothing(workshop: Workshop) -> None:
    workshop.controller()
    page = workshop.nightcure("web", str(workshop.oven_file), "--port", "18733")
    workshop.start_heating()
    page.send_signal(signal.SIGSTOP)
    before = workshop.live()
    assert before is not None
    wait_for(lambda: (workshop.live() or before)["seq"] > before["seq"] + 2, 20, "the loop goes on")
    outcome, _ = workshop.command("stop")
    assert outcome == "done"
    wait_for(lambda: not workshop.heater_on(), PROMISE_S, "the pin off after stop")
    page.send_signal(signal.SIGCONT)


def test_stop_is_quick(workshop: Workshop) -> None:
    workshop.controller()
    workshop.start_heating()
    assert workshop.command("stop")[0] == "done"
    assert wait_for(lambda: not workshop.heater_on(), 2.0, "the pin off") < 2.0


def test_a_second_controller_is_refused(workshop: Workshop) -> None:
    workshop.controller()
    second = workshop.nightcure("controller", str(workshop.oven_file))
    assert second.wait(30) == 2
    assert "in use by another controller" in workshop.log()

    other = workshop.folder / "other.toml"
    text = workshop.oven_file.read_text().replace("nightcure.ledger", "other.ledger")
    other.write_text(text)
    beside = workshop.nightcure("controller", str(other))
    assert beside.wait(30) == 2
    assert "in use by another controller" in workshop.log(), "their trip latch would be one"

    (workshop.folder / "apart").mkdir()
    other.write_text(text.replace("other.ledger", "apart/other.ledger"))
    third = workshop.nightcure("controller", str(other))
    assert third.wait(30) == 2
    assert "GPIO17 cannot be claimed" in workshop.log()


def test_a_night_that_stood_still_too_long_is_refused(workshop: Workshop) -> None:
    process = workshop.controller()
    workshop.start_heating()
    process.kill()
    process.wait(10)
    off_command(workshop)
    with sqlite3.connect(workshop.ledger) as db:
        # As if the controller had been away for an hour on a board that ran on.
        (state,) = db.execute("SELECT state FROM snapshot").fetchone()
        import json

        told = json.loads(state)
        told["loop"]["wall_s"] -= 3600.0
        told["loop"]["mono_s"] -= 3600.0
        db.execute("UPDATE snapshot SET state = ?", (json.dumps(told),))
    workshop.controller()
    wait_for(lambda: (workshop.live() or {}).get("phase") == "tripped", 20, "a latched trip")
    live = workshop.live()
    assert live is not None
    assert live["trip"]["name"] == "resume-refused"
    assert "stood still for 1 h" in live["trip"]["message"]
    assert not workshop.heater_on()
