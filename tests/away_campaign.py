"""A service away for long, in real time: `python -m tests.away_campaign [MINUTES]`.

The real controller and the real notifier; nights begin and end, so that there is something to tell
of. One service is away all the time, one hangs, one is well. In the end the first comes back: what
it gets must be what the well one got, in order. Meanwhile the controller's ticks are timed.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from itertools import pairwise
from pathlib import Path

from nightcure.ledger.reader import LedgerReader
from tests.notifier.services import LocalService
from tests.notifier.test_processes import address, telling
from tests.workshop import wait_for

EVERY_S = 20.0


def gaps_s(ledger: Path) -> list[float]:
    """From tick to tick, of every night."""
    reader = LedgerReader(ledger)
    found: list[float] = []
    for night in reader.nights(limit=1000):
        times = reader.columns(night["id"], "mono_s")["mono_s"]
        found += [b - a for a, b in pairwise(times)]
    return found


def main() -> None:
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    well, away, hangs = LocalService(), LocalService(), LocalService()
    away.down()
    hangs.hangs_s = 120.0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        named = {"well": address(well), "away": address(away), "hangs": address(hangs)}
        with telling(folder, **named) as (one, _):
            end_s = time.monotonic() + 60.0 * minutes
            while time.monotonic() < end_s:
                one.begin()
                time.sleep(EVERY_S)
                one.shop.command("stop")
            one.begin()
            time.sleep(4.0)
            one.overheat()
            wait_for(lambda: any("tripped" in t for t in well.titles()), 60, "the trip")
            trip_s = one.trip_s()
            assert trip_s is not None
            at_s = next(at for at, m in well.taken if "tripped" in m["title"])
            gaps = sorted(gaps_s(one.shop.ledger))
            count = len(set(well.numbers()))
            print(f"{minutes:g} min away: {count} messages", flush=True)
            print(f"trip to the well one {at_s - trip_s:.2f} s")
            print(
                f"ticks {len(gaps)}: median {statistics.median(gaps):.3f} s, 99 % below "
                f"{gaps[int(0.99 * len(gaps))]:.3f} s, longest {gaps[-1]:.3f} s"
            )
            print(f"the page: {one.failing()}")
            away.up()
            back_s = wait_for(lambda: len(set(away.numbers())) >= count, 120, "all of it")
            numbers = away.numbers()
            assert numbers == sorted(numbers)
            assert away.titles() == well.titles()
            print(
                f"back: {len(numbers)} in {back_s:.1f} s, in order, doubles {len(numbers) - count}"
            )
    for service in (well, away, hangs):
        service.down()


if __name__ == "__main__":
    main()
