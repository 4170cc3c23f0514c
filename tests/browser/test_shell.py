"""The shell: small, its own, installable, under a policy that lets nothing else in."""

from __future__ import annotations

import gzip
import json
import re

import pytest
from playwright.sync_api import Page, expect

from nightcure_web.app import STATIC

from .conftest import RunningDemo
from .hands import see

#: What comes before the first figures (page, style, scripts and the worker that keeps them),
#: compressed; and all of the page, with what is fetched when it is opened.
MOST_BYTES, MOST_IN_ALL_BYTES = 65_000, 90_000


def compressed(names: set[str]) -> int:
    return sum(len(gzip.compress((STATIC / name).read_bytes())) for name in names)


def test_the_bundle_is_small() -> None:
    every = {f.name for f in STATIC.iterdir() if f.suffix in (".js", ".css", ".html")}
    html = (STATIC / "index.html").read_text(encoding="utf-8")
    first = {"index.html", "sw.js", *re.findall(r'(?:href|src)="([^"]+\.(?:js|css))"', html)}
    assert {"main.js", "look.js", "style.css"} <= first <= every
    # Every script that main.js names itself is among them: none comes as a surprise after it.
    main = (STATIC / "main.js").read_text(encoding="utf-8")
    assert set(re.findall(r'from"\./([^"]+)"', main)) <= first
    assert compressed(first) <= MOST_BYTES
    assert compressed(every) <= MOST_IN_ALL_BYTES


def test_what_is_seldom_opened_comes_when_it_is(page: Page, archive: RunningDemo) -> None:
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url.rpartition("/")[2]))
    see(page, archive)
    assert not any(name.startswith(("ruler-", "cards-")) for name in asked)
    see(page, archive, "oven/ruler")
    expect(page.get_by_role("heading", name="A box by its ruler")).to_be_visible()
    assert any(name.startswith("ruler-") for name in asked)


@pytest.mark.browser_context_args(service_workers="block")  # it would fetch past the test's hand
def test_a_part_that_cannot_be_fetched_says_so(page: Page, archive: RunningDemo) -> None:
    page.route("**/cards-*.js", lambda route: route.abort())
    see(page, archive, "oven/cards")
    expect(page.locator("p.refusal")).to_contain_text("cannot be fetched")
    page.unroute("**/cards-*.js")
    page.get_by_role("button", name="Load the page anew").click()
    expect(page.get_by_role("heading", name="Resin cards")).to_be_visible()


def test_nothing_is_loaded_from_elsewhere_and_nothing_is_inline(
    page: Page, archive: RunningDemo, quiet: list[str]
) -> None:
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    see(page, archive)
    assert asked
    assert all(url.startswith(archive.address) for url in asked)
    html = (STATIC / "index.html").read_text(encoding="utf-8")
    assert not re.search(r"<style|style=|<script(?![^>]*\ssrc=)|\son\w+=", html)
    policy = page.request.get(archive.address).headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert quiet == []


def test_it_can_be_installed(page: Page, archive: RunningDemo) -> None:
    """By the members a browser asks of a manifest before it offers to install (web.dev, from
    memory): name, icons of 192 and 512 px, start_url, display."""
    see(page, archive)
    manifest = json.loads((STATIC / "manifest.webmanifest").read_text(encoding="utf-8"))
    assert manifest["name"]
    assert manifest["start_url"] == "./"
    assert manifest["display"] == "standalone"
    assert {"192x192", "512x512"} <= {icon["sizes"] for icon in manifest["icons"]}
    for icon in manifest["icons"]:
        size = page.evaluate(
            """async src => {
              const image = new Image();
              image.src = src;
              await image.decode();
              return `${image.naturalWidth}x${image.naturalHeight}`;
            }""",
            icon["src"],
        )
        assert icon["sizes"] in (size, "any")
    devtools = page.context.new_cdp_session(page)
    errors = devtools.send("Page.getInstallabilityErrors")["installabilityErrors"]
    assert [e["errorId"] for e in errors if e["errorId"] != "in-incognito"] == []
    expect(page.locator("link[rel=manifest]")).to_be_attached()
