"""How soon the page shows something: `pytest tests/bench/test_page.py --benchmark-only`.

What is asked: the first live temperature within half a second, a night of twelve hours opened
within one. The browser's own clock counts, from the press or the first request to what is seen;
nothing here asserts a time. The benchmark's own figures hold the driving of the browser too.
"""

from __future__ import annotations

import socket
import statistics
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from playwright.sync_api import Browser, expect

from nightcure.profile import Profile, Ramp, Soak
from nightcure_web.app import create_app
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
    server = uvicorn.Server(uvicorn.Config(app, port=port, log_level="warning"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{port}/"
    app.state.store.closing = True
    server.should_exit = True
    thread.join(10)


@pytest.mark.timeout(600)
def test_the_first_temperature(benchmark: Any, browser: Browser, address: str) -> None:
    """A fresh browser context each time: nothing is cached."""
    took_ms: list[float] = []

    def look() -> None:
        context = browser.new_context(viewport={"width": 390, "height": 844})
        page = context.new_page()
        page.goto(address, wait_until="commit")
        took_ms.append(page.evaluate(SEEN, "[data-testid=air]"))
        context.close()

    benchmark.pedantic(look, rounds=7)
    benchmark.extra_info["by the browser's clock, ms (median)"] = statistics.median(took_ms)
    assert len(took_ms) >= 1


@pytest.mark.timeout(600)
def test_a_night_of_twelve_hours(benchmark: Any, browser: Browser, address: str) -> None:
    """From the press to the drawn strip: fetched, thinned, drawn."""
    took_ms: list[float] = []

    def look() -> None:
        context = browser.new_context(viewport={"width": 390, "height": 844})
        page = context.new_page()
        page.goto(f"{address}#nights")
        expect(page.locator(".clock")).to_be_visible()
        took_ms.append(page.evaluate(OPENED))
        context.close()

    benchmark.pedantic(look, rounds=5)
    benchmark.extra_info["by the browser's clock, ms (median)"] = statistics.median(took_ms)
    assert len(took_ms) >= 1
