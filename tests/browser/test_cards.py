"""A resin card made on a phone, from a data sheet and a cup, and a part laid up with it."""

from __future__ import annotations

from playwright.sync_api import Page, expect

from .conftest import RunningDemo
from .hands import answer, open_part, see, steering
from .test_access import faults


def row(page: Page, number: int, at: str, share: str, minutes: str) -> None:
    group = page.get_by_role("group", name=f"Gel time {number}")
    group.get_by_label("at, °C").fill(at)
    group.get_by_label("catalyst, %").fill(share)
    group.get_by_label("gels after, minutes").fill(minutes)


def test_a_card_step_by_step(page: Page, steered: RunningDemo, quiet: list[str]) -> None:
    oven = steering(page, steered)
    oven.post("commands/stop")
    see(page, steered, "oven")
    page.get_by_role("link", name="Resin cards").click()
    expect(page.get_by_text("None of your own yet.")).to_be_visible()
    name = page.get_by_label("A short name")
    name.fill("My Resin")
    expect(page.locator(".new-card .refusal")).to_contain_text("cannot be a name")
    expect(page.get_by_role("button", name="Next: its gel times")).to_be_disabled()
    name.fill("my-resin")
    page.get_by_label("The resin's name").fill("Barrel 7")
    page.get_by_label("Lowest working temperature").fill("warm")
    expect(page.locator(".new-card .refusal")).to_contain_text("should be a number")
    page.get_by_label("Lowest working temperature").fill("12")
    assert faults(page) == []
    page.get_by_role("button", name="Next: its gel times").click()
    page.get_by_role("button", name="A row of the data sheet").click()
    row(page, 1, "15", "2", "x")
    expect(page.locator(".gel-row .refusal")).to_contain_text("“x” is no number: 0.1 to 100000 min")
    row(page, 1, "15", "2", "40")
    # A cup of it, timed; another screen and back in between.
    page.get_by_text("Time a cup of your own resin").click()
    page.get_by_label("it stands at").fill("20")
    page.get_by_role("button", name="Mixed now").click()
    page.reload()
    expect(page.get_by_role("timer")).to_contain_text("Mixed 0 min ago")
    assert faults(page) == []
    page.get_by_role("button", name="It has gelled").click()
    second = page.get_by_role("group", name="Gel time 2")
    expect(second.get_by_label("at, °C")).to_have_value("20")
    second.get_by_label("gels after, minutes").fill("21")
    page.get_by_role("button", name="Next: its cure").click()
    page.get_by_label("Demould after, minutes").fill("10")
    page.get_by_label("Demould at, °C").fill("20")
    page.get_by_label("Demould with catalyst, %").fill("2")
    refused = page.locator(".new-card > .refusal").first
    expect(refused).to_contain_text("nothing is solid before it gels")
    expect(page.get_by_role("button", name="Keep this card …")).to_be_disabled()
    page.get_by_label("Demould after, minutes").fill("240")
    expect(page.get_by_text("The card can be true")).to_be_visible()
    assert faults(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.get_by_role("button", name="Keep this card …").click()
    answer(page, "Keep it")
    expect(page.get_by_text("'Barrel 7' is kept")).to_be_visible()
    see(page, steered, "start")
    lid = open_part(page, "Lid")
    lid.locator("select").first.select_option(label="Barrel 7")
    expect(lid.get_by_label("catalyst")).to_have_value("2")
    see(page, steered, "oven/cards")
    page.get_by_role("button", name="Delete Barrel 7").click()
    answer(page, "Delete")
    expect(page.get_by_text("None of your own yet.")).to_be_visible()
    assert quiet == []


def test_a_phone_that_reads_fahrenheit_asks_in_it(page: Page, archive: RunningDemo) -> None:
    """°F = °C * 1.8 + 32, the scale's definition."""
    see(page, archive, "oven")
    page.get_by_role("radio", name="°F").check()
    see(page, archive, "oven/cards")
    page.get_by_label("Highest temperature, °F").fill("600")
    # 20 and 250 °C.
    expect(page.locator(".new-card .refusal")).to_contain_text("68 °F to 482 °F")
