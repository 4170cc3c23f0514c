"""Who is told, all ovens, and this browser's own messages."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Callable
from typing import Any

from playwright.sync_api import Page, Route, expect

from .conftest import RunningDemo, Steering
from .hands import answer, answered, see, steering
from .test_access import faults


def telling(**more: Any) -> dict[str, Any]:
    now_s = time.time()
    service = {"name": "phone", "waiting": 0, "sent_s": now_s - 60, "failing_s": None,
               "sentence": None}  # fmt: skip
    message = {"id": 17, "kind": "trip", "at_s": now_s - 60, "title": "Estuary box: tripped",
               "text": "02:14 The air was at 62.0 °C."}  # fmt: skip
    return {"runs": True, "seen_s": now_s, "services": [service], "messages": [message], **more}


def test_who_is_told_and_a_message_opened_from_its_link(
    page: Page, archive: RunningDemo, quiet: list[str]
) -> None:
    answered(page, "notifications", telling())
    see(page, archive, "oven")
    who = page.get_by_role("region", name="Who is told")
    expect(who).to_contain_text("phone")
    expect(who).to_contain_text("Works")
    assert faults(page) == []
    who.get_by_text("What was told last").click()
    who.get_by_role("link", name="Estuary box: tripped").click()
    expect(page.get_by_role("heading", name="Estuary box: tripped")).to_be_visible()
    expect(page.get_by_text("The air was at 62.0 °C.")).to_be_visible()
    page.goto(f"{archive.address}#message-99")  # forgotten: how it is now
    expect(page).to_have_url(re.compile("#now$"))
    assert quiet == []


def test_that_nobody_is_told_is_said_on_the_first_screen(page: Page, archive: RunningDemo) -> None:
    now_s = time.time()
    answered(page, "notifications", telling(runs=False, seen_s=now_s - 900))
    see(page, archive)
    expect(page.get_by_text("The notifier does not run: nobody is told.")).to_be_visible()
    failing = {"name": "phone", "waiting": 2, "sent_s": None, "failing_s": now_s - 900,
               "sentence": "It was not reached."}  # fmt: skip
    answered(page, "notifications", telling(services=[failing]))
    page.reload()
    expect(page.get_by_text("No message gets through to phone.")).to_be_visible()


def test_a_trip_says_who_was_told(page: Page, tripped: RunningDemo) -> None:
    sent = {"name": "phone", "waiting": 0, "sent_s": time.time() + 86400 * 365, "failing_s": None,
            "sentence": None}  # fmt: skip
    answered(page, "notifications", telling(services=[sent]))
    see(page, tripped)
    expect(page.locator("article.trip")).to_contain_text("Told: phone.")


def oven(number: int, **more: Any) -> dict[str, Any]:
    return {
        "address": f"http://oven-{number}.local:8733/", "found": "network",
        "name": f"Oven {number}", "line": "Holding 38.0 °C.", "phase": "soak", "air_c": 38.0,
        "setpoint_c": 38.0, "units": "C", "milestone": "Lid hard", "milestone_s": 1764104400.0,
        "alarm": None, "tripped": False, "age_s": 1.2, **more,
    }  # fmt: skip


def test_fifty_ovens_on_a_phone_the_tripped_one_first(
    page: Page, archive: RunningDemo, quiet: list[str]
) -> None:
    alarm = "Heater stuck on: pull the heater's plug."
    ovens = [oven(0, tripped=True, alarm=alarm), *(oven(n) for n in range(1, 49))]
    ovens.append(oven(49, age_s=900.0))
    answered(page, "ovens", {"ovens": ovens, "asked_s": 0.0})
    see(page, archive)
    page.get_by_role("link", name="All ovens").click()
    cards = page.locator(".oven-cards li")
    expect(cards).to_have_count(50)
    expect(cards.first).to_contain_text(alarm)
    expect(cards.nth(1)).to_contain_text(re.compile(r"Lid hard at \d\d:\d\d"))
    expect(cards.nth(1).get_by_role("link")).to_have_attribute("href", ovens[1]["address"])
    expect(cards.last).to_contain_text("Its word is 15 min old.")
    expect(cards.last).not_to_contain_text("Lid hard")  # nothing looks live that is not
    assert faults(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert quiet == []


def test_one_oven_alone_has_no_list(page: Page, archive: RunningDemo) -> None:
    see(page, archive)
    expect(page.get_by_test_id("air")).to_be_visible()
    expect(page.get_by_role("link", name="All ovens")).to_have_count(0)


def test_an_oven_that_is_announced_late_shows_up_without_a_reload(
    page: Page, archive: RunningDemo
) -> None:
    """Fails before this: the ovens were asked for once."""
    asked: list[float] = []

    def say(route: Route) -> None:
        asked.append(time.monotonic())
        ovens = [oven(0), oven(1)][: len(asked)]
        route.fulfill(json={"ovens": ovens, "asked_s": 0.0})

    page.route(re.compile(r"/api/ovens$"), say)
    see(page, archive)
    link = page.get_by_role("link", name="All ovens")
    expect(page.get_by_test_id("air")).to_be_visible()
    expect(link).to_have_count(0)
    expect(link).to_be_visible(timeout=20_000)
    assert len(asked) == 2


def test_two_ovens_of_one_machine_each_with_its_own_login_and_stop(
    page: Page, demo: Callable[..., RunningDemo], quiet: list[str]
) -> None:
    """Nobody has listed them. Fails before this: each was alone."""
    first = demo("--speed", "60", "--no-start")
    second = demo("--speed", "60", "--no-start", beside=first)
    steering(page, first)
    see(page, first)
    page.get_by_role("link", name="All ovens").click()
    cards = page.locator(".oven-cards li")
    expect(cards).to_have_count(2)
    expect(cards.filter(has_text="This one.")).to_have_count(1)
    cards.filter(has_not_text="This one.").get_by_role("link").click()
    expect(page).to_have_url(re.compile(re.escape(second.address)))
    expect(page.locator(".clock")).to_be_visible()
    sessions = [page.request.get(f"{d.address}api/session").json() for d in (first, second)]
    assert [s["logged_in"] for s in sessions] == [True, False], "each its own login"
    steering(page, second).begin({"kind": "soak", "at_c": 20, "hours": 2})
    expect(page.locator(".state")).to_contain_text("Soak")
    page.get_by_role("button", name="Stop", exact=True).click()
    answer(page, "Stop now")
    assert Steering(page.request, first).get("nights") == [], "the other was not touched"
    session = page.request.get(f"{first.address}api/session").json()
    assert session["logged_in"], "a second login ends no first one"
    assert quiet == []


def test_a_gel_cup_is_mixed_and_seen(page: Page, steered: RunningDemo, quiet: list[str]) -> None:
    steering(page, steered).post("commands/stop")
    see(page, steered)
    page.get_by_role("button", name="A cup is mixed …").click()
    dialog = page.get_by_role("dialog")
    dialog.get_by_label("Resin batch").fill("Barrel 9")
    dialog.get_by_label("mixed before now").fill("ten")
    dialog.get_by_role("button", name="Mixed now").click()
    expect(page.locator(".sheet .refusal")).to_contain_text("“ten” is no number")
    dialog.get_by_label("mixed before now").fill("10")
    assert faults(page) == []
    answer(page, "Mixed now")
    cups = page.get_by_role("region", name="Gel cup")
    expect(cups).to_contain_text("The gel cup of Barrel 9 stands")
    expect(cups).to_contain_text("not yet seen gelled")
    cups.get_by_role("button", name="It has gelled …").click()
    answer(page, "It has gelled")
    expect(cups).to_contain_text(re.compile(r"gelled .* after mixing"))
    expect(cups).to_contain_text("of the demould it says little")
    assert quiet == []


def test_a_pushed_message_is_shown_once(page: Page, archive: RunningDemo) -> None:
    """Delivered by the browser's own debugger, as the push service would; W3C Push API."""
    page.context.grant_permissions(["notifications"], origin=archive.address.rstrip("/"))
    see(page, archive)
    page.evaluate("navigator.serviceWorker.ready.then(() => undefined)")
    devtools = page.context.new_cdp_session(page)
    found: list[dict[str, Any]] = []
    devtools.on(
        "ServiceWorker.workerRegistrationUpdated", lambda e: found.extend(e["registrations"])
    )
    devtools.send("ServiceWorker.enable")
    page.wait_for_timeout(500)
    assert found
    message = {"id": 17, "kind": "trip", "at_s": 1.0, "title": "Estuary box: tripped",
               "text": "02:14 Too hot.", "url": "/#message-17"}  # fmt: skip
    for _ in range(2):
        devtools.send("ServiceWorker.deliverPushMessage", {
            "origin": archive.address.rstrip("/"),
            "registrationId": found[-1]["registrationId"], "data": json.dumps(message),
        })  # fmt: skip
    shown = page.evaluate(
        """async () => {
          const registration = await navigator.serviceWorker.ready;
          for (let i = 0; i < 100; i++) {
            const found = await registration.getNotifications();
            if (found.length) return found.map(n => [n.title, n.body, n.tag]);
            await new Promise(done => setTimeout(done, 100));
          }
          return [];
        }"""
    )
    assert shown == [["Estuary box: tripped", "02:14 Too hot.", "message-17"]]
