"""Steering a night from the page: stop, skip, a longer soak, another setpoint; who may."""

from __future__ import annotations

import re

from playwright.sync_api import Page, expect

from .conftest import RunningDemo
from .hands import answer, log_in, see, steering


def test_stop_is_one_press_and_one_confirmation(
    page: Page, steered: RunningDemo, quiet: list[str]
) -> None:
    running = steered
    oven = steering(page, running)
    for screen in ("nights", "now"):  # from any screen
        oven.begin({"kind": "soak", "at_c": 40, "hours": 2})
        see(page, running, screen)
        page.get_by_role("button", name="Stop", exact=True).click()
        answer(page, "Stop now")  # gone when the controller has answered
        live = oven.get("status")
        assert (live["phase"], live["heater"], live["duty"]) == ("idle", False, 0.0)
    expect(page.get_by_test_id("heater").get_by_text("off", exact=True)).to_be_visible()
    assert {n["outcome"] for n in oven.get("nights")} == {"stopped"}
    assert quiet == []


def test_a_wrong_passphrase_is_refused_in_words(page: Page, steered: RunningDemo) -> None:
    running = steered
    oven = steering(page, running)
    oven.begin({"kind": "soak", "at_c": 20, "hours": 2})
    oven.post("logout")
    see(page, running)
    page.get_by_role("button", name="Stop", exact=True).click()
    log_in(page, "not the passphrase")
    expect(page.locator(".refusal")).to_have_text(re.compile(r"passphrase", re.I))
    expect(page.get_by_role("button", name="Stop now")).to_have_count(0)
    page.get_by_role("button", name="Back").click()
    expect(page.get_by_role("dialog")).to_have_count(0)
    assert page.request.get(f"{running.address}api/nights").json()[0]["outcome"] is None


def test_a_longer_soak_another_setpoint_and_the_next_segment(
    page: Page, steered: RunningDemo, quiet: list[str]
) -> None:
    running = steered
    oven = steering(page, running)
    oven.begin(
        {"kind": "soak", "at_c": 20, "hours": 2},
        {"kind": "ramp", "to_c": 30, "rate_c_per_h": 20},
        {"kind": "soak", "at_c": 30, "hours": 1},
    )
    see(page, running)

    page.get_by_role("button", name="Longer or shorter …").click()
    page.get_by_role("button", name="+60 min").click()
    answer(page, "Lengthen the soak")
    assert oven.get("status")["profile"]["segments"][0]["hours"] == 3

    page.get_by_role("button", name="Another setpoint …").click()
    dialog = page.get_by_role("dialog")
    expect(dialog).to_contain_text("From 0 to 55 °C.")
    for typed, told in (
        ("61", "61 is out of range: 0 to 55 °C."),
        ("abc", "no number: 0 to 55 °C."),
    ):
        dialog.get_by_label("Setpoint").fill(typed)
        dialog.get_by_role("button", name="Change the setpoint").click()
        expect(dialog.locator(".refusal")).to_contain_text(told)
        expect(dialog.get_by_label("Setpoint")).to_have_value(typed)
    assert oven.get("status")["profile"]["segments"][0]["at_c"] == 20, "nothing was sent"
    dialog.get_by_label("Setpoint").fill("24,5")
    answer(page, "Change the setpoint")
    assert oven.get("status")["profile"]["segments"][0]["at_c"] == 24.5

    page.get_by_role("button", name="Skip this soak …").click()
    answer(page, "Skip the soak")
    expect(page.get_by_text("Ramp", exact=True)).to_be_visible()
    happened = page.get_by_role("region", name="What happened")
    expect(happened).to_contain_text("Left segment 1 (soak)")

    page.get_by_role("button", name="Another setpoint …").click()
    expect(dialog).to_contain_text("The ramp goes there, and the soak after it holds it.")
    dialog.get_by_label("Setpoint").fill("27")
    answer(page, "Change the setpoint")
    _, ramp, soak = oven.get("status")["profile"]["segments"]
    assert (ramp["to_c"], soak["at_c"]) == (27, 27)
    assert quiet == []


def test_what_the_controller_refuses_is_said_and_nothing_is_lost(
    page: Page, steered: RunningDemo
) -> None:
    running = steered
    oven = steering(page, running)
    oven.begin({"kind": "soak", "at_c": 20, "hours": 2})
    see(page, running)
    page.get_by_role("button", name="Longer or shorter …").click()
    minutes = page.get_by_role("dialog").get_by_label("Minutes more")
    minutes.fill("900")
    page.get_by_role("button", name="Lengthen the soak").click()
    expect(page.locator(".sheet .refusal")).to_contain_text("longest allowed is a night of 16 h")
    expect(minutes).to_have_value("900")
    assert oven.get("status")["profile"]["segments"][0]["hours"] == 2
