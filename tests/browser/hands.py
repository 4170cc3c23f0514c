"""What a person does on the page, again and again."""

from __future__ import annotations

import json
import re
from typing import Any

from playwright.sync_api import Locator, Page, Route, expect

from .conftest import RunningDemo, Steering


def see(page: Page, running: RunningDemo, screen: str = "now") -> None:
    """Open a screen and wait for the first live word."""
    page.goto(f"{running.address}#{screen}")
    expect(page.locator(".clock")).to_be_visible()


def steering(page: Page, running: RunningDemo) -> Steering:
    """The API, with a login that the page shares."""
    return Steering(page.request, running).log_in()


def log_in(page: Page, passphrase: str) -> None:
    """Give the passphrase in a dialog."""
    dialog = page.get_by_role("dialog")
    dialog.get_by_label("The oven's passphrase").fill(passphrase)
    dialog.get_by_role("button", name="Log in").click()


def answer(page: Page, button: str) -> None:
    """Press a button of the dialog; it goes away by itself."""
    page.get_by_role("dialog").get_by_role("button", name=button, exact=True).click()
    expect(page.get_by_role("dialog")).to_have_count(0)


def confirm_all(page: Page) -> None:
    """Tick everything that the dialog asks for, once it is there."""
    dialog = page.get_by_role("dialog")
    expect(dialog.get_by_role("checkbox").first).to_be_visible()
    for tick in dialog.get_by_role("checkbox").all():
        tick.check()


def pick(page: Page, name: str) -> None:
    """Choose another profile."""
    page.get_by_text("Another profile", exact=True).click()
    page.get_by_role("radio", name=re.compile(f"^{name}")).check()


def open_part(page: Page, name: str) -> Locator:
    """A part's fields, unfolded."""
    fold = page.locator(".night-parts details", has=page.locator("summary b", has_text=name))
    if fold.get_attribute("open") is None:
        fold.locator("summary").click()
    return fold


def freshly_laid_under_a_duct(page: Page) -> None:
    """Lid and rim mixed as the night starts, in a box with ducted air."""
    for name, hours in (("Lid", "0"), ("Rim", "-0.5")):
        open_part(page, name).get_by_label("mixed before the start").fill(hours)
    page.get_by_role("radio", name="just laid up").check()
    page.get_by_role("radio", name="ordinary").check()
    page.get_by_text("The box holds 0.43").click()
    page.get_by_label("ducted fresh air, measured").fill("12")


def shown(place: Locator) -> float:
    """The number that stands there."""
    text = place.inner_text()
    found = re.match(r"[−\d.]+", text)
    assert found is not None, text
    return float(found[0].replace("−", "-"))


def middle(place: Locator) -> tuple[float, float]:
    """The middle of something, px in the window."""
    place.scroll_into_view_if_needed()
    box: Any = place.bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def answered(page: Page, path: str, body: Any) -> None:
    """What another process would have made the server say; the page cannot tell the difference."""

    def say(route: Route) -> None:
        route.fulfill(status=200, content_type="application/json", body=json.dumps(body))

    page.route(re.compile(rf"/api/{path}$"), say)
