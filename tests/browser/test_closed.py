"""`[web] reading = "login"`: the oven is shown to who knows the passphrase and to nobody else."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from nightcure_web.app import create_app
from tests.nights import changed
from tests.recording import RecordedOven
from tests.web.conftest import PASSPHRASE, settings_for
from tests.web.serving import served

from .test_access import faults


@pytest.fixture
def closed(tmp_path: Path) -> Iterator[str]:
    """The address of a closed page beside a controller that ticks."""
    ledger = tmp_path / "closed.ledger"
    settings = changed(settings_for(ledger), web={"reading": "login"})
    stopping = threading.Event()
    with RecordedOven(ledger, settings) as oven:
        oven.run(30.0)

        def control() -> None:
            while not stopping.wait(0.3):
                oven.tick()

        thread = threading.Thread(target=control, daemon=True)
        thread.start()
        with served(create_app(settings)) as (address, _):
            yield address
        stopping.set()
        thread.join(10)


def test_nothing_of_the_oven_is_shown_until_the_login(page: Page, closed: str) -> None:
    asked: list[tuple[str, int]] = []
    page.on("response", lambda r: asked.append((r.url.removeprefix(closed), r.status)))
    for screen in ("now", "nights", "start"):
        page.goto(f"{closed}/#{screen}")
        page.reload()
        expect(page.get_by_text("watched by those who know its passphrase")).to_be_visible()
        for told in (".clock", ".big", ".strip", ".cards", ".offers"):
            expect(page.locator(told)).to_have_count(0)
    assert faults(page) == []
    told = {(url, status) for url, status in asked if url.startswith("/api")}
    assert all(status == 401 or url == "/api/session" for url, status in told), told
    assert ("/api/status", 401) in told

    field = page.get_by_label("The oven's passphrase")
    field.fill("a stork on the sluice")
    page.get_by_role("button", name="Log in").click()
    expect(page.get_by_role("alert").filter(has_text="passphrase")).to_be_visible()
    field.fill(PASSPHRASE)
    page.keyboard.press("Enter")
    expect(page.locator(".clock")).to_be_visible()
    page.goto(f"{closed}/#now")
    expect(page.get_by_test_id("air")).to_contain_text("°C")


def test_it_is_shut_again_by_logging_out(page: Page, closed: str) -> None:
    page.request.post(f"{closed}/api/login", data={"passphrase": PASSPHRASE})
    page.goto(f"{closed}/#oven")
    page.get_by_role("button", name="Log out", exact=True).click()
    expect(page.get_by_text("watched by those who know its passphrase")).to_be_visible()
    expect(page.locator(".clock")).to_have_count(0)
    page.goto(f"{closed}/#now")
    expect(page.locator(".big")).to_have_count(0)
