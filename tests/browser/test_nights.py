"""Nights: the list, one opened with its notes and who asked, two laid over each other."""

from __future__ import annotations

import csv
import re
from pathlib import Path

from playwright.sync_api import Page, Route, expect

from .conftest import RunningDemo
from .hands import answer, answered, see, steering
from .test_access import faults

ICON = Path(__file__).parents[2] / "web" / "page" / "public" / "icon-192.png"


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


LEARNED = {
    "oven": {"nights": 3, "loss_w_per_k": [4.1, 4.6, 5.1], "stated_loss_w_per_k": 4.0,
             "jumped": 1.2},
    "held": 8, "foretold": 10,
    "ranges": [{"night_id": 2, "what": "loss", "name": "", "low": 3.9, "high": 5.3, "came": 4.7,
                "held": True},
               {"night_id": 2, "what": "gel", "name": "PL 2231", "low": 0.8, "high": 1.4,
                "came": 1.2, "held": True}],
}  # fmt: skip


def test_what_nights_have_taught_stands_beside_model_and_nights(
    page: Page, archive: RunningDemo, quiet: list[str]
) -> None:
    answered(page, "learned", LEARNED)
    see(page, archive, "oven")
    can = page.get_by_role("region", name="What it can do")
    expect(can).to_contain_text("By 3 nights it loses 4.6 W/K (8 of 10: 4.1 to 5.1)")
    expect(can).to_contain_text("oven.toml says 4 W/K")
    expect(can).to_contain_text("It lost 20 % more last night than before: look at lid, tape")
    page.get_by_label("°F").check()
    expect(can).to_contain_text("loses 2.56 W/°F (8 of 10: 2.28 to 2.83)")
    page.get_by_label("°C").check()
    assert faults(page) == []
    see(page, archive, "nights")
    expect(page.get_by_text("What was foretold held in 8 of 10; 8 of 10 should.")).to_be_visible()
    row = page.locator(".nights-list li").filter(has_text="Night 2")
    expect(row).to_contain_text("loss 3.9 to 5.3 W/K, was 4.7")
    expect(row).to_contain_text("gel of PL 2231 0.8 to 1.4 times its card's, was 1.2")
    assert faults(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    oven = {**LEARNED["oven"], "nights": 0, "jumped": None}  # type: ignore[dict-item]
    answered(page, "learned", {"oven": oven, "held": 1, "foretold": 2, "ranges": []})
    page.reload()
    expect(page.locator(".nights-list li").first).to_be_visible()
    expect(page.get_by_text("What was foretold")).to_have_count(0)
    see(page, archive, "oven")
    expect(can).to_be_visible()
    expect(can).not_to_contain_text("nights it loses")
    assert quiet == []


def test_a_night_has_its_label_its_notes_and_who_asked(
    page: Page, archive: RunningDemo, quiet: list[str]
) -> None:
    oven = steering(page, archive)
    see(page, archive, "nights")
    page.get_by_role("link", name=re.compile("^Night 1")).click()
    page.get_by_label("Label").fill("Hatch lid 3")
    page.get_by_label("Made by").fill("Ann")
    page.get_by_label("Resin batch").fill("B-1174")
    page.get_by_label("Catalyst weighed, g").fill("16.2")
    page.get_by_label("Remarks").fill("Pinhole at the rim.\nSanded.")
    page.get_by_role("button", name="Save the notes …").click()
    answer(page, "Save")
    expect(page.get_by_role("heading", name="Hatch lid 3")).to_be_visible()
    assert oven.get("nights/1")["label"] == "Hatch lid 3"
    noted = oven.get("nights/1/notes")
    assert noted.pop("last")["who"] == "on the page, at the board itself"
    assert noted == {
        "mould_number": "",
        "part_number": "",
        "made_by": "Ann",
        "resin_batch": "B-1174",
        "catalyst_weighed_g": "16.2",
        "remarks": "Pinhole at the rim.\nSanded.",
    }
    page.reload()
    expect(page.get_by_label("Resin batch")).to_have_value("B-1174")
    notes = page.get_by_role("region", name="Notes")
    expect(notes).to_contain_text(
        re.compile(r"Last written .*\d\d:\d\d, on the page, at the board itself")
    )
    with page.expect_popup() as opened:
        page.get_by_role("link", name="Morning record").click()
    for noted in ("Hatch lid 3", "B-1174", "16.2", "Pinhole at the rim."):
        expect(opened.value.locator("body")).to_contain_text(noted)
    happened = page.get_by_role("region", name="What happened, and who asked")
    expect(happened).to_contain_text("by demo")
    expect(happened).to_contain_text("Stopped on the page, at the board itself.")
    assert quiet == []


def test_what_is_typed_while_the_notes_are_fetched_stays(
    page: Page, archive: RunningDemo, quiet: list[str]
) -> None:
    """On a slow line: nothing typed is lost, and nothing unseen is written over."""
    oven = steering(page, archive)
    kept = oven.get("nights/2/notes")
    kept.pop("last")
    oven.put("nights/2/notes", {**kept, "mould_number": "M-7"})
    fetched: list[Route] = []
    page.route("**/api/nights/2/notes", lambda route: fetched.append(route), times=1)
    with page.expect_request("**/api/nights/2/notes"):
        see(page, archive, "nights/2")
    save = page.get_by_role("button", name="Save the notes …")
    page.get_by_label("Resin batch").fill("B-2210")
    expect(save).to_be_disabled()
    fetched[0].continue_()
    expect(page.get_by_label("Mould number")).to_have_value("M-7")
    expect(page.get_by_label("Resin batch")).to_have_value("B-2210")
    save.click()
    answer(page, "Save")
    expect(save).to_be_disabled()
    noted = oven.get("nights/2/notes")
    assert (noted["mould_number"], noted["resin_batch"]) == ("M-7", "B-2210")
    assert quiet == []


def test_a_finished_night_gives_its_record_and_its_readings(
    page: Page, archive: RunningDemo, quiet: list[str], tmp_path: Path
) -> None:
    oven = steering(page, archive)
    see(page, archive, "nights/2")
    for link, name in (("Save it", "night-2.html"), ("All readings as CSV", "night-2.csv")):
        with page.expect_download() as saved:
            page.get_by_role("link", name=link).click()
        assert saved.value.suggested_filename == name
        saved.value.save_as(tmp_path / name)
    record = (tmp_path / "night-2.html").read_text("utf-8")
    assert "Short and mild" in record
    assert "<script" not in record
    rows = list(csv.DictReader((tmp_path / "night-2.csv").read_text("utf-8").splitlines()))
    samples = oven.get("nights/2/samples?points=5000")
    assert len(rows) >= len(samples["seq"]) >= 90  # a soak of three minutes, which counts at once
    assert max(float(r["control_c"]) for r in rows if r["control_c"]) == max(samples["control_c"])


def test_the_morning_leads_with_what_may_be_done_next_and_takes_the_touch_in_two_taps(
    page: Page, steered: RunningDemo, quiet: list[str]
) -> None:
    """Fails before this: a table of figures, and nobody was asked how the parts feel."""
    oven = steering(page, steered)
    course = oven.offer("Lid and rim, gelled outside")
    oven.begin(*course["segments"], parts=course["parts"], box=course["box"])
    number = oven.get("status")["night_id"]
    oven.post("commands/stop")
    see(page, steered, f"nights/{number}")
    morning = page.get_by_role("region", name="The morning")
    expect(morning.locator(".verdict")).to_contain_text("Stopped after")
    expect(morning).to_contain_text(
        re.compile("Lid.*(Leave it in its mould|It may be laminated on)")
    )
    page.get_by_role("group", name="Rim feels").get_by_role("button", name="leathery").click()
    barcol = page.get_by_role("dialog").get_by_label("Barcol, if you have one")
    for typed, told in (("soft", "“soft” is no number: 0 to 100."), ("120", "120 is out of range")):
        barcol.fill(typed)
        page.get_by_role("dialog").get_by_role("button", name="It is leathery").click()
        expect(page.locator(".sheet .refusal")).to_contain_text(told)
    barcol.fill("31")
    answer(page, "It is leathery")
    expect(morning).to_contain_text("found leathery, Barcol 31")
    with page.expect_file_chooser() as asked:
        morning.get_by_text("Photo of the part …").click()
    asked.value.set_files(ICON)
    answer(page, "Keep it")
    shown = morning.get_by_role("img", name=re.compile("^The photo of"))
    expect(shown).to_have_js_property("naturalWidth", 192)
    photo = page.request.get(f"{steered.address}api/nights/{number}/photo")
    assert photo.body().startswith(b"\xff\xd8\xff"), "made a JPEG on the phone"

    weighed = page.get_by_label("Catalyst weighed, g")
    weighed.fill("sixteen")
    page.get_by_label("Remarks").fill("Kept.")
    page.get_by_role("button", name="Save the notes …").click()
    expect(weighed).to_be_focused()
    expect(page.locator(".notes .refusal")).to_have_text("“sixteen” is no number: 0 to 10000 g.")
    expect(page.get_by_role("dialog")).to_have_count(0)
    expect(page.get_by_label("Remarks")).to_have_value("Kept.")
    assert faults(page) == []
    assert quiet == []


def test_a_night_that_runs_has_no_record_yet(page: Page, steered: RunningDemo) -> None:
    oven = steering(page, steered)
    oven.begin({"kind": "soak", "at_c": 20, "hours": 2})
    see(page, steered, f"nights/{oven.get('status')['night_id']}")
    expect(page.get_by_role("heading", name="Figures")).to_be_visible()
    expect(page.get_by_role("link", name="Morning record")).to_have_count(0)
    oven.post("commands/stop")
