"""The application on a real ledger, and where one is needed a controller that answers."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from argon2 import PasswordHasher
from fastapi import FastAPI
from fastapi.testclient import TestClient

from nightcure.ledger.writer import LedgerWriter
from nightcure.profile import Profile
from nightcure.settings import Settings
from nightcure.tick import Phase
from nightcure_web.app import create_app
from tests.nights import SETTINGS, SHORT, changed
from tests.recording import RecordedOven
from tests.workshop import wait_for

PASSPHRASE = "a heron on the sluice"
#: The cheapest the hasher allows: the tests check who is let in, not how slow guessing is.
HASH = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1).hash(PASSPHRASE)
ORIGIN = "http://testserver"


def settings_for(ledger: Path, passphrase_hash: str | None = HASH) -> Settings:
    web = {"passphrase_hash": passphrase_hash, "hosts": ["testserver"]}
    return changed(SETTINGS, web=web).model_copy(update={"ledger": ledger})


@pytest.fixture(autouse=True)
def _alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages that others serve from this machine are none of these tests' business."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))


@pytest.fixture(scope="session")
def night_ledger(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One whole night and the beginning of another, recorded."""
    path = tmp_path_factory.mktemp("web") / "w.ledger"
    with RecordedOven(path) as oven:
        assert oven.run(9000.0).phase is Phase.DONE
    with RecordedOven(path, faults=["sensor-missing@10min"]) as oven:
        oven.run(900.0)
    return path


@pytest.fixture
def client(night_ledger: Path) -> Iterator[TestClient]:
    """A browser that is not logged in."""
    with TestClient(create_app(settings_for(night_ledger)), raise_server_exceptions=False) as found:
        yield found


@dataclass
class Steered:
    """A browser and the oven it steers."""

    client: TestClient
    oven: RecordedOven
    app: FastAPI
    pace_s: list[float]
    """Between two ticks of the oven, s; one number."""

    def log_in(self) -> None:
        answer = self.client.post("/api/login", json={"passphrase": PASSPHRASE})
        assert answer.status_code == 200, answer.text

    def accept(self) -> None:
        """Log in and accept the cautions."""
        self.log_in()
        assert self.client.post("/api/cautions/accept").status_code == 200

    def ask(self, word: str, **args: Any) -> tuple[int, str]:
        """A command's status and sentence."""
        answer = self.client.post(f"/api/commands/{word}", json=args)
        said = answer.json()
        return answer.status_code, said["message"] if answer.is_success else said["detail"]

    def start(self, profile: Profile = SHORT) -> None:
        """Start a night from the page, as a person does."""
        self.accept()
        asked = {"profile": profile.model_dump(mode="json"), "limit_device_confirmed": True}
        assert self.ask("start", **asked)[0] == 200


@pytest.fixture
def steered(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Steered]:
    """The application beside a controller that ticks and takes commands from the inbox; the
    timing is the settings' own where it is not asked for (as an indirect parameter)."""
    from nightcure.ledger.inbox import Inbox
    from nightcure.tick import Command

    ledger = tmp_path / "s.ledger"
    LedgerWriter(ledger).close()
    stopping = threading.Event()
    pace_s = [0.02]
    settings = changed(settings_for(ledger), timing=getattr(request, "param", {}))
    with RecordedOven(ledger, settings) as oven:
        oven.tick()

        def control() -> None:
            inbox = Inbox(ledger)
            while not stopping.is_set():
                waiting = inbox.waiting(time.time())
                oven.tick(*[Command(r.id, r.word, r.args, r.who) for r in waiting])
                stopping.wait(pace_s[0])
            inbox.close()

        thread = threading.Thread(target=control, daemon=True)
        thread.start()
        app = create_app(oven.settings)
        with TestClient(app, raise_server_exceptions=False) as client:
            reader = app.state.services.reader
            wait_for(lambda: reader.live() is not None, 10, "the first tick is written")
            yield Steered(client, oven, app, pace_s)
        stopping.set()
        thread.join(10)
