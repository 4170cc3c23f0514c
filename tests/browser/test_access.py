"""For everybody: axe-core under the real policy (WCAG 2 A and AA), and the keyboard alone."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from .conftest import DESK, PHONE, SMALL, RunningDemo
from .hands import answer, log_in, see, steering

PAGE = Path(__file__).parents[2] / "web" / "page"
AXE = PAGE / "node_modules" / "axe-core" / "axe.min.js"
RUN = """async () => {
  const tags = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'];
  const found = await axe.run(document, {runOnly: tags, resultTypes: ['violations']});
  return found.violations.map(v => [v.impact, v.id, v.nodes.map(n => n.target.join(' '))]);
}"""


def faults(page: Page) -> list[Any]:
    """What axe finds serious, or worse."""
    if not page.evaluate("'axe' in window"):
        # Through the debugger: the page's own policy lets no foreign script in.
        page.evaluate(AXE.read_text(encoding="utf-8"))
    found: list[Any] = page.evaluate(RUN)
    return [f for f in found if f[0] in ("serious", "critical")]


@pytest.mark.parametrize(("look", "size"), [("dark", PHONE), ("light", SMALL), ("light", DESK)])
def test_axe_finds_nothing_serious(
    page: Page, archive: RunningDemo, look: Any, size: tuple[int, int]
) -> None:
    page.emulate_media(color_scheme=look, reduced_motion="reduce")
    page.set_viewport_size({"width": size[0], "height": size[1]})
    everywhere = ("now", "start", "nights", "nights/2", "nights/2+3", "oven")
    for screen in ("now", "start") if size == SMALL else everywhere:
        see(page, archive, screen)
        expect(page.locator("main h2").first).to_be_visible()
        if screen == "start":
            page.get_by_role("button", name="A new one").click()
            expect(page.get_by_role("slider")).to_have_count(3)
        if screen == "now":
            page.get_by_text("The night as a table").click()
        assert faults(page) == [], screen
    page.get_by_role("button", name="Stop", exact=True).click()
    expect(page.get_by_label("The oven's passphrase").last).to_be_visible()
    assert faults(page) == [], "the dialog"


def test_axe_finds_nothing_serious_in_a_trip(page: Page, tripped: RunningDemo) -> None:
    for look in ("dark", "light"):
        page.emulate_media(color_scheme=look)
        see(page, tripped)
        expect(page.locator("article.trip")).to_be_visible()
        assert faults(page) == []


def test_by_keyboard_alone(page: Page, steered: RunningDemo, quiet: list[str]) -> None:
    running = steered
    oven = steering(page, running)
    oven.begin({"kind": "soak", "at_c": 20, "hours": 2})
    see(page, running)
    focused = page.locator(":focus")

    def tab_to(name: str | re.Pattern[str], role: Any = "button") -> None:
        wanted = page.get_by_role(role, name=name).first
        expect(wanted).to_be_enabled()
        for _ in range(80):
            page.keyboard.press("Tab")
            if wanted.evaluate("e => e === document.activeElement"):
                return
        raise AssertionError(f"no Tab leads to {name}")

    page.keyboard.press("Tab")
    expect(focused).to_have_text("To the content")
    tab_to("Stop")
    page.keyboard.press("Enter")
    expect(page.get_by_role("dialog")).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.get_by_role("dialog")).to_have_count(0)
    expect(focused).to_have_text("Stop")  # back to where it was asked
    page.keyboard.press("Enter")
    expect(focused).to_have_text("Stop now")
    page.keyboard.press("Enter")
    expect(page.get_by_role("dialog")).to_have_count(0)
    expect(page.get_by_text("Resting", exact=True)).to_be_visible()

    tab_to("Start", "link")
    page.keyboard.press("Enter")
    tab_to("A new one")
    page.keyboard.press("Enter")
    tab_to(re.compile("^End of segment 1"), "slider")
    page.keyboard.press("ArrowUp")
    expect(page.get_by_label(re.compile("^Segment 1,")).get_by_role("textbox").first).to_have_value(
        "31"
    )
    tab_to(re.compile("^Start '"))
    page.keyboard.press("Enter")
    tab_to(re.compile("^An independent"), "checkbox")
    page.keyboard.press("Space")
    tab_to(re.compile("^The parts have gelled"), "checkbox")
    page.keyboard.press("Space")
    tab_to("Start heating")
    page.keyboard.press("Enter")
    expect(page.get_by_role("dialog")).to_have_count(0)
    expect(page.get_by_text("Ramp", exact=True)).to_be_visible()
    assert oven.get("status")["profile"]["segments"][0]["to_c"] == 31
    assert quiet == []


@pytest.mark.parametrize("leave", ["back", "escape"])
def test_a_stop_asked_for_at_once_after_another_is_not_lost(
    page: Page, archive: RunningDemo, leave: str
) -> None:
    """The browser tells of a dialog's end after the fact; by then the next may be open."""
    see(page, archive)
    stop = page.get_by_role("button", name="Stop", exact=True)
    stop.click()
    log_in(page, archive.passphrase)
    expect(page.get_by_role("button", name="Stop now")).to_be_visible()
    page.evaluate(
        """async leave => {
          const dialog = document.querySelector('dialog');
          if (leave === 'back') dialog.querySelector('button.plain').click();
          else {
            dialog.dispatchEvent(new Event('cancel', {cancelable: true}));
            dialog.close();
          }
          await null;
          document.querySelector('button.stop').click();
        }""",
        leave,
    )
    page.wait_for_timeout(300)
    expect(page.get_by_role("button", name="Stop now")).to_be_visible()
    answer(page, "Back")


def test_an_alarm_is_found_from_any_screen(page: Page, tripped: RunningDemo) -> None:
    see(page, tripped, "oven")
    page.get_by_role("link", name=re.compile("^Now.*alarm")).click()
    expect(page.locator("article.trip")).to_be_visible()


def test_a_dialog_answers_to_the_passphrase_first(page: Page, archive: RunningDemo) -> None:
    see(page, archive)
    page.get_by_role("button", name="Stop", exact=True).click()
    field = page.get_by_role("dialog").get_by_label("The oven's passphrase")
    expect(field).to_be_focused()
    expect(field).to_have_attribute("autocomplete", "current-password")
    field.fill(archive.passphrase)
    page.keyboard.press("Enter")
    answer(page, "Back")
