"""The other ovens, listed in oven.toml, on this machine or announced on the network: each is asked.

They are asked by threads while somebody looks, a few at a time and none for long, so that one
that is away keeps neither the page nor the others waiting.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from nightcure.settings import Web

from .host_pages import others_here

#: One answer is waited for so long, s, and so many bytes of it are read.
ANSWER_S, MOST_BYTES = 2.0, 200_000
#: What is older is asked for again, s; the network is looked at more seldom.
FRESH_S, LOOKED_S = 5.0, 60.0
#: Who looks first, before anybody was asked, waits so long for what they say, s.
FIRST_S = 0.8
#: Asked at the same moment.
AT_ONCE = 8
MOST_FOUND = 200
#: How ovens announce themselves (systemd/avahi/nightcure.service).
ANNOUNCED, SERVICE = "nightcure on ", "_http._tcp"
LOG_IN = "It shows itself to people with its passphrase only."
AWAY = "It does not answer."
ASKED = "It has just been asked."


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    """An oven's page sends nobody elsewhere."""

    def redirect_request(self, *_: Any, **__: Any) -> None:
        return None


_opener = urllib.request.build_opener(urllib.request.ProxyHandler({}), _NoRedirect())


def announced() -> list[str]:
    """Pages that ovens announce on this network, through the system's own daemon (avahi)."""
    browse = shutil.which("avahi-browse")
    if browse is None:
        return []
    try:
        done = subprocess.run(
            [browse, "--resolve", "--parsable", "--terminate", SERVICE],
            capture_output=True, text=True, timeout=10, check=False,
        )  # fmt: skip
    except (OSError, subprocess.TimeoutExpired):
        return []
    return parsed(done.stdout)


def parsed(text: str) -> list[str]:
    """Pages in what avahi-browse prints: fields by semicolons, \\032 for a blank."""
    found: dict[str, None] = {}
    for line in text.splitlines():
        fields = line.split(";")
        if len(fields) < 9 or fields[0] != "=" or fields[2] != "IPv4":
            continue
        if fields[3].replace("\\032", " ").startswith(ANNOUNCED) and fields[8].isdecimal():
            found[f"http://{fields[6]}:{fields[8]}"] = None
    return list(found)[:MOST_FOUND]


def ask(address: str) -> dict[str, Any] | str:
    """An oven's status, or the sentence that says why there is none."""
    try:
        with _opener.open(f"{address.rstrip('/')}/api/status", timeout=ANSWER_S) as answer:
            status = json.loads(answer.read(MOST_BYTES))
    except urllib.error.HTTPError as error:
        return LOG_IN if error.code == 401 else AWAY
    except Exception:  # whatever it is, that oven is not to be had now
        return AWAY
    return status if isinstance(status, dict) else AWAY


class OtherOvens:
    """What the others said last."""

    def __init__(self, web: Web) -> None:
        self._listed = [a.rstrip("/") for a in web.ovens]
        self._port = web.port
        self._here: list[str] = []
        self._found: list[str] = []
        self._said: dict[str, tuple[float, dict[str, Any] | str]] = {}
        self._lock = threading.Lock()
        self._asking = threading.Lock()
        self._asked_once = threading.Event()
        self._asked_s = self._looked_s = -1e9
        self.asked_host_s: float | None = None
        self._threads = ThreadPoolExecutor(AT_ONCE, "other ovens")
        self._runner = ThreadPoolExecutor(1, "other ovens' round")

    def said(self) -> list[tuple[str, str, float, dict[str, Any] | str]]:
        """Of each: address, how it was found, how old (s) what it said is, and what it said.

        What is there is answered at once; where it is old, a new round begins. Only the first to
        look waits a moment for it; a listed oven has its place from the start.
        """
        now_s = time.monotonic()
        if now_s - self._asked_s > FRESH_S and self._asking.acquire(blocking=False):
            self._asked_s = now_s
            self._runner.submit(self._round)
        self._asked_once.wait(FIRST_S)
        with self._lock:
            found = dict.fromkeys(self._found, "network")
            found |= dict.fromkeys(self._here, "host")
            found |= dict.fromkeys(self._listed, "listed")
            said = [(a, how, *self._said.get(a, (now_s, ASKED))) for a, how in found.items()]
        return [(a, how, max(now_s - at_s, 0.0), what) for a, how, at_s, what in said]

    def _round(self) -> None:
        try:
            if time.monotonic() - self._looked_s > LOOKED_S:
                self._looked_s = time.monotonic()
                found = announced()
                with self._lock:
                    self._found = found
            here = [
                f"http://{f'[{a}]' if ':' in a else a}:{port}"
                for port, a in others_here(self._port).items()
            ]
            with self._lock:
                self._here = here
            self._ask_all(dict.fromkeys([*self._listed, *here, *self._found]))
        finally:
            self._asked_once.set()
            self._asking.release()

    def _ask_all(self, addresses: Iterable[str]) -> None:
        def one(address: str) -> None:
            said = ask(address)
            with self._lock:
                self._said[address] = (time.monotonic(), said)

        list(self._threads.map(one, addresses))
        self.asked_host_s = time.time()
