"""A trip on the page: told in words, heard by a screen reader, acknowledged, reset."""

from __future__ import annotations

import re
from collections.abc import Callable

from playwright.sync_api import Page, expect

from .conftest import RunningDemo
from .hands import answer, log_in, see


def test_a_trip_is_told_acknowledged_and_reset(
    page: Page, demo: Callable[..., RunningDemo], quiet: list[str]
) -> None:
    running = demo("--speed", "150", "--fault", "sensor-missing@40min+20min")
    see(page, running)
    trip = page.locator("article.trip")
    expect(trip).to_have_count(1)
    heading = trip.get_by_role("heading")
    expect(heading).to_have_text(re.compile("^Trip: .* since \\d\\d:\\d\\d, .*acknowledged$"))
    sentence = trip.locator("p").inner_text()
    assert re.search(r"\.$", sentence)
    expect(page.locator("[role=alert][aria-live=assertive]")).to_contain_text(sentence[:30])
    heater = page.get_by_test_id("heater")
    expect(heater).to_have_text("off")
    expect(page.locator(".state")).to_contain_text(
        "has tripped (control sensor lost) and stays off until"
    )

    trip.get_by_role("button", name="Acknowledge").click()
    log_in(page, running.passphrase)
    answer(page, "Acknowledge")
    expect(trip.get_by_role("button", name="Acknowledge")).to_have_count(0)

    expect(heading).to_contain_text("waits for a reset")  # the thermometer is back
    trip.get_by_role("button", name="Reset the trip …").click()
    answer(page, "Cause is gone, reset")
    expect(trip).to_have_count(0)
    expect(page.get_by_text("Resting", exact=True)).to_be_visible()
    assert quiet == []


def test_a_reset_whose_cause_is_still_there_is_refused_in_words(
    page: Page, tripped: RunningDemo
) -> None:
    see(page, tripped)
    page.get_by_role("button", name="Reset the trip …").click()
    log_in(page, tripped.passphrase)
    page.get_by_role("button", name="Cause is gone, reset").click()
    expect(page.locator(".sheet .refusal")).to_contain_text("Not reset")
    assert page.request.get(f"{tripped.address}api/status").json()["phase"] == "tripped"
