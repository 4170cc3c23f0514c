"""From each thing that can happen to the controller to the heater's pin being off: a table.

Everything happens to the installed controller under its real unit, while it heats at full power.
The pin is watched from outside the container. After each the oven is brought to heat again.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from typing import NamedTuple

from tests.container.trial import CONTROLLER, HOT, WEB, Trial
from tests.workshop import wait_for

#: Signals of every kind to one process, as fast as they can be sent, for two seconds.
STORM = """
import os, signal, sys, time
pid, end_s = int(sys.argv[1]), time.monotonic() + 2.0
try:
    while time.monotonic() < end_s:
        for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
            os.kill(pid, number)
except ProcessLookupError:
    pass
"""
STATE = "/var/lib/nightcure"
#: Room for the ledger that is there and some minutes of its growth.
SMALL_DISK_MB = 24


class Event(NamedTuple):
    """What happens, what puts the pin off, and how it is mended; `within_s` is what is promised."""

    name: str
    by: str
    do: Callable[[], object]
    within_s: float = 10.0
    mend: Callable[[], object] = lambda: None
    before: Callable[[], object] = lambda: None
    """What has happened already, before time is taken."""
    quick: bool = True
    """Short enough for every run of the tests."""


class Events:
    """The events, on a trial whose oven is installed and heats."""

    def __init__(self, trial: Trial) -> None:
        self.trial, self.box, self.shop = trial, trial.box, trial.shop
        self.measured: dict[str, list[float]] = {}
        off = "`nightcure off`"
        stalled = "the dead-man"
        kill, stall, spoil, clear = self._kill, self._stall, self._spoil, self._clear
        self.events: tuple[Event, ...] = (
            Event("the page's *Stop*", "the loop", lambda: self.box.page("stop", {}), 10.0),
            Event("`systemctl stop`", "the controller", self._systemctl_stop),
            Event("SIGTERM", "the controller", kill("TERM")),
            Event("SIGHUP (a closed terminal)", "the controller", kill("HUP")),
            Event("SIGTSTP (Ctrl-Z)", "the controller", kill("TSTP")),
            Event("a storm of SIGTERM, SIGINT and SIGHUP", "the controller", self._storm),
            Event("SIGKILL, a crash", off, kill("KILL")),
            Event("SIGKILL, `oven.toml` spoiled", off, lambda: spoil("KILL"), 10.0, self._unspoil),
            Event("SIGSTOP", f"the service manager, {off}", kill("STOP")),
            Event("the loop hangs", stalled, stall("MainThread"), 10.0, clear),
            Event("the loop hangs in a library", stalled, stall("library"), 10.0, clear),
            Event("the loop hangs in a library, then SIGTERM", "the controller", kill("TERM"), 10.0,
                  clear, stall("library", wait_s=1.0)),
            Event("the dead-man hangs, then the loop", f"the service manager, {off}",
                  stall("MainThread"), 20.0, clear, stall("dead-man", wait_s=1.0)),
            Event("the signals' thread hangs, then `systemctl stop`", f"the service manager, {off}",
                  self._systemctl_stop, 45.0, clear, stall("signals"), False),
            Event("the thermometers' thread hangs (a 1-Wire read without end)",
                  "the loop: readings too old", stall("reader"), 20.0, clear),
            Event("the ledger's thread hangs", "`ledger-lost`", stall("recorder"), 90.0, clear,
                  quick=False),
            Event("the ledger is removed", "`ledger-lost`, at once", self._remove),
            Event("a small disk, full", "`ledger-lost`", self._fill, 120.0, self._empty,
                  quick=False),
        )  # fmt: skip

    # ---- the run ---------------------------------------------------------------------------------

    def run(self, runs: int, quick: bool, only: str = "") -> None:
        """Each event `runs` times; what takes minutes is left out where `quick`."""
        self._small_disk(True)
        for number in range(runs):
            self._afresh()
            for event in self.events:
                if only in event.name and (event.quick or not quick):
                    self._measure(event, number)
            self._second_controller()
        self._small_disk(False)
        self._heat_again()

    def _measure(self, event: Event, number: int) -> None:
        wait_for(self.trial.on, 90, f"the heater on before {event.name}")
        self.box.run("systemctl", "reset-failed", CONTROLLER, check=False)
        pid, offs = self.trial.pid(CONTROLLER), self.trial.offs()
        event.before()
        assert self.trial.on()
        with ThreadPoolExecutor(1) as pool:
            doing = pool.submit(event.do)
            off_s = wait_for(lambda: not self.trial.on(), event.within_s, f"off: {event.name}")
            doing.result()
        self.measured.setdefault(event.name, []).append(off_s)
        print(f"{number + 1}: {event.name}: {off_s:.2f} s", flush=True)
        event.mend()
        self._heat_again()
        # The new controller opens the relay, too; the off command must have come before it.
        assert self.trial.offs() >= offs + (self.trial.pid(CONTROLLER) != pid), event.name

    def _heat_again(self) -> None:
        """Running, with a night under way: the old one taken up, or a new one."""
        self.box.run("systemctl", "reset-failed", CONTROLLER, check=False)
        self.box.run("systemctl", "start", CONTROLLER)
        wait_for(lambda: self.box.show(CONTROLLER, "ActiveState") == "active", 60, "running")
        wait_for(self._heats, 120, "the heater on again")

    def _heats(self) -> bool:
        if self.trial.on():
            return True
        with suppress(AssertionError):  # the page may be without a ledger still
            phase = self.box.page("status")["phase"]
            if phase == "tripped":
                self.box.page("reset", {})
            elif phase in ("idle", "done"):
                self.box.page("start", {"profile": HOT, "limit_device_confirmed": True})
        time.sleep(1.0)
        return False

    def _afresh(self) -> None:
        """A cold oven and no nights, so that it heats at full power throughout."""
        self.box.run("systemctl", "stop", CONTROLLER, check=False)
        self.shop.cool()
        self.box.run("sh", "-c", f"rm -f {STATE}/nightcure.ledger*")
        self._heat_again()

    def table(self) -> str:
        """The figures, as hardware-notes has them."""
        head = (
            "| what | what puts the pin off | median (s) | longest (s) |\n| --- | --- | --- | --- |"
        )
        rows = [
            f"| {e.name} | {e.by} | {statistics.median(t):.1f} | {max(t):.1f} |"
            for e in self.events
            if (t := self.measured.get(e.name))
        ]
        return "\n".join([head, *rows])

    # ---- what happens ----------------------------------------------------------------------------

    def _kill(self, word: str) -> Callable[[], object]:
        return lambda: self.trial.kill(CONTROLLER, word)

    def _stall(self, thread: str, wait_s: float = 0.0) -> Callable[[], object]:
        def do() -> None:
            (self.shop.folder / f"stall-{thread}").touch()
            time.sleep(wait_s)  # until it has come to where it hangs

        return do

    def _clear(self) -> None:
        for file in self.shop.folder.glob("stall-*"):
            file.unlink()

    def _systemctl_stop(self) -> None:
        self.box.run("systemctl", "stop", CONTROLLER)

    def _storm(self) -> None:
        self.box.run("python3", "-c", STORM, str(self.trial.pid(CONTROLLER)))

    def _spoil(self, word: str) -> None:
        oven = self.box.root / "etc/nightcure/oven.toml"
        self._oven = oven.read_bytes()
        oven.write_bytes(self._oven[:40] + b"\0" * 400)
        self.trial.kill(CONTROLLER, word)

    def _unspoil(self) -> None:
        (self.box.root / "etc/nightcure/oven.toml").write_bytes(self._oven)

    def _small_disk(self, there: bool) -> None:
        """A small disk in place of the ledger's folder, or away again."""
        self.box.run("systemctl", "stop", CONTROLLER, WEB)
        if there:
            options = f"size={SMALL_DISK_MB}m,mode=0750,uid=nightcure,gid=nightcure"
            self.box.run("mount", "-t", "tmpfs", "-o", options, "tmpfs", STATE)
        else:
            self.box.run("umount", STATE)
        self.box.run("systemctl", "start", CONTROLLER, WEB)

    def _remove(self) -> None:
        self.box.run("sh", "-c", f"rm -f {STATE}/nightcure.ledger*")

    def _fill(self) -> None:
        self.box.run("dd", "if=/dev/zero", f"of={STATE}/fill", "bs=4k", check=False)

    def _empty(self) -> None:
        self.box.run("rm", "-f", f"{STATE}/fill")

    def _second_controller(self) -> None:
        """Refused, and the first goes on heating; by the ledger's lock, and by the pins."""
        began_s = time.monotonic()
        was = self.trial.pid(CONTROLLER)
        ours, theirs = f"{STATE}/nightcure.ledger", "/tmp/other.ledger"
        for ledger, said in ((ours, "in use"), (theirs, "held by 'nightcure'")):
            script = (
                f"sed s#{ours}#{ledger}# /etc/nightcure/oven.toml >/tmp/two.toml; "
                "NIGHTCURE_W1_ROOT=/bench/w1 NIGHTCURE_BENCH=/bench/pins "
                "NIGHTCURE_GPIOD=nightcure.simulate.bench_chip "
                "/opt/nightcure/bin/nightcure controller /tmp/two.toml"
            )
            done = self.box.run("sh", "-c", script, check=False)
            assert done.returncode == 2, done.stderr
            assert said in done.stderr, done.stderr
            assert self.trial.on()
        assert self.trial.pid(CONTROLLER) == was
        print(f"a second controller: refused twice, {time.monotonic() - began_s:.1f} s", flush=True)
