"""A week of nights at speed in the real daemon, its page overrun for a part of it: is its memory
level, and are its file handles?

python -m tests.week_campaign [DAYS] [SPEED] [CROWD_S]     7 days, 500 times, 600 s: 20 minutes

The demo's own processes; every evening of the oven's a night is started through the page. The
crowd is `tests.door_campaign`'s: 200 that ask for the live stream and 50 requests a second.
"""

from __future__ import annotations

import http.client
import json
import math
import multiprocessing
import sys
import time
from typing import Any
from urllib.parse import urlsplit

import psutil

from nightcure.simulate.scenario import scenario
from tests.browser.conftest import RunningDemo
from tests.door_campaign import A_SECOND, STREAMS, Person, _crowd

DAY_S = 86400.0
#: Handles and memory are looked at this often, s.
LOOK_S = 5.0
#: The crowd comes after so long, s, when a first night has run.
QUIET_S = 200.0


def status(port: int) -> dict[str, Any]:
    """What the page says now."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20.0)
    try:
        connection.request("GET", "/api/status")
        told: dict[str, Any] = json.loads(connection.getresponse().read())
        return told
    finally:
        connection.close()


def level(process: psutil.Process) -> tuple[float, int]:
    """Resident memory, MB, and open files."""
    return process.memory_info().rss / 1e6, process.num_fds()


def main() -> int:
    """Run the week, and print a row of each of its days."""
    days = float(sys.argv[1]) if len(sys.argv) > 1 else 7.0
    speed = float(sys.argv[2]) if len(sys.argv) > 2 else 500.0
    crowd_s = float(sys.argv[3]) if len(sys.argv) > 3 else 600.0
    profile = scenario()[1].model_dump(mode="json")
    spawn = multiprocessing.get_context("spawn")
    load, ends, rows = None, [], []
    demo = RunningDemo.start("--no-start", "--speed", str(speed))
    port = urlsplit(demo.address).port
    assert port is not None
    try:
        controller, page, person = psutil.Process(demo.process.pid), demo.page_server, Person(port)
        assert person.post("/api/login", {"passphrase": demo.passphrase})[0] == 200
        assert person.post("/api/cautions/accept")[0] == 200
        began_s, first_s, next_s = time.monotonic(), status(port)["wall_s"], 0.0
        while (now := status(port))["wall_s"] - first_s < days * DAY_S:
            oven_s, real_s = now["wall_s"] - first_s, time.monotonic() - began_s
            if oven_s >= next_s and now["phase"] in ("idle", "done"):
                ends.append(now["phase"])
                asked = {"profile": profile, "limit_device_confirmed": True}
                code, told = person.post("/api/commands/start", asked)
                assert code == 200, told
                next_s = oven_s + DAY_S
            if load is None and real_s > QUIET_S and crowd_s:
                args = (port, 0, STREAMS, A_SECOND, crowd_s)
                load = spawn.Process(target=_crowd, args=args, daemon=True)
                load.start()
            rows.append((oven_s / DAY_S, level(controller), level(page), now["phase"]))
            time.sleep(LOOK_S)
        ends.append(now["phase"])
        assert demo.process.poll() is None, "the demo has ended"
    finally:
        if load is not None:
            load.kill()
        demo.end()
    for day in range(math.ceil(days)):
        of = [r for r in rows if day <= r[0] < day + 1]
        if of:
            c_mb, c_files = max(r[1][0] for r in of), max(r[1][1] for r in of)
            p_mb, p_files = max(r[2][0] for r in of), max(r[2][1] for r in of)
            print(
                f"day {day + 1}: controller and oven {c_mb:.1f} MB, {c_files} handles; page "
                f"{p_mb:.1f} MB, {p_files} handles"
            )
    print(f"{len(ends) - 1} nights begun; each was found {', '.join(ends[1:])}")
    tripped = [r for r in rows if r[3] == "tripped"]
    return 1 if tripped else 0


if __name__ == "__main__":
    sys.exit(main())
