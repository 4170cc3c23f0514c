"""The demo: the real daemon and its real adapters on a faster clock, with the virtual oven behind
the same wires: a 1-Wire-like tree that the sensor adapter reads, pins that the relay drives.
"""

from __future__ import annotations

import os
import secrets
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from ..clock import PacedClock
from ..cure.part import Part
from ..oven.thermal import Network
from ..profile import Profile
from ..settings import Settings
from .faults import FaultAt
from .resin import Resins
from .virtual import VirtualOven
from .wired_oven import WiredOven
from .zoned import ZonedOven

if TYPE_CHECKING:
    from ..daemon.daemon import Daemon

#: The virtual oven moves and its wires are refreshed this often, in its own seconds.
STEP_S = 1.0
#: The demo's day begins at this hour, local time.
EVENING_HOUR = 20
WORDS = ("tide", "kelp", "heron", "sluice", "ember", "barge", "gull", "reed", "anchor", "flood")


class Demo:
    """A demo night: its folder, its clock, its oven, its controller and its page.

    Args:
        settings: the scenario's; ledger, port and passphrase are replaced by the demo's own.
        faults: times counted from the start of the demo.
        address: that the page listens on; "0.0.0.0" for every phone on this network.
    """

    def __init__(
        self,
        settings: Settings,
        profile: Profile,
        network: Network | ZonedOven,
        ambient_c: Callable[[float], float],
        speed: float,
        port: int,
        faults: Sequence[FaultAt] = (),
        seed: int = 0,
        address: str = "127.0.0.1",
    ) -> None:
        from argon2 import PasswordHasher

        self.profile = profile
        words = secrets.choice(WORDS), secrets.choice(WORDS), str(secrets.randbelow(90) + 10)
        self.passphrase = "-".join(words)
        shm = Path("/dev/shm")
        self.folder = Path(
            tempfile.mkdtemp(prefix="nightcure-demo-", dir=shm if shm.is_dir() else None)
        )
        web = settings.web.model_copy(
            update={
                "address": address,
                "port": port,
                "passphrase_hash": PasswordHasher().hash(self.passphrase),
            }
        )
        self.settings = settings.model_copy(
            update={"web": web, "ledger": self.folder / "demo.ledger"}
        )
        self.address = f"http://127.0.0.1:{port}/"
        evening = datetime.now().astimezone().replace(hour=EVENING_HOUR, minute=0, second=0)
        self.clock = PacedClock(speed, wall_start_s=float(int(evening.timestamp())))
        self.oven = VirtualOven(network, settings.thermometers, ambient_c, seed, faults)
        self._parts: Sequence[Part] = ()
        """Of the night under way."""
        self._resins: Resins | None = None
        self._mixed_s = 0.0
        """Oven time at which that night began."""
        self._wired = WiredOven(
            self.folder, self.oven, settings.thermometers, settings.heater, settings.contactor
        )
        self._page: subprocess.Popen[bytes] | None = None
        self._daemon: Daemon | None = None
        self._stopping = threading.Event()
        self._clock_stepped = False

    def run(self, on_ready: Callable[[], None], start: bool = True) -> None:
        """Run until stopped by a signal. `on_ready` is called once the page answers."""
        os.environ.update(self._wired.environment)
        from ..daemon.daemon import Daemon
        from ..daemon.stop_signals import StopSignals

        daemon = self._daemon = Daemon(self.settings, self.clock, self.clock.speed)
        StopSignals(lambda _: self.stop()).start()
        oven = threading.Thread(target=self._oven, name="virtual oven", daemon=True)
        waiter = threading.Thread(
            target=self._open, args=(on_ready, start), name="page", daemon=True
        )
        try:
            self._start_page()
            oven.start()
            waiter.start()
            daemon.run()
        finally:
            self.stop()
            self._stop_page()
            oven.join(5.0)
            shutil.rmtree(self.folder, ignore_errors=True)

    def stop(self) -> None:
        """End the demo."""
        self._stopping.set()
        if self._daemon is not None:
            self._daemon.stopping.set()

    # ---- the oven behind the wires -----------------------------------------------------------

    def _oven(self) -> None:
        """The virtual oven's thread: pins in, temperatures out."""
        self.clock.join()
        while not self._stopping.is_set():
            self._wired.step(STEP_S, self._moulds_w())
            if "clock-step" in self.oven.active() and not self._clock_stepped:
                self._clock_stepped = True
                self.clock.step_wall(3600.0)
            self._wired.put()
            self.clock.sleep(STEP_S)
        self.clock.leave()

    def _moulds_w(self) -> list[float]:
        """The heat of the resins that lie in the oven: of the night under way, from its start."""
        run = None if self._daemon is None else self._daemon.loop.run
        parts = self._parts if run is None else run.profile.parts
        if parts is not self._parts:
            self._parts, self._mixed_s = parts, self.oven.t_s
            places = len(self.oven.moulds_c)
            self._resins = Resins(
                parts, self.settings.thermometers, places, nodes=self.oven.nodes_per_mould
            )
        if self._resins is None:
            return []
        return self._resins.step(self.oven.t_s - self._mixed_s, STEP_S, self.oven.moulds_c)

    # ---- the page ----------------------------------------------------------------------------

    def _start_page(self) -> None:
        path = self.folder / "oven.json"
        path.write_text(self.settings.model_dump_json(), encoding="utf-8")
        path.chmod(0o600)
        code = (
            "import sys; from pathlib import Path; from nightcure.settings import Settings; "
            "from nightcure_web.app import run; "
            "run(Settings.model_validate_json(Path(sys.argv[1]).read_text()))"
        )
        self._page = subprocess.Popen([sys.executable, "-c", code, str(path)])

    def _stop_page(self) -> None:
        if self._page is not None and self._page.poll() is None:
            self._page.terminate()
            try:
                self._page.wait(5.0)
            except subprocess.TimeoutExpired:
                self._page.kill()
                self._page.wait(5.0)

    def _open(self, on_ready: Callable[[], None], start: bool) -> None:
        """Wait for the page to answer, say so, and start the night."""
        from urllib.error import URLError
        from urllib.request import urlopen

        from ..ledger.inbox import Inbox
        from ..loop.commands import ALL_CONFIRMED

        end_s = time.monotonic() + 30.0
        while time.monotonic() < end_s and not self._stopping.is_set():
            if self._page is not None and self._page.poll() is not None:
                self.stop()
                return
            try:
                with urlopen(self.address + "api/health", timeout=1.0):
                    break
            except (URLError, OSError):
                time.sleep(0.05)
        if self._stopping.is_set():
            return
        if start:
            inbox = Inbox(self.settings.ledger)
            arguments = {"profile": self.profile.model_dump(mode="json"), **ALL_CONFIRMED}
            inbox.put("start", arguments, "demo", time.time(), ttl_s=30.0)
        on_ready()
