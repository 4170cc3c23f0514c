"""Watching a night: figures, strip, milestones, table; at three sizes."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from .conftest import SIZES, WAIT_MS, RunningDemo
from .hands import see, shown, steering

#: Share of the canvas that is drawn on, counted in the page itself.
INK = """() => {
  const c = document.querySelector('.plot canvas');
  const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;
  let n = 0;
  for (let i = 3; i < d.length; i += 4) if (d[i] > 0) n++;
  return n / (d.length / 4);
}"""


def test_live_temperatures_and_the_strip(
    page: Page, demo: Callable[..., RunningDemo], quiet: list[str]
) -> None:
    see(page, demo("--speed", "120"))
    expect(page.get_by_text("Ramp", exact=True)).to_be_visible()
    first_c = shown(page.get_by_test_id("air"))
    assert 5 < first_c < 40
    page.wait_for_function(
        "from => parseFloat(document.querySelector('[data-testid=air]').innerText) > from + 3",
        arg=first_c,
        timeout=WAIT_MS,
    )
    page.wait_for_selector(".plot canvas", timeout=WAIT_MS)
    assert page.evaluate(INK) > 0.01, "the strip is drawn"
    page.get_by_text("The night as a table").click()
    expect(page.locator(".hours tbody tr")).not_to_have_count(0)
    expect(page).to_have_title(re.compile(r"^[\d.]+° Ramp$"))
    expect(
        page.get_by_text(re.compile(r"^about \d\d:\d\d, in \d+\sh(\s\d\d\smin)?$"))
    ).to_be_visible()
    heat = re.compile(r"^\d+\s% of full heat, \d+\sW")
    expect(page.get_by_test_id("heater")).to_have_text(heat)
    said = page.locator("[role=status][aria-live=polite]")
    expect(said).to_have_text("Ramp, 1 of 3.")  # what a screen reader hears
    assert quiet == []


def test_the_cure_of_each_part_in_words(
    page: Page, demo: Callable[..., RunningDemo], quiet: list[str]
) -> None:
    running = demo("--speed", "400")
    oven = steering(page, running)
    profile = oven.offer("Lid and rim, until demould")
    oven.begin(*profile["segments"], parts=profile["parts"], box=profile["box"])
    see(page, running)
    parts = page.get_by_role("list", name="Parts").locator("> li")
    for part in ("Lid", "Rim"):
        expect(parts.filter(has_text=part)).to_have_count(1)
    expect(parts.first).to_contain_text(re.compile("wet|gelled|ready to laminate on"))
    expect(parts.first).to_contain_text(re.compile(r"hard by \d\d:\d\d"))
    expect(parts.first.locator("li.reached").first).to_have_text("gel ✓")
    live = oven.get("status")
    assert [p["name"] for p in live["cure"]] == ["Lid", "Rim"]
    assert quiet == []


NAMES = "Cockpit coaming, starboard half, second", "Lid", "Lid 🛶 für Käthe", "Rudder stock " * 3


def test_every_part_names_its_lane_on_a_small_phone(page: Page, steered: RunningDemo) -> None:
    """Fails before this: a name that did not fit left its lane without any."""
    oven = steering(page, steered)
    profile = oven.offer("Lid and rim, until demould")
    parts = [{**profile["parts"][i % 2], "name": name.strip()} for i, name in enumerate(NAMES)]
    oven.begin(*profile["segments"], parts=parts, box={**profile["box"], "wet": "hard"})
    page.set_viewport_size({"width": 320, "height": 640})
    page.add_init_script("""
      window.written = new Set();
      const fill = CanvasRenderingContext2D.prototype.fillText;
      CanvasRenderingContext2D.prototype.fillText = function (text, ...at) {
        written.add(text);
        fill.call(this, text, ...at);
      };
    """)
    see(page, steered)
    page.wait_for_selector(".plot canvas", timeout=WAIT_MS)
    page.wait_for_function("written.size > 6", timeout=WAIT_MS)
    written = page.evaluate("[...written]")
    for begins in ("Cockpit", "Lid hard", "Lid 🛶", "Rudder"):
        assert any(t.startswith(begins) and t.endswith(" hard") for t in written), (begins, written)
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    oven.post("commands/stop")


@pytest.mark.parametrize("size", SIZES)
def test_no_screen_hangs_over_the_edge(
    page: Page, archive: RunningDemo, size: tuple[int, int], quiet: list[str]
) -> None:
    width, height = size
    page.set_viewport_size({"width": width, "height": height})
    for screen in ("now", "start", "nights", "nights/2", "nights/2+3", "oven"):
        see(page, archive, screen)
        expect(page.locator("main h2").first).to_be_visible()
        if screen == "start":
            page.get_by_role("button", name="A new one").click()
            expect(page.get_by_role("slider")).to_have_count(3)
        assert page.evaluate("document.documentElement.scrollWidth") <= width, screen
        stop = page.get_by_role("button", name="Stop", exact=True)
        expect(stop).to_be_in_viewport(ratio=1)
    assert quiet == []


def test_text_of_twice_the_size_still_fits(page: Page, archive: RunningDemo) -> None:
    page.set_viewport_size({"width": 390, "height": 844})
    for screen in ("now", "start", "nights/2", "oven"):
        see(page, archive, screen)
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        expect(page.get_by_role("button", name="Stop", exact=True)).to_be_in_viewport(ratio=1)
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, screen


def test_the_strip_zooms_and_pans_by_keys_wheel_buttons_and_fingers(
    page: Page, archive: RunningDemo, quiet: list[str]
) -> None:
    see(page, archive, "nights/3")
    expect(page.locator(".morning .verdict")).to_be_visible()  # what stands above is there
    strip = page.get_by_role("group", name=re.compile("^The curves"))
    whole = page.get_by_role("button", name="Whole")
    pointed = page.get_by_test_id("pointed")
    over = page.locator(".u-over")

    def place() -> tuple[float, float, float]:
        """Left edge, width and middle height, px, measured anew: what stands above fills in."""
        over.scroll_into_view_if_needed()
        box = over.bounding_box()
        assert box is not None
        return box["x"], box["width"], box["y"] + box["height"] / 2

    def at_left() -> str:
        x, _, y = place()
        page.mouse.move(x + 5, y)
        page.mouse.move(x + 3, y)
        expect(pointed).to_have_text(re.compile(r"\d\d:\d\d"))
        return pointed.inner_text()

    expect(whole).to_be_disabled()
    first = at_left()
    assert re.fullmatch(r"\d\d:\d\d", first)

    strip.focus()
    page.keyboard.press("+")
    expect(whole).to_be_enabled()
    page.keyboard.press("ArrowRight")
    assert at_left() > first, "zoomed in and moved to the right"
    page.keyboard.press("Home")
    expect(whole).to_be_disabled()
    assert at_left() == first

    x, width, y = place()
    page.mouse.move(x + width * 0.9, y)
    page.mouse.wheel(0, -600)
    expect(whole).to_be_enabled()
    assert at_left() > first
    page.mouse.down()  # a drag to the right goes back in time
    page.mouse.move(x + 4 * width, y, steps=6)
    page.mouse.up()
    assert at_left() == first
    whole.click()

    page.get_by_role("button", name="Show less time").click()
    expect(whole).to_be_enabled()
    whole.click()
    expect(whole).to_be_disabled()

    devtools = page.context.new_cdp_session(page)
    x, width, y = place()
    centre = x + width / 2

    def fingers(kind: str, apart: float | None) -> None:
        points = [] if apart is None else [centre - apart, centre + apart]
        touches = [{"x": x, "y": y, "id": i} for i, x in enumerate(points)]
        devtools.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": touches})

    fingers("touchStart", 20)
    for apart in (40, 60, 80):
        fingers("touchMove", apart)
    fingers("touchEnd", None)
    expect(whole).to_be_enabled()
    assert quiet == []
