"""Stop on the page while its server is overrun: how soon it answers, its memory and file handles.

python -m tests.door_campaign [SECONDS] [calm]     a minute; what is reported is a run of ten

Real processes: controller, page's server, and the crowd in a process of its own. The crowd is 1100
connections that never finish a request and come again when they are closed, 200 that ask for the
live stream, and 50 requests a second, the largest answers among them; all on the loopback, which
has a network of addresses (127.0.0.0/8). `calm` leaves out the first. Every two seconds a person
presses Stop, on a connection of its own, from an address that the crowd has, too. How late the
controller's ticks are is told beside an idle half minute before.
"""

from __future__ import annotations

import asyncio
import http.client
import itertools
import json
import multiprocessing
import statistics
import sys
import tempfile
import threading
import time
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import psutil
from argon2 import PasswordHasher

from nightcure.record.rehearsed_night import RehearsedNight
from nightcure.simulate.rehearse import rehearse
from nightcure.simulate.scenario import BOX, ambient_c, scenario
from tests.workshop import Workshop, wait_for

HALF_SENT, STREAMS, A_SECOND = 1100, 200, 50
#: Who is sent away comes again after this, s.
AGAIN_S = 5.0
#: What a process may have open on most machines.
HANDLES = 1024
#: Stop's answer must be there within this, s.
PROMISE_S = 2.0
PRESS_EVERY_S, IDLE_S = 2.0, 30.0
PHRASE = "a heron on the sluice"
SOAK = {"name": "To be stopped", "segments": [{"kind": "soak", "at_c": 50, "hours": 2}]}
#: What is asked fifty times a second: what a page asks, and what costs a server most.
ASKED = (
    "/api/status", "/", "/api/nights", "/main.js", "/api/session",
    "/api/nights/1/samples?points=5000",
    "/api/events?limit=1000", "/api/profiles", "/api/nights/1/record", "/api/nights/1/export.csv",
    "/api/start-checks", "/api/settings", "/api/commands", "/nowhere", "/api/openapi.json",
)  # fmt: skip


# ---- the crowd ------------------------------------------------------------------------------


async def _held(port: int, host: str, sent: bytes, again_s: float) -> None:
    """A connection that sends something, reads what comes, and comes again when it is closed."""
    while True:
        with suppress(OSError, asyncio.TimeoutError):
            local = (host, 0)
            reader, writer = await asyncio.wait_for(
                asyncio.open_connection("127.0.0.1", port, local_addr=local), 10.0
            )
            try:
                writer.write(sent)
                while await reader.read(65536):
                    pass
            finally:
                writer.close()
        await asyncio.sleep(again_s)


async def _asked(port: int, host: str, path: str) -> None:
    with suppress(OSError, asyncio.TimeoutError):
        async with asyncio.timeout(20.0):
            reader, writer = await asyncio.open_connection("127.0.0.1", port, local_addr=(host, 0))
            try:
                writer.write(_request(path) + b"Accept-Encoding: gzip\r\nConnection: close\r\n\r\n")
                while await reader.read(65536):
                    pass
            finally:
                writer.close()


def _request(path: str) -> bytes:
    return f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1\r\n".encode()


async def crowd(port: int, half_sent: int, streams: int, a_second: int, seconds: float) -> None:
    """So many of each at once, for so long."""
    held = [
        _held(port, "127.0.0.1", _request("/") + b"X-Slow: ", AGAIN_S) for _ in range(half_sent)
    ]
    for n in range(streams):
        asking = _request("/api/stream") + b"\r\n"
        held.append(_held(port, f"127.0.1.{1 + n % 20}", asking, AGAIN_S))
    tasks = {asyncio.ensure_future(coroutine) for coroutine in held}
    end_s, paths = time.monotonic() + seconds, itertools.cycle(ASKED)
    for n in itertools.count():
        if time.monotonic() > end_s:
            break
        if a_second and sum(not t.done() for t in tasks) < len(held) + 4 * a_second:
            task = asyncio.ensure_future(_asked(port, f"127.0.2.{1 + n % 10}", next(paths)))
            tasks.add(task)
            task.add_done_callback(tasks.discard)
        await asyncio.sleep(1.0 / (a_second or 50))
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)


def _crowd(*args: Any) -> None:
    asyncio.run(crowd(*args))


# ---- the person -----------------------------------------------------------------------------


class Person:
    """Somebody with the passphrase, who asks on a new connection each time."""

    def __init__(self, port: int) -> None:
        self._port, self._cookies = port, ""

    def post(self, path: str, body: Any = None, timeout_s: float = 20.0) -> tuple[int, Any]:
        """Status and document."""
        connection = http.client.HTTPConnection("127.0.0.1", self._port, timeout=timeout_s)
        try:
            headers = {"Content-Type": "application/json", "Cookie": self._cookies}
            connection.request("POST", path, json.dumps(body or {}), headers)
            answer = connection.getresponse()
            told = json.loads(answer.read())
            given = [v.partition(";")[0] for k, v in answer.getheaders() if k == "set-cookie"]
            self._cookies = "; ".join(given) or self._cookies
            return answer.status, told
        finally:
            connection.close()

    def log_in(self) -> None:
        """Log in and accept the cautions."""
        assert self.post("/api/login", {"passphrase": PHRASE})[0] == 200
        assert self.post("/api/cautions/accept")[0] == 200

    def stop(self) -> float:
        """Press Stop; how long until its answer, s."""
        began_s = time.monotonic()
        status, told = self.post("/api/commands/stop")
        assert status == 200, told
        return time.monotonic() - began_s


# ---- the trial ------------------------------------------------------------------------------


@dataclass
class Trial:
    """What was seen."""

    stops_s: list[float] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)
    """Stops without an answer, each why."""
    levels: list[tuple[float, float, int, int]] = field(default_factory=list)
    """Time (s), resident memory (MB), file handles and threads of the page's process."""
    log_bytes: int = 0
    idle_late_s: float = 0.0
    """The latest tick of the controller before the crowd came, s."""
    late_s: float = 0.0
    """And while it was there."""

    @property
    def longest_s(self) -> float:
        """The slowest Stop; one without an answer counts as endless."""
        return float("inf") if self.failed else max(self.stops_s)


class TickWatch(threading.Thread):
    """How late the controller's ticks are: the longest time between two, less what it should be."""

    def __init__(self, workshop: Workshop) -> None:
        super().__init__(daemon=True)
        self._workshop = workshop
        self.longest_s = 0.0
        self.ended = False

    def run(self) -> None:
        """Look, until it is ended."""
        before_s = self._workshop.host_s()
        while not self.ended:
            time.sleep(0.25)
            now_s = self._workshop.host_s()
            if now_s != before_s:
                self.longest_s = max(self.longest_s, now_s - before_s)
                before_s = now_s

    def late_s(self) -> float:
        """The latest tick so far, s; then it begins anew."""
        late_s = self.longest_s - self._workshop.settings.timing.tick_s
        self.longest_s = 0.0
        return max(late_s, 0.0)


def trial(
    workshop: Workshop, seconds: float, crowd_of: tuple[int, int, int], tell: bool = False
) -> Trial:
    """Overrun the page of `workshop`, whose controller runs, for so long."""
    port = _page_of(workshop)
    page = workshop.nightcure("web", str(workshop.oven_file))
    process, person, seen = psutil.Process(page.pid), Person(port), Trial()
    process.rlimit(psutil.RLIMIT_NOFILE, (HANDLES, HANDLES))
    wait_for(lambda: _answers(person), 40, "the page's server")
    person.log_in()
    asked = {"profile": {**SOAK, "lag_c": 5, "band_c": 2}, "limit_device_confirmed": True}
    assert person.post("/api/commands/start", asked)[0] == 200
    wait_for(workshop.heater_on, 40, "the heater on")
    watch = TickWatch(workshop)
    watch.start()
    time.sleep(IDLE_S if tell else 0.0)
    seen.idle_late_s = watch.late_s()
    spawn = multiprocessing.get_context("spawn")
    load = spawn.Process(target=_crowd, args=(port, *crowd_of, seconds + 60.0), daemon=True)
    load.start()
    try:
        time.sleep(min(5.0, seconds / 2))
        began_s = time.monotonic()
        while time.monotonic() - began_s < seconds:
            try:
                seen.stops_s.append(person.stop())
            except (OSError, http.client.HTTPException, AssertionError) as error:
                seen.failed.append(f"{type(error).__name__}: {error}")
            memory = process.memory_info().rss / 1e6
            row = (time.monotonic() - began_s, memory, process.num_fds(), process.num_threads())
            seen.levels.append(row)
            if tell:
                last = f"{seen.stops_s[-1]:.3f}" if seen.stops_s else "-"
                print(
                    f"{row[0]:6.0f} s  {row[1]:6.1f} MB  {row[2]:4d} handles  {row[3]:3d} threads  "
                    f"stop {last} s  failed {len(seen.failed)}",
                    flush=True,
                )
            time.sleep(PRESS_EVERY_S)
    finally:
        load.kill()
        load.join(10)
        watch.ended = True
    seen.late_s = watch.late_s()
    assert not workshop.heater_on(), "the first Stop has ended the night"
    assert page.poll() is None, workshop.log()
    seen.log_bytes = len(workshop.log())
    return seen


def a_whole_night(workshop: Workshop) -> None:
    """Night 1 of the ledger: twelve hours, so that there is something large to ask for."""
    settings, profile = scenario()
    with RehearsedNight(workshop.ledger, settings, profile) as night:
        rehearse(settings, profile, BOX, ambient_c, on_tick=night.tick)


def _page_of(workshop: Workshop) -> int:
    """Give the workshop's page a passphrase and a port of its own."""
    from tests.browser.conftest import free_port

    port = free_port()
    phrase = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1).hash(PHRASE)
    text = workshop.oven_file.read_text()
    assert "port = 8733" in text
    own = f"port = {port}\npassphrase_hash = '{phrase}'"
    workshop.oven_file.write_text(text.replace("port = 8733", own))
    return port


def _answers(person: Person) -> bool:
    try:
        return person.post("/api/logout")[0] == 200
    except (OSError, http.client.HTTPException):
        return False


def main() -> int:
    """Measure, print, and say whether the promise was kept."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    half_sent = 0 if "calm" in sys.argv else HALF_SENT
    with tempfile.TemporaryDirectory() as folder, Workshop(Path(folder)) as workshop:
        a_whole_night(workshop)
        workshop.controller()
        seen = trial(workshop, seconds, (half_sent, STREAMS, A_SECOND), tell=True)
    if seen.stops_s:
        told = sorted(seen.stops_s)
        print(
            f"{len(told)} stops answered, {len(seen.failed)} not: median "
            f"{statistics.median(told):.3f} s, 99 % within {told[int(0.99 * len(told))]:.3f} s, "
            f"longest {told[-1]:.3f} s; promised {PROMISE_S:g} s"
        )
    for why in seen.failed[:5]:
        print(why)
    memory, handles = [row[1] for row in seen.levels], [row[2] for row in seen.levels]
    third = max(1, len(memory) // 3)
    print(
        f"memory {max(memory[:third]):.1f} MB in the first third, {max(memory[-third:]):.1f} in "
        f"the last; handles {max(handles[:third])}, {max(handles[-third:])}; the page's log "
        f"{seen.log_bytes} bytes"
    )
    print(
        f"the controller's latest tick: {seen.idle_late_s:.3f} s late in an idle half minute, "
        f"{seen.late_s:.3f} s while the page was overrun"
    )
    return 0 if seen.longest_s <= PROMISE_S else 1


if __name__ == "__main__":
    sys.exit(main())
