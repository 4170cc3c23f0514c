"""While it loads: nothing that stands there moves, and nothing is asked for again and again."""

from __future__ import annotations

import time
from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, Route, expect

from .conftest import DESK, PHONE, WAIT_MS, RunningDemo
from .hands import see

#: What moves while a page loads is hardly noticed up to 0.1 (web.dev, Cumulative Layout Shift, from
#: memory). The page asks more of itself.
MOST_SHIFT = 0.03

WATCH = """
window.shifts = [];
new PerformanceObserver(list => {
  for (const e of list.getEntries()) if (!e.hadRecentInput)
    shifts.push([e.value, e.sources.map(s => s.node && s.node.nodeName + s.node.className).join()]);
}).observe({ type: 'layout-shift', buffered: true });
"""


@pytest.fixture(scope="module")
def fresh() -> Iterator[RunningDemo]:
    running = RunningDemo.start("--speed", "30", "--no-start")
    yield running
    running.end()


def late(route: Route) -> None:
    """A ledger on a slow card: what it is asked for comes after the first live word."""
    time.sleep(0.5)
    route.continue_()


@pytest.mark.parametrize("size", [PHONE, DESK])
@pytest.mark.parametrize("oven", ["fresh", "archive"])
def test_nothing_moves_while_the_first_screen_loads(
    page: Page, request: pytest.FixtureRequest, oven: str, size: tuple[int, int]
) -> None:
    running: RunningDemo = request.getfixturevalue(oven)
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.add_init_script(WATCH)
    page.route("**/api/nights?*", late, times=1)
    page.route("**/plot-*.js", late, times=1)
    see(page, running)
    if oven == "fresh":
        expect(page.get_by_text("No night has been recorded yet.")).to_be_visible()
    else:
        page.wait_for_selector(".plot canvas", timeout=WAIT_MS)
    page.wait_for_timeout(500)
    shifts = page.evaluate("shifts")
    assert sum(value for value, _ in shifts) < MOST_SHIFT, shifts


def test_an_oven_without_a_night_is_not_asked_for_one_at_every_word(
    page: Page, fresh: RunningDemo
) -> None:
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    see(page, fresh)
    expect(page.get_by_text("No night has been recorded yet.")).to_be_visible()
    page.wait_for_timeout(3000)  # a dozen live words
    assert sum("api/nights" in url for url in asked) == 1
