"""The demo's page in Chromium at a phone's size: watch, stop, start, and know when data is old."""

from __future__ import annotations

import re
import signal
from collections.abc import Callable

from playwright.sync_api import Page, expect

from .conftest import RunningDemo

#: Share of the canvas that is drawn on, counted in the page itself.
INK = """() => {
  const c = document.querySelector('.plot canvas');
  const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;
  let n = 0;
  for (let i = 3; i < d.length; i += 4) if (d[i] > 0) n++;
  return n / (d.length / 4);
}"""
WAIT_MS = 30_000


def air_c(page: Page) -> float:
    text = page.get_by_test_id("air").inner_text()
    found = re.match(r"[−\d.]+", text)
    assert found is not None, text
    return float(found[0].replace("−", "-"))


def log_in(page: Page, passphrase: str) -> None:
    page.get_by_label("The oven's passphrase").fill(passphrase)
    page.get_by_role("button", name="Log in").click()


def test_it_shows_live_temperatures_and_the_chart(
    page: Page, demo: Callable[..., RunningDemo], quiet: list[str]
) -> None:
    running = demo("--speed", "300")
    page.goto(running.address)
    expect(page.get_by_text("Ramp", exact=True)).to_be_visible(timeout=WAIT_MS)
    first_c = air_c(page)
    assert 5 < first_c < 40
    page.wait_for_function(
        "from => parseFloat(document.querySelector('[data-testid=air]').innerText) > from + 3",
        arg=first_c,
        timeout=WAIT_MS,
    )
    page.wait_for_selector(".plot canvas", timeout=WAIT_MS)
    assert page.evaluate(INK) > 0.01, "the strip is drawn"
    page.get_by_text("The night as a table").click()
    assert page.locator(".hours tbody tr").count() >= 1
    expect(page).to_have_title(re.compile(r"^[\d.]+° Ramp$"))
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= 390, "nothing hangs over the phone's edge"
    assert quiet == []


def test_it_stops_a_night_and_starts_another(
    page: Page, demo: Callable[..., RunningDemo], quiet: list[str]
) -> None:
    running = demo("--speed", "60")
    page.goto(running.address)
    page.get_by_role("button", name="Stop", exact=True).click(timeout=WAIT_MS)
    page.get_by_label("The oven's passphrase").fill(running.passphrase)
    page.get_by_role("button", name="Log in").click()
    page.get_by_role("button", name="Stop now").click()
    expect(page.get_by_role("button", name="Start a night …")).to_be_visible(timeout=WAIT_MS)
    expect(page.get_by_text("off, 0 % duty of 300 W")).to_be_visible(timeout=WAIT_MS)

    page.get_by_role("button", name="Start a night …").click()
    page.get_by_role("radio").nth(0).check()
    begin = page.get_by_role("button", name="Start heating")
    expect(begin).to_be_disabled()  # until the cautions are read
    page.get_by_label("I have read this").check()
    begin.click()
    expect(page.get_by_role("button", name="Stop", exact=True)).to_be_visible(timeout=WAIT_MS)
    heats = page.get_by_text(re.compile(r"(on|off), [1-9]\d* % duty of 300\sW"))
    expect(heats).to_be_visible(timeout=WAIT_MS)
    nights = page.request.get(running.address + "api/nights").json()
    assert [n["outcome"] for n in nights] == [None, "stopped"]
    assert nights[0]["profile_name"] != nights[1]["profile_name"]
    assert quiet == []


def test_a_wrong_passphrase_is_refused_in_words(
    page: Page, demo: Callable[..., RunningDemo]
) -> None:
    running = demo("--speed", "60")
    page.goto(running.address)
    page.get_by_role("button", name="Stop", exact=True).click(timeout=WAIT_MS)
    log_in(page, "not the passphrase")
    expect(page.locator(".refusal")).to_have_text(re.compile(r"passphrase", re.I))
    expect(page.get_by_role("button", name="Stop now")).to_have_count(0)
    page.get_by_role("button", name="Back").click()
    expect(page.get_by_role("dialog")).to_have_count(0)
    assert page.request.get(running.address + "api/nights").json()[0]["outcome"] is None


def test_old_data_is_called_old(
    page: Page, demo: Callable[..., RunningDemo], quiet: list[str]
) -> None:
    running = demo("--speed", "60")
    page.goto(running.address)
    expect(page.get_by_role("region", name="Now")).to_be_visible(timeout=WAIT_MS)
    expect(page.get_by_text("Old data.")).to_have_count(0)
    running.process.send_signal(signal.SIGSTOP)  # the controller stands still; the page goes on
    expect(page.get_by_text("Old data.")).to_be_visible(timeout=WAIT_MS)
    expect(page.get_by_role("region", name="Last known")).to_be_visible()
    expect(page).to_have_title("nightcure")
    running.process.send_signal(signal.SIGCONT)
    expect(page.get_by_text("Old data.")).to_have_count(0, timeout=WAIT_MS)
    assert quiet == []


def test_a_trip_is_told_and_reset(
    page: Page, demo: Callable[..., RunningDemo], quiet: list[str]
) -> None:
    running = demo("--speed", "120", "--fault", "sensor-missing@10min")
    page.goto(running.address)
    expect(page.get_by_role("heading", name=re.compile("^Trip:"))).to_be_visible(timeout=WAIT_MS)
    expect(page.get_by_text("off, 0 % duty of 300 W")).to_be_visible(timeout=WAIT_MS)
    page.get_by_role("button", name="Acknowledge").first.click()
    log_in(page, running.passphrase)
    page.get_by_role("dialog").get_by_role("button", name="Acknowledge").click()
    told = page.get_by_role("heading", name=re.compile("^Trip:.*, acknowledged$"))
    expect(told).to_be_visible(timeout=WAIT_MS)
    assert quiet == []
