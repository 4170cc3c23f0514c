"""How soon the page shows something: `pytest tests/bench/test_page.py --benchmark-only`.

What is asked: the first live temperature within half a second, a night of twelve hours opened
within one. The browser's own clock counts, from the press or the first request to what is seen,
so the figures hold no starting and driving of the browser. Nothing here asserts a time.
"""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from nightcure.profile import Profile, Ramp, Soak
from nightcure_web.app import Server, create_app
from tests.nights import SETTINGS
from tests.recording import RecordedOven

NIGHT_H = 12
FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"]
#: When something is there, ms since the page's first request.
SEEN = """selector => new Promise(done => {
  const look = () => document.querySelector(selector) ? done(performance.now())
    : requestAnimationFrame(look);
  look();
})"""
#: From a press on the night to its strip, ms.
OPENED = """() => new Promise(done => {
  const began = performance.now();
  location.hash = '#nights/1';
  const look = () => document.querySelector('.plot canvas') ? done(performance.now() - began)
    : requestAnimationFrame(look);
  look();
})"""


class BrowsersClock:
    """A benchmark's timer that goes by what the browser measured."""

    def __init__(self) -> None:
        self._s = 0.0

    def __call__(self) -> float:
        """All that was measured so far, s."""
        return self._s

    def took(self, ms: float) -> None:
        """One more look took so long."""
        self._s += ms / 1000


FIRST, OPENING = BrowsersClock(), BrowsersClock()


@pytest.fixture(scope="session")
def browser_type_launch_args() -> dict[str, Any]:
    return {"executable_path": "/usr/bin/chromium", "args": FLAGS}


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A page's server with a night of twelve hours in its ledger."""
    ledger = Path(tmp_path_factory.mktemp("page")) / "long.ledger"
    segments = (Ramp(to_c=38, rate_c_per_h=15), Soak(at_c=38, hours=NIGHT_H))
    with RecordedOven(ledger) as oven:
        oven.run(NIGHT_H * 3600.0, profile=Profile(name="Twelve hours", segments=segments))
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    app = create_app(SETTINGS.model_copy(update={"ledger": ledger}))
    server = Server(app, "127.0.0.1", port)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{port}/"
    app.state.services.closing = True
    server.should_exit = True
    thread.join(10)


@pytest.mark.timeout(600)
@pytest.mark.benchmark(timer=FIRST)
def test_the_first_temperature(benchmark: Any, browser: Browser, address: str) -> None:
    """A fresh browser context each time: nothing is cached."""

    def look() -> None:
        context = browser.new_context(viewport={"width": 390, "height": 844})
        page = context.new_page()
        page.goto(address, wait_until="commit")
        FIRST.took(page.evaluate(SEEN, "[data-testid=air]"))
        context.close()

    benchmark.pedantic(look, rounds=15)


@pytest.mark.timeout(600)
@pytest.mark.benchmark(timer=OPENING)
def test_a_night_of_twelve_hours(benchmark: Any, browser: Browser, address: str) -> None:
    """From the press to the drawn strip: fetched, thinned, drawn."""

    def look() -> None:
        context = browser.new_context(viewport={"width": 390, "height": 844})
        page = context.new_page()
        page.goto(f"{address}#nights")
        expect(page.locator(".clock")).to_be_visible()
        OPENING.took(page.evaluate(OPENED))
        context.close()

    benchmark.pedantic(look, rounds=9)
