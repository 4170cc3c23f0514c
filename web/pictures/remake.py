"""Remakes the page's icons and the pictures in this folder: `python web/pictures/remake.py`.

With `icons` or `pictures` only those. It needs Chromium and the test extra; the pictures come from
demos on this machine, five to ten minutes in all.
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Literal

from playwright.sync_api import Browser, Page, sync_playwright

HERE = Path(__file__).resolve().parent
PUBLIC = HERE.parent / "page" / "public"
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
#: File, drawing, edge in px.
ICONS = (
    ("icon-180.png", "icon-maskable.svg", 180),
    ("icon-192.png", "icon.svg", 192),
    ("icon-512.png", "icon.svg", 512),
    ("icon-maskable-512.png", "icon-maskable.svg", 512),
)
Look = Literal["dark", "light"]
LOOKS: tuple[Look, ...] = ("dark", "light")
PATIENCE_S = 900.0


def icons(browser: Browser) -> None:
    """The PNG icons from their drawings."""
    for name, drawing, edge in ICONS:
        page = browser.new_page(viewport={"width": edge, "height": edge})
        page.goto((PUBLIC / drawing).as_uri())
        page.screenshot(path=PUBLIC / name, omit_background=True)
        page.close()


@contextmanager
def demo(*options: str) -> Iterator[tuple[str, str]]:
    """A demo's address and passphrase."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-m", "nightcure", "demo", "--port", str(port), *options]
    # Whatever else runs on this machine is no second oven of these pictures.
    alone = tempfile.mkdtemp(prefix="nightcure-alone-")
    environment = {**os.environ, "XDG_RUNTIME_DIR": alone}
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment)
    assert process.stdout is not None
    said = ""
    for line in process.stdout:
        said += line
        if "Ctrl-C" in line:
            break
    try:
        address, phrase = re.search(r"http://\S+", said), re.search(r"passphrase: (\S+)", said)
        assert address is not None, said
        assert phrase is not None, said
        yield address[0], phrase[1]
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(20)
        shutil.rmtree(alone, ignore_errors=True)


def phone(browser: Browser, look: Look) -> Page:
    """A phone's page."""
    size: Any = {"width": 390, "height": 844}
    return browser.new_page(viewport=size, device_scale_factor=2, color_scheme=look)


def ask(page: Page, path: str, body: object) -> None:
    """Ask the API from within the page, as the page would."""
    answer = page.evaluate(
        """async ([path, body]) => {
          const headers = {"Content-Type": "application/json"};
          const asked = {method: "POST", headers, body: JSON.stringify(body)};
          const r = await fetch("api/" + path, asked);
          return [r.status, await r.text()];
        }""",
        [path, body],
    )
    assert answer[0] == 200, answer


def begin(page: Page, address: str, phrase: str, profile: str) -> None:
    """Stop what runs and start the profile of this name."""
    page.goto(address)
    ask(page, "login", {"passphrase": phrase})
    ask(page, "cautions/accept", {})
    ask(page, "commands/stop", {})
    offers = page.request.get(f"{address}api/profiles").json()
    chosen = next(o["profile"] for o in offers if o["profile"]["name"] == profile)
    ask(page, "commands/start", {"profile": chosen, "limit_device_confirmed": True})


def until(page: Page, address: str, phase: str) -> None:
    """Wait for a phase of the night."""
    end_s = time.monotonic() + PATIENCE_S
    while page.request.get(f"{address}api/status").json()["phase"] != phase:
        if time.monotonic() > end_s:
            sys.exit(f"The demo did not come to '{phase}' within {PATIENCE_S:g} s.")
        time.sleep(0.5)


def pictures(browser: Browser) -> None:
    """The pictures of the README, dark and light."""
    with demo("--speed", "360") as (address, phrase):
        pages = [phone(browser, look) for look in LOOKS]
        begin(pages[0], address, phrase, "Lid and rim, until demould")
        until(pages[0], address, "soak")
        for page, look in zip(pages, LOOKS, strict=True):
            page.goto(address)
            page.wait_for_selector(".plot canvas")
            page.wait_for_timeout(1500)
            page.screenshot(path=HERE / f"night-{look}.png")
        until(pages[0], address, "done")
        begin(pages[0], address, phrase, "Lid and rim, overnight")
        until(pages[0], address, "done")
        for page, look in zip(pages, LOOKS, strict=True):
            compared(page, address, look)
            drawn(page, address, look)


def compared(page: Page, address: str, look: Look) -> None:
    """Two nights laid over each other."""
    page.goto(f"{address}#nights/2+3")
    page.wait_for_selector(".plot canvas")
    page.wait_for_timeout(800)
    page.screenshot(path=HERE / f"nights-{look}.png")


def drawn(page: Page, address: str, look: Look) -> None:
    """A profile under the hand."""
    page.goto(f"{address}#start")
    page.get_by_role("button", name="A new one").click()
    page.get_by_role("button", name="Add ramp and soak").click()
    held = page.get_by_role("slider").nth(3)
    held.focus()
    for key in ("ArrowUp", "ArrowUp", "ArrowRight", "ArrowRight", "ArrowRight", "ArrowRight"):
        page.keyboard.press(key)
    page.evaluate("document.querySelector('.drawing').scrollIntoView({block: 'center'})")
    page.wait_for_timeout(800)
    page.screenshot(path=HERE / f"start-{look}.png")


def main() -> None:
    """Remake what was asked for."""
    asked = sys.argv[1:] or ["icons", "pictures"]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        if "icons" in asked:
            icons(browser)
        if "pictures" in asked:
            pictures(browser)
        browser.close()


if __name__ == "__main__":
    main()
