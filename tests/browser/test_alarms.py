"""A trip on the page: told in words, heard by a screen reader, acknowledged, reset."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Page, expect

from nightcure.guard.interlocks import RULES

from .conftest import RunningDemo
from .hands import answer, log_in, see

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "web" / "page"


def test_a_trip_is_told_acknowledged_and_reset(
    page: Page, demo: Callable[..., RunningDemo], quiet: list[str]
) -> None:
    """Above the warning that came before it, of a box that was open (fails before this)."""
    running = demo("--speed", "150", "--fault", "door-open@20min+15min",
                   "--fault", "sensor-missing@40min+20min")  # fmt: skip
    see(page, running)
    trip = page.locator("article.trip")
    expect(trip).to_have_count(1)
    expect(page.locator("article.alarm")).not_to_have_count(1)
    expect(page.locator("article.alarm").first).to_have_class(re.compile("trip"))
    heading = trip.get_by_role("heading")
    expect(heading).to_have_text(re.compile("^Trip: .* since \\d\\d:\\d\\d, .*acknowledged$"))
    sentence = trip.locator("p").first.inner_text()
    expect(trip).to_contain_text(re.compile(r"switched off since \d\d:\d\d"))
    steps = trip.get_by_role("list", name="What to do").get_by_role("listitem")
    expect(steps.first).to_have_text(
        "See whether the box is shut and the air's thermometer hangs in it."
    )
    expect(steps.last).to_contain_text("reset the trip")
    reset = trip.get_by_role("button", name="Reset the trip …").bounding_box()
    assert reset is not None
    assert reset["y"] < 700, "the whole of it is on a phone's first screen, above the bar"
    assert re.search(r"\.$", sentence)
    expect(page.locator("[role=alert][aria-live=assertive]")).to_contain_text(sentence[:30])
    heater = page.get_by_test_id("heater")
    expect(heater).to_have_text("off")
    expect(page.locator(".state")).to_contain_text(
        "has tripped (no air temperature) and stays off until"
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


def test_every_trip_has_its_own_steps_and_the_worst_begin_with_the_plug() -> None:
    """The controller's trips are those the page has steps for; the notes' order: plug first."""
    text = (PAGE / "src" / "now" / "what-to-do.ts").read_text(encoding="utf-8")
    known = dict(re.findall(r'^  "?([a-z-]+)"?: \[(.*)\],$', text, re.MULTILINE))
    latching = {rule.name for rule in RULES if rule.latching}
    assert latching <= known.keys()
    assert set(known) - latching == {"resume-refused"}
    notes = (ROOT / "hardware-notes" / "interlocks.md").read_text(encoding="utf-8")
    for name, steps in known.items():
        row = next((r for r in notes.splitlines() if r.startswith(f"| `{name}`")), "")
        if re.search(r"\| \*\*pull the heater's plug\*\*", row):
            assert re.match(r"PLUG|\"If it goes on rising, pull the heater's plug", steps), name
