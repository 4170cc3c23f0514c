"""What a person is at outlasts another screen and a reload, and is over once it is done."""

from __future__ import annotations

import re

from playwright.sync_api import Page, expect

from .conftest import RunningDemo
from .hands import answer, confirm_all, see, steering
from .test_odds import ASK, ask, choose, odds
from .test_starting import number, start_button


def away_and_back(page: Page, screen: str) -> None:
    """To the live figures, back, and then a reload, as a phone does that was put away."""
    page.get_by_role("link", name="Now").click()
    expect(page.locator("[data-testid=air]")).to_be_visible()
    page.go_back()
    expect(page).to_have_url(re.compile(f"#{screen}$"))
    page.reload()
    expect(page.locator(".clock")).to_be_visible()


def test_a_drawing_stays_until_it_is_started(
    page: Page, steered: RunningDemo, quiet: list[str]
) -> None:
    oven = steering(page, steered)
    oven.post("cautions/accept")
    oven.post("commands/stop")
    see(page, steered, "start")
    page.get_by_role("button", name="A new one").click()
    number(page, 1, "to").fill("33")
    page.get_by_label("Name", exact=True).fill("Half drawn")
    away_and_back(page, "start")
    expect(page.get_by_label("Name", exact=True)).to_have_value("Half drawn")
    expect(number(page, 1, "to")).to_have_value("33")
    other = page.context.new_page()
    other.goto(f"{steered.address}#start")
    expect(start_button(other)).to_be_visible()
    expect(start_button(other)).not_to_contain_text("Half drawn")  # each tab has its own
    other.close()
    start_button(page).click()
    confirm_all(page)
    answer(page, "Start heating")
    expect(page).to_have_url(re.compile("#now$"))
    oven.post("commands/stop")
    see(page, steered, "start")
    expect(start_button(page)).to_be_visible()
    expect(start_button(page)).not_to_contain_text("Half drawn")
    assert quiet == []


def test_the_answer_stays_and_says_when_it_was_worked_out(
    page: Page, archive: RunningDemo, quiet: list[str]
) -> None:
    steering(page, archive)
    choose(page, archive)
    page.get_by_role("button", name=ASK).click()
    ask(page, "08:00")
    answer(page, "Work it out")
    told = odds(page).locator(".answer").inner_text()
    assert told
    away_and_back(page, "start")
    expect(odds(page).locator(".answer")).to_have_text(told)
    expect(odds(page)).to_contain_text(re.compile(r"Worked out .*\d\d:\d\d\."))
    page.get_by_role("button", name=ASK).click()
    expect(page.get_by_role("dialog").get_by_label("its lowest")).to_have_value("2")
    assert quiet == []


def test_notes_stay_until_they_are_saved(
    page: Page, archive: RunningDemo, quiet: list[str]
) -> None:
    oven = steering(page, archive)
    label = oven.get("nights/3")["label"]
    see(page, archive, "nights/3")
    page.get_by_label("Label").fill("Wheelhouse roof")
    page.get_by_label("Remarks").fill("Left the vent open.")
    away_and_back(page, "nights/3")
    expect(page.get_by_label("Label")).to_have_value("Wheelhouse roof")
    expect(page.get_by_label("Remarks")).to_have_value("Left the vent open.")
    assert oven.get("nights/3")["label"] == label, "nothing was written yet"
    page.get_by_label("Label").fill(label)  # others look for the night's name
    save = page.get_by_role("button", name="Save the notes …")
    save.click()
    answer(page, "Save")
    expect(save).to_be_disabled()
    assert oven.get("nights/3/notes")["remarks"] == "Left the vent open."
    noted = {**oven.get("nights/3/notes"), "remarks": "Closed it."}
    del noted["last"]
    oven.put("nights/3/notes", noted)
    page.reload()
    expect(page.get_by_label("Remarks")).to_have_value("Closed it.")
    assert quiet == []
