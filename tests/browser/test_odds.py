"""Will it do tonight? Asked on the page by finger and by keyboard; the answer, and what follows."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Locator, Page, expect

from .conftest import DESK, PHONE, SMALL, RunningDemo
from .hands import answer, freshly_laid_under_a_duct, log_in, open_part, pick, see, steering
from .test_access import faults

ASK = "Work it out …"


def odds(page: Page) -> Locator:
    return page.get_by_role("region", name="Will it do tonight?")


def choose(page: Page, running: RunningDemo) -> None:
    """The shipped profile whose parts have their resins."""
    see(page, running, "start")
    pick(page, "Lid and rim, until demould")
    freshly_laid_under_a_duct(page)


def ask(page: Page, by: str, lowest: str = "2") -> Locator:
    """Fill in the night in the open dialog."""
    dialog = page.get_by_role("dialog")
    dialog.get_by_label("started at").fill("20:00")
    dialog.get_by_label("by", exact=True).fill(by)
    dialog.get_by_label("shed at the start").fill("9")
    dialog.get_by_label("its lowest").fill(lowest)
    dialog.get_by_label("lowest at").fill("06:00")
    return dialog


def test_the_answer_comes_first_then_why(
    page: Page, archive: RunningDemo, quiet: list[str]
) -> None:
    choose(page, archive)
    page.get_by_role("button", name=ASK).click()
    log_in(page, archive.passphrase)
    ask(page, "23:10", "-4").get_by_label("The parts should be").select_option("hard")
    with page.expect_request("**/api/plan") as sent:
        answer(page, "Work it out")
    asked: Any = sent.value.post_data_json
    assert (asked["goal"], asked["by"], asked["lowest_c"]) == ("demould", "23:10", -4)
    told: Any = sent.value.response().json()  # type: ignore[union-attr]

    first = odds(page).locator(".answer")
    expect(first).to_have_text(told["answer"])
    assert re.match(
        r"(Very probably|Probably|Hardly|No): .* by 23:10 in \d+ of 100 nights", told["answer"]
    )
    share = odds(page).locator(".meter rect").get_attribute("width")
    assert share is not None
    assert float(share.removesuffix("%")) == pytest.approx(100 * told["probability"])
    expect(odds(page)).to_contain_text(told["weak_point"])
    for part in ("Lid", "Rim"):
        expect(odds(page).locator(".part-rows .head", has_text=part)).to_be_visible()
    demould = next(m for m in told["milestones"] if m["name"] == "demould")

    def clock(after_s: float) -> str:
        minutes = int(20 * 60 + after_s / 60)
        return f"{minutes // 60:02d}:{minutes % 60:02d}"

    middle, low, high = (clock(demould[k]) for k in ("p50_s", "p10_s", "p90_s"))
    line = odds(page).locator(".part-rows .next").first
    expect(line).to_have_text(f"hard by {middle} {low}–{high}")
    for sentence in told["warnings"]:
        place = page.locator(".box-air") if sentence.startswith("Vapour") else odds(page)
        expect(place).to_contain_text(sentence)
    best = told["levers"][0]
    assert best["probability_gain"] > 0.05
    expect(odds(page)).to_contain_text(
        f"+{round(100 * best['probability_gain'])} of 100 nights: {best['what']}"
    )
    expect(odds(page).locator(".plot canvas")).to_be_visible()
    expect(odds(page).locator(".key")).to_have_text(re.compile("air.*Lid.*Rim.*shed"))
    assert quiet == []


def test_an_answer_is_shown_for_what_was_asked_only(
    page: Page, archive: RunningDemo, quiet: list[str]
) -> None:
    steering(page, archive)
    choose(page, archive)
    page.get_by_role("button", name=ASK).click()
    ask(page, "08:00")
    answer(page, "Work it out")
    sure = re.compile(
        r"robably: with 32\s°C for .* if your resin is like its kind, \d+ if it is slow"
    )
    expect(odds(page).locator(".answer")).to_have_text(sure)
    promise = re.compile(r"^Start: hard by \d\d:\d\d, (very likely|likely|perhaps)$")
    expect(page.get_by_role("button", name=promise)).to_be_visible()
    resin = open_part(page, "Lid").get_by_role("textbox", name="Lid, resin")
    before = resin.input_value()
    resin.fill("0.9")
    expect(odds(page).locator(".answer")).to_be_empty()
    expect(odds(page).locator(".plot")).to_have_count(0)
    resin.fill(before)
    expect(odds(page).locator(".answer")).to_have_text(sure)

    for name in ("Lid", "Rim"):
        open_part(page, name).get_by_role("button", name=f"Take out {name}").click()
    expect(odds(page)).to_contain_text("With a part's resin named")
    expect(odds(page).get_by_role("button", name=ASK)).to_have_count(0)
    assert quiet == []


def test_a_night_that_cannot_be_is_refused_in_words(page: Page, archive: RunningDemo) -> None:
    steering(page, archive)
    choose(page, archive)
    page.get_by_role("button", name=ASK).click()
    dialog = ask(page, "20:35")
    dialog.get_by_role("button", name="Work it out").click()
    refusal = dialog.get_by_role("alert")
    expect(refusal).to_contain_text("The deadline is impossible")
    dialog.get_by_label("its lowest").fill("12")
    dialog.get_by_role("button", name="Work it out").click()
    expect(refusal).to_contain_text("the lowest should not be above the start")


def test_by_keyboard_alone_and_in_fahrenheit(
    page: Page, archive: RunningDemo, quiet: list[str]
) -> None:
    """°F = °C * 1.8 + 32; a difference of 3 K is 5.4 °F."""
    steering(page, archive)
    see(page, archive, "oven")
    page.get_by_role("radio", name="°F").check()
    choose(page, archive)
    page.get_by_role("button", name=ASK).focus()
    page.keyboard.press("Enter")
    dialog = ask(page, "23:10", "24,8")
    expect(dialog.get_by_label("its lowest")).to_have_value("24,8")
    dialog.get_by_label("shed at the start").fill("48.2")
    dialog.get_by_label("shed at the start").focus()
    with page.expect_request("**/api/plan") as sent:
        page.keyboard.press("Enter")
    asked: Any = sent.value.post_data_json
    assert (asked["lowest_c"], asked["evening_c"]) == (-4, 9)
    expect(page.get_by_role("dialog")).to_have_count(0)
    expect(page.locator(":focus")).to_have_text(ASK)  # back to where it was asked
    expect(odds(page).locator(".answer")).to_contain_text("90 °F for")
    told: Any = sent.value.response().json()  # type: ignore[union-attr]
    assert any(lever["what"] == "a soak 3 °C hotter" for lever in told["levers"])
    expect(odds(page)).to_contain_text("a soak 5 °F hotter")
    assert quiet == []


def test_axe_finds_nothing_and_nothing_hangs_over(page: Page, archive: RunningDemo) -> None:
    looks: tuple[tuple[Any, tuple[int, int]], ...] = (
        *(("dark", PHONE), ("light", PHONE), ("light", SMALL)),
        *(("dark", SMALL), ("dark", DESK), ("light", DESK)),
    )

    def each_look() -> Iterator[tuple[str, int]]:
        for look, (width, height) in looks:
            page.set_viewport_size({"width": width, "height": height})
            page.emulate_media(color_scheme=look, reduced_motion="reduce")
            expect(page.locator("html")).to_have_attribute("data-look", look)
            yield look, width

    steering(page, archive)
    choose(page, archive)
    page.get_by_role("button", name=ASK).click()
    ask(page, "23:10")
    for look in each_look():
        assert faults(page) == [], ("the dialog", look)
    answer(page, "Work it out")
    for look, width in each_look():
        expect(odds(page).locator(".plot canvas")).to_be_visible()
        assert faults(page) == [], (look, width)
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_three_profiles_are_searched_for_and_one_is_taken(
    page: Page, archive: RunningDemo, quiet: list[str]
) -> None:
    """Least stress, least energy, earliest: each with its odds, and with the parts as they lie."""
    oven = steering(page, archive)
    see(page, archive, "start")
    page.get_by_role("button", name="Three to choose from …").click()
    ask(page, "23:30").get_by_role("button", name="Look for them").click()
    expect(page.get_by_role("dialog")).to_have_count(0, timeout=240_000)
    told = odds(page).locator(".advice li")
    expect(told).to_have_count(3)
    for line, kind in zip(told.all(), ("Least stress", "Least energy", "Earliest"), strict=True):
        expect(line).to_have_text(re.compile(rf"^{kind}: up at .* In \d+ of 100 nights, in \d+ if"))
    before = page.get_by_role("region", name="Parts tonight").inner_text()
    page.get_by_role("button", name="Take it, earliest").click()
    promise = page.get_by_role("button", name=re.compile(r"^Start: hard by \d\d:\d\d, "))
    expect(promise).to_be_visible()
    assert page.get_by_role("region", name="Parts tonight").inner_text() == before
    expect(page.get_by_role("region", name="How it is heated")).to_contain_text("At ")
    assert faults(page) == []
    assert oven.get("status")["phase"] == "done"
    assert quiet == []
