"""The shell: small, its own, installable, under a policy that lets nothing else in."""

from __future__ import annotations

import gzip
import json
import re

from playwright.sync_api import Page, expect

from nightcure_web.app import STATIC

from .conftest import RunningDemo
from .hands import see

#: Script, style and page together, compressed.
MOST_BYTES = 65_000


def test_the_bundle_is_small() -> None:
    files = [f for f in STATIC.iterdir() if f.suffix in (".js", ".css", ".html")]
    assert {f.name for f in files} == {"index.html", "main.js", "look.js", "sw.js", "style.css"}
    assert sum(len(gzip.compress(f.read_bytes())) for f in files) <= MOST_BYTES


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
