"""Who is silent: a controller that hangs or was killed, a page's server that is away."""

from __future__ import annotations

import signal
from collections.abc import Callable

from playwright.sync_api import Page, expect

from .conftest import RunningDemo
from .hands import see, shown


def test_a_hanging_controller_makes_data_old_and_its_return_makes_it_new(
    page: Page, shipped: RunningDemo, quiet: list[str]
) -> None:
    running = shipped
    see(page, running)
    expect(page.get_by_role("region", name="Now")).to_be_visible()
    expect(page.get_by_text("Old data.")).to_have_count(0)
    running.process.send_signal(signal.SIGSTOP)  # the controller stands still; the page goes on
    expect(page.get_by_text("Old data.", exact=True)).to_be_visible()
    expect(page.get_by_role("region", name="Last known")).to_be_visible()
    expect(page.locator("[role=alert][aria-live=assertive]")).to_contain_text("Old data")
    expect(page).to_have_title("nightcure")
    running.process.send_signal(signal.SIGCONT)
    expect(page.get_by_text("Old data.")).to_have_count(0)
    assert quiet == []


def test_a_phone_that_wakes_accuses_nobody(page: Page, archive: RunningDemo) -> None:
    """What it showed when it fell asleep looks old at once, and until somebody was asked nothing is
    said of a controller that hangs. Fails before this: "It is not running, or it hangs"."""
    page.clock.install()
    see(page, archive)
    expect(page.get_by_role("region", name="Now")).to_be_visible()
    page.evaluate("""
      window.seen = new Set();
      new MutationObserver(() => {
        seen.add(document.querySelector('.oldness')?.innerText.slice(0, 9) ?? '');
        seen.add(document.querySelector('main').className.split(' ').pop());
      }).observe(document.body, { subtree: true, childList: true, attributes: true });
    """)
    page.clock.fast_forward("06:00:00")
    expect(page.locator("main.old")).to_have_count(0)
    seen = set(page.evaluate("[...seen]"))
    assert "old" in seen
    assert seen <= {"", "old", "now"}


def test_a_killed_controller_is_missed(page: Page, demo: Callable[..., RunningDemo]) -> None:
    running = demo("--speed", "60")
    see(page, running)
    running.process.kill()
    running.process.wait(10)
    expect(page.get_by_text("Old data.", exact=True)).to_be_visible()
    expect(page.get_by_text("If in doubt, pull the heater's plug.").first).to_be_visible()
    page.reload()  # what was kept in the ledger is not taken for new
    expect(page.get_by_text("Old data.", exact=True)).to_be_visible()
    expect(page.get_by_role("region", name="Last known")).to_be_visible()


def test_the_page_comes_back_by_itself_when_its_server_does(
    page: Page, shipped: RunningDemo
) -> None:
    see(page, shipped)
    again = shipped.restart_page_server()
    expect(page.get_by_text("No connection.")).to_be_visible()
    before_c = shown(page.get_by_test_id("air"))
    again()
    expect(page.get_by_text("No connection.")).to_have_count(0)
    page.wait_for_function(
        "was => parseFloat(document.querySelector('[data-testid=air]').innerText) !== was",
        arg=before_c,
    )


def test_the_kept_shell_never_shows_a_temperature_without_its_server(
    page: Page, shipped: RunningDemo
) -> None:
    see(page, shipped)
    page.evaluate("navigator.serviceWorker.ready")
    kept = page.evaluate(
        """async () => {
          const paths = [];
          for (const name of await caches.keys())
            for (const request of await (await caches.open(name)).keys())
              paths.push(new URL(request.url).pathname);
          return paths;
        }"""
    )
    assert "/main.js" in kept
    assert not any(path.startswith("/api") for path in kept)
    again = shipped.restart_page_server()
    page.reload()
    expect(page.get_by_text("No connection.")).to_be_visible()
    expect(page.get_by_test_id("air")).to_have_count(0)
    again()
