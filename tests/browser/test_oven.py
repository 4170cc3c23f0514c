"""The Oven screen: degrees Fahrenheit, look, thermometers checked, logging in and out."""

from __future__ import annotations

import re
from collections.abc import Callable

from playwright.sync_api import Page, expect

from nightcure.simulate.scenario import BOX

from .conftest import RunningDemo
from .hands import answer, see, shown, steering
from .test_access import faults
from .test_telling import answered, telling


def test_fahrenheit_everywhere_and_after_a_reload(
    page: Page, archive: RunningDemo, quiet: list[str]
) -> None:
    """°F = °C * 1.8 + 32, the scale's definition."""
    oven = steering(page, archive)
    see(page, archive, "oven")
    page.get_by_role("radio", name="°F").check()
    page.get_by_text("Limits", exact=True).click()
    expect(page.get_by_text("140 °F").first).to_be_visible()  # the air's limit, 60 °C
    see(page, archive, "now")
    page.reload()
    expect(page.get_by_test_id("air")).to_contain_text("°F")
    air_c = oven.get("status")["control_c"]
    assert abs(shown(page.get_by_test_id("air")) - (air_c * 1.8 + 32)) < 1.5
    page.goto(f"{archive.address}#start")
    page.get_by_role("button", name="A new one").click()
    first = page.get_by_label(re.compile("^Segment 1,")).get_by_role("textbox").first
    expect(first).to_have_value("86")  # 30 °C
    first.fill("104")
    verdict = page.get_by_role("region", name="What the oven makes of it")
    expect(verdict).to_contain_text("up to 104.0 °F")
    assert quiet == []


def foreign(text: str) -> list[str]:
    """Lines with °C or kelvins in them, but for the choice between the two."""
    return re.findall(r".*(?:°C|\d\s?K\b|/K\b).*", text.replace("\n°C\n", "\n"))


def unfolded(page: Page) -> str:
    """All that the screen says, with everything open that can be."""
    page.wait_for_timeout(300)
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    page.wait_for_timeout(200)
    return page.locator("main").inner_text()


def test_no_screen_shows_a_unit_of_the_other_kind(page: Page, archive: RunningDemo) -> None:
    """°C, and kelvins of whatever, where °F were chosen. Fails before this: limits and rates."""
    steering(page, archive)
    answered(page, "notifications", telling())
    see(page, archive, "oven")
    page.get_by_role("radio", name="°F").check()
    screens = ("now", "start", "nights", "nights/2", "nights/2+3", "oven", "message-17")
    for screen in screens:
        see(page, archive, screen)
        expect(page.locator("main h2").first).to_be_visible()
        if screen == "start":
            page.get_by_role("button", name="Change it").click()
            expect(page.get_by_role("slider")).to_have_count(3)
        text = unfolded(page)
        assert "°F" in text or screen == "nights", screen
        assert foreign(text) == [], screen


def test_ruler_cup_and_cards_keep_to_the_unit_that_was_chosen(
    page: Page, archive: RunningDemo
) -> None:
    """Fails before this: a fault in a card's row of gel times spoke of °C."""
    steering(page, archive)
    see(page, archive, "oven")
    page.get_by_role("radio", name="°F").check()
    see(page, archive, "now")
    page.get_by_role("button", name="A cup is mixed …").click()
    dialog = page.get_by_role("dialog")
    expect(dialog).to_contain_text("°F")
    dialog.get_by_label("it stands at").fill("hot")
    assert foreign(dialog.inner_text()) == []
    dialog.get_by_role("button", name="Back").click()

    see(page, archive, "oven/ruler")
    page.get_by_label("its resin").select_option(label="Polyester laminating resin, generic")
    page.get_by_role("button", name="Work it out …").click()
    answer(page, "Work it out")
    expect(page.get_by_role("region", name="Tonight, without a controller")).to_be_visible()
    text = unfolded(page)
    assert "°F" in text
    assert foreign(text) == []

    see(page, archive, "oven/cards")
    page.get_by_label("Highest temperature, °F").fill("600")
    expect(page.locator(".new-card .refusal")).to_contain_text("68 °F to 482 °F")
    assert foreign(unfolded(page)) == []
    page.get_by_label("Highest temperature, °F").fill("140")
    page.get_by_role("button", name="Next: its gel times").click()
    page.get_by_role("button", name="A row of the data sheet").click()
    row = page.get_by_role("group", name="Gel time 1")
    for at, told in (("600", "600 is out of range: 14 to 482 °F."), ("warm", "no number")):
        row.get_by_label("at, °F").fill(at)
        row.get_by_label("catalyst, %").fill("2")
        row.get_by_label("gels after, minutes").fill("20")
        expect(row.locator(".refusal")).to_contain_text(told)
        expect(page.get_by_role("button", name="Next: its cure")).to_be_disabled()
        assert foreign(unfolded(page)) == []
    row.get_by_label("at, °F").fill("59")
    expect(row.locator(".refusal")).to_have_count(0)
    page.get_by_role("button", name="A row of the data sheet").click()
    row = page.get_by_role("group", name="Gel time 2")
    for label, typed in (("at, °F", "77"), ("catalyst, %", "2"), ("gels after, minutes", "40")):
        row.get_by_label(label).fill(typed)
    page.get_by_role("button", name="Next: its cure").click()
    expect(page.locator(".new-card .refusal").first).to_contain_text("40 min at 77 °F")
    assert foreign(unfolded(page)) == []


def test_dark_and_light_by_choice_and_by_the_phone(page: Page, archive: RunningDemo) -> None:
    html = page.locator("html")
    page.emulate_media(color_scheme="dark")
    see(page, archive, "oven")
    expect(html).to_have_attribute("data-look", "dark")
    page.emulate_media(color_scheme="light")
    expect(html).to_have_attribute("data-look", "light")
    page.get_by_role("radio", name="dark").check()
    expect(html).to_have_attribute("data-look", "dark")
    page.reload()
    expect(html).to_have_attribute("data-look", "dark")
    ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert ground == "rgb(13, 27, 36)"


def test_a_thermometer_is_corrected(page: Page, steered: RunningDemo, quiet: list[str]) -> None:
    running = steered
    oven = steering(page, running)
    oven.post("commands/stop")
    see(page, running, "oven")
    page.get_by_role("button", name="Check Lid").click()
    dialog = page.get_by_role("dialog")
    expect(dialog).to_contain_text("crushed ice")
    dialog.get_by_role("radio", name="typed in").check()
    dialog.get_by_label("Add to every reading").fill("-0,4")
    answer(page, "Correct it")
    lid = page.locator(".probes li", has_text="Lid")
    expect(lid).to_contain_text(re.compile(r"corrected by −0.4\sK, checked .* as typed in"))
    found = next(t for t in oven.get("settings")["thermometers"] if t["name"] == "Lid")
    assert found["offset_c"] == -0.4
    assert quiet == []


def test_a_correction_too_large_is_refused(page: Page, archive: RunningDemo) -> None:
    """Fails before this: "hot" was taken for no difference, and kept as a check."""
    steering(page, archive)
    see(page, archive, "oven")
    dialog = page.get_by_role("dialog")
    page.get_by_role("button", name="Check Rim").click()
    dialog.get_by_role("radio", name="beside a reference").check()
    shows = dialog.get_by_label("The reference shows")
    for typed, told in (
        ("60", r"60 is out of range: \d+ to \d+\s°C\."),
        ("hot", "“hot” is no number"),
    ):
        shows.fill(typed)
        dialog.get_by_role("button", name="Correct it").click()
        expect(page.locator(".sheet .refusal")).to_have_text(re.compile(told))
        expect(shows).to_have_value(typed)


def test_the_oven_is_tested_and_told(
    page: Page, demo: Callable[..., RunningDemo], quiet: list[str]
) -> None:
    """Against the box's own loss: what is shown is within a tenth of it.

    How often an interval holds the truth is counted elsewhere; one in twenty does not.
    """
    running = demo("--speed", "300", "--no-start")
    steering(page, running).post("cautions/accept")
    see(page, running, "oven")
    survey = page.get_by_role("region", name="What the oven loses and holds")
    expect(survey).to_contain_text("No test has been run from this page.")
    survey.get_by_role("button", name="Test the oven …").click()
    dialog = page.get_by_role("dialog")
    dialog.get_by_label("until the loss is known within").fill("50")
    expect(dialog.get_by_role("button", name="Start heating")).to_be_disabled()
    dialog.get_by_role("checkbox").check()
    assert faults(page) == []
    answer(page, "Start heating")
    expect(survey).to_contain_text("The test has begun")
    expect(survey.get_by_role("button")).to_have_count(0)
    expect(survey).to_contain_text("The test is over.", timeout=240_000)
    expect(survey).to_contain_text(re.compile(r"300\sW keeps this box \d\d\sK above the shed"))
    told = survey.locator("dd.small").first.inner_text()
    low, high = (float(n) for n in re.findall(r"[\d.]+(?=\sW/K)", told))
    assert low < high
    assert 0.9 * BOX.loss_w_per_k < 0.5 * (low + high) < 1.1 * BOX.loss_w_per_k
    assert quiet == []
    survey.get_by_role("button", name="Write this into the oven …").click()
    dialog.get_by_role("button", name="Write it").click()
    expect(dialog.get_by_role("alert")).to_contain_text("it has no oven.toml to write into")
    assert [line for line in quiet if "409 (Conflict)" not in line] == []  # what was refused
    quiet.clear()
    dialog.get_by_role("button", name="Back").click()
    assert faults(page) == []
    see(page, running, "nights")
    expect(page.locator(".nights-list li").first).to_contain_text("finished")  # nobody stopped it
    see(page, running, "oven")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert quiet == []


def test_logging_in_and_out_here_and_everywhere(page: Page, archive: RunningDemo) -> None:
    see(page, archive, "oven")
    access = page.get_by_role("region", name="Who may steer")
    name = access.locator("input[autocomplete=username]")
    expect(name).to_be_attached()  # a browser keeps passphrases under a name
    for leave in ("Log out", "Log out everywhere"):
        access.get_by_label("The oven's passphrase").fill(archive.passphrase)
        access.get_by_role("button", name="Log in").click()
        expect(access).to_contain_text("This browser is logged in")
        access.get_by_role("button", name=leave, exact=True).click()
        expect(access.get_by_label("The oven's passphrase")).to_be_visible()
    session = page.request.get(f"{archive.address}api/session").json()
    assert session["logged_in"] is False
