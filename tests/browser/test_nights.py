"""Nights: the list, one opened with its notes and who asked, two laid over each other."""

from __future__ import annotations

import re

from playwright.sync_api import Page, expect

from .conftest import RunningDemo
from .hands import answer, see, steering


def test_two_nights_are_compared(page: Page, archive: RunningDemo, quiet: list[str]) -> None:
    see(page, archive, "nights")
    compare = page.get_by_role("button", name="Compare the two ticked")
    expect(compare).to_be_disabled()
    for night in ("Night 3", "Night 2"):
        page.get_by_label(f"Compare {night}").check()
    compare.click()
    expect(page).to_have_url(re.compile(r"#nights/2\+3$"))
    expect(page.locator(".plot canvas")).to_be_visible()
    key = page.locator(".key")
    for words in ("Night 2: air", "Night 3: air", "Night 2: setpoint", "Night 3: Lid"):
        expect(key).to_contain_text(words)
    figures = page.get_by_role("region", name="Figures of both nights")
    assert figures.locator("thead th").all_inner_texts() == ["Night 2", "Night 3"]
    warmest = figures.get_by_role("row", name=re.compile("^highest air")).locator("td")
    cooler, warmer = (float(t.split()[0]) for t in warmest.all_inner_texts())
    assert abs(cooler - 9.5) < 1
    assert abs(warmer - 12) < 1
    assert quiet == []


def test_a_night_has_its_label_its_notes_and_who_asked(
    page: Page, archive: RunningDemo, quiet: list[str]
) -> None:
    oven = steering(page, archive)
    see(page, archive, "nights")
    page.get_by_role("link", name=re.compile("^Night 1")).click()
    page.get_by_label("Label").fill("Hatch lid 3")
    page.get_by_label("Resin batch").fill("B-1174")
    page.get_by_label("Catalyst weighed, g").fill("16.2")
    page.get_by_label("Remarks").fill("Pinhole at the rim.\nSanded.")
    page.get_by_role("button", name="Save the notes …").click()
    answer(page, "Save")
    expect(page.get_by_role("heading", name="Hatch lid 3")).to_be_visible()
    assert oven.get("nights/1")["label"] == "Hatch lid 3"
    assert oven.get("nights/1/notes") == {
        "mould_number": "",
        "part_number": "",
        "resin_batch": "B-1174",
        "catalyst_weighed_g": "16.2",
        "remarks": "Pinhole at the rim.\nSanded.",
    }
    page.reload()
    expect(page.get_by_label("Resin batch")).to_have_value("B-1174")
    happened = page.get_by_role("region", name="What happened, and who asked")
    expect(happened).to_contain_text("by demo")
    expect(happened).to_contain_text("Stopped by")
    assert quiet == []
