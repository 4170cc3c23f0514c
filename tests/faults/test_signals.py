"""Signals to a real controller that heats, one by one and in storms: off, and soon gone."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.workshop import Workshop, wait_for

#: The dead-man would open the relay after 6 s: what is sooner is the signal's own doing.
SOON_S = 3.0
#: Daemon.run leaves recorder, reader and dead-man ten seconds in all to end.
GONE_S = 15.0


@pytest.fixture
def workshop(tmp_path: Path) -> Iterator[Workshop]:
    with Workshop(tmp_path) as shop:
        yield shop


def off(shop: Workshop) -> bool:
    return not shop.heater_on() and not shop.contactor_on()


def test_every_signal_that_would_end_or_stop_a_process_is_told() -> None:
    """Ctrl-C (INT), Ctrl-\\ (QUIT), a supply that fails (PWR) and all the others."""
    code = (
        "import os, queue, signal\n"
        "from nightcure.daemon.stop_signals import TAKEN, StopSignals\n"
        "told = queue.Queue()\n"
        "with StopSignals(told.put):\n"
        "    for number in sorted(TAKEN):\n"
        "        os.kill(os.getpid(), number)\n"
        "        assert told.get(timeout=20) == number\n"
        "print(*sorted(TAKEN))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr
    told = {int(word) for word in done.stdout.split()}
    assert {
        signal.SIGTERM, signal.SIGINT, signal.SIGHUP, signal.SIGQUIT, signal.SIGTSTP,
        signal.SIGUSR1, signal.SIGALRM, signal.SIGPWR,
    } <= told  # fmt: skip


@pytest.mark.parametrize("name", ["SIGHUP", "SIGTSTP"])
def test_a_closed_terminal_and_ctrl_z_leave_the_heater_off(workshop: Workshop, name: str) -> None:
    """As a plain kill does (`test_processes`)."""
    process = workshop.controller()
    workshop.start_heating()
    process.send_signal(getattr(signal, name))
    wait_for(lambda: off(workshop), SOON_S, f"off after {name}")
    assert process.wait(GONE_S) == 0


@pytest.mark.parametrize("names", [["SIGTERM"], ["SIGTERM", "SIGINT", "SIGHUP"]])
def test_a_storm_of_signals_neither_hangs_the_exit_nor_leaves_heat(
    workshop: Workshop, names: list[str]
) -> None:
    process = workshop.controller()
    workshop.start_heating()
    numbers = [getattr(signal, name) for name in names]
    end_s = time.monotonic() + GONE_S
    off_s = None
    sent = 0
    while process.poll() is None and time.monotonic() < end_s:
        for number in numbers * 20:
            os.kill(process.pid, number)
            sent += 1
        if off_s is None and off(workshop):
            off_s = time.monotonic()
    assert sent > 1000
    assert process.poll() is not None, "it has not ended"
    assert off(workshop)
    assert off_s is not None
    assert end_s - GONE_S <= off_s <= end_s - GONE_S + SOON_S
    # Whoever is shot at while Python takes itself down ends by the signal: everything was done.
    assert process.returncode == 0 or -process.returncode in numbers
    assert "Traceback" not in workshop.log()


def test_a_main_thread_that_hangs_in_a_library_does_not_hold_up_the_signal(
    workshop: Workshop,
) -> None:
    workshop.with_stalls()
    process = workshop.controller()
    workshop.start_heating()
    workshop.stall("library")
    time.sleep(1.0)  # it looks for this every quarter of a second, and the dead-man waits six
    assert workshop.heater_on()
    process.send_signal(signal.SIGTERM)
    wait_for(lambda: off(workshop), SOON_S, "off though the main thread hangs")


def test_a_child_of_a_process_that_takes_signals_can_be_told_to_end() -> None:
    """What is started meanwhile has the signals as they were: the demo's page must end."""
    code = (
        "import signal, subprocess, sys\n"
        "from nightcure.daemon.stop_signals import StopSignals\n"
        "with StopSignals(lambda _: None):\n"
        "    child = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(60)'])\n"
        "    child.terminate()\n"
        "    print(child.wait(20))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.stdout == f"{-signal.SIGTERM}\n", done.stderr
