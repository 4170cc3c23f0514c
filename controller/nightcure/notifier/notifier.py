"""The notifier's life: look, put into the outbox, and let every service take it at its own pace."""

from __future__ import annotations

import logging
import os
import threading
import time
from contextlib import suppress

from ..clock import tell_service_manager
from ..errors import BadInput
from ..ledger.outbox import Outbox, outbox_path
from ..settings import Settings
from .heartbeat import Heartbeat
from .push import NAME as BROWSERS
from .push import Push
from .push import wanted as push_wanted
from .secrets_file import Secrets
from .service import Service
from .watch import Watch
from .wording import page_of

log = logging.getLogger("nightcure.notifier")

#: How often the ledger is looked at, s.
LOOK_S = 1.0
#: How often the outbox's file is touched, by which the page sees that the notifier lives, s.
ALIVE_S = 5.0
#: How long a service that is just being told is waited for at the end, s.
STOP_S = 2.0
#: Under this name the outbox remembers how far the ledger was read.
PLACE = "read"


class Notifier:
    """For one oven.

    Raises:
        BadInput: a service cannot be used as it is declared.
    """

    def __init__(self, settings: Settings, secrets: Secrets) -> None:
        told = settings.notifications
        self._settings = settings
        self.outbox = Outbox(outbox_path(settings.ledger))
        self.services: list[Service] = []
        self._publisher = None
        self._heartbeat: Heartbeat | None = None
        self._well = False
        self._lost = False
        self.stopping = threading.Event()
        addresses = {name: a.get_secret_value() for name, a in secrets.services.items()}
        if addresses:
            from .apprise_service import load_for, sender

            load_for(list(addresses.values()))
            page = page_of(settings)
            for name, address in addresses.items():
                self.services.append(Service(name, sender(name, address, page), self.outbox))
        if told.mqtt is not None:
            from .mqtt import NAME, Publisher

            word = secrets.mqtt_password
            password = None if word is None else word.get_secret_value()
            self._publisher = Publisher(settings, told.mqtt, password, self.outbox)
            self.services.append(Service(NAME, self._publisher.send, self.outbox, people=False))
        if secrets.heartbeat is not None:
            address = secrets.heartbeat.get_secret_value()
            every_s = told.heartbeat_every_s
            self._heartbeat = Heartbeat(address, every_s, lambda: self._well, self.outbox)
        self._join_browsers()
        beats = ["heartbeat"] if self._heartbeat else []
        self.outbox.part([*(s.name for s in self.services), *beats])
        self._watch = Watch(settings, self.outbox.place(PLACE), time.monotonic())

    def run(self) -> None:
        """Until `stopping` is set."""
        for service in self.services:
            service.start()
        if self._publisher is not None:
            self._publisher.start()
        self.look(time.monotonic(), time.time())
        if self._heartbeat is not None:
            self._heartbeat.start()
        tell_service_manager("READY=1\nSTATUS=Telling.")
        alive_s = forgot_s = -1e9
        while not self.stopping.is_set():
            mono_s, now_s = time.monotonic(), time.time()
            self.look(mono_s, now_s)
            if mono_s - alive_s >= ALIVE_S:
                alive_s = mono_s
                with suppress(OSError):
                    os.utime(self.outbox.path)
                if self._join_browsers():
                    self.services[-1].start()
            if mono_s - forgot_s >= 86400.0:
                forgot_s = mono_s
                self.outbox.forget_before(now_s)
            tell_service_manager("WATCHDOG=1")
            self.stopping.wait(LOOK_S)
        self._stop()

    def look(self, mono_s: float, now_s: float) -> None:
        """One look at the ledger."""
        seen = self._watch.look(mono_s, now_s)
        place = {PLACE: seen.place} if seen.place else {}
        self.outbox.put(seen.messages, **place)
        self._well = seen.answers and not seen.trouble
        if bool(seen.trouble) is not self._lost:
            self._lost = bool(seen.trouble)
            log.warning("%s", seen.trouble or "The ledger can be read again.")
        if self._publisher is not None:
            from .mqtt import telemetry

            self._publisher.show(telemetry(seen.live, seen.answers))
        for service in self.services:
            if seen.messages:
                service.wake()
            service.look(mono_s, now_s)

    def _join_browsers(self) -> bool:
        """Once a browser has asked to be told; until then nothing of it is loaded."""
        if any(s.name == BROWSERS for s in self.services) or not push_wanted(self._settings):
            return False
        self.services.append(Service(BROWSERS, Push(self._settings).send, self.outbox))
        return True

    def _stop(self) -> None:
        tell_service_manager("STOPPING=1")
        if self._heartbeat is not None:
            self._heartbeat.stop()
        for service in self.services:
            service.stop(STOP_S)
        if self._publisher is not None:
            self._publisher.stop()
        self.outbox.close()


def nobody(settings: Settings, secrets: Secrets) -> None:
    """Raise BadInput where nobody would be told anything."""
    told = settings.notifications
    asked = secrets.services or secrets.heartbeat is not None or told.mqtt is not None
    if not asked and not push_wanted(settings):
        raise BadInput(
            "Nobody is to be told: name a file with [services] in it (notifications.secrets in "
            "oven.toml) or a broker ([notifications.mqtt]), or let a browser ask on the page."
        )
