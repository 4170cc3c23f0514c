"""Nights by chance, recorded and verified: every one must be the same to the bit.

python -m tests.verify_campaign          100 nights on all cores, some minutes
python -m tests.verify_campaign 10       a sample

A night has, by chance, faults, power cuts, commands, steps of the wall clock, a stop, resins on
cards or the plainer regulator. In each then one bit of one recorded reading is flipped, which must
be found and named by its tick.
"""

from __future__ import annotations

import json
import random
import sqlite3
import struct
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import NamedTuple

from nightcure.cure.part import with_figures
from nightcure.ledger.reader import LedgerReader
from nightcure.profile import Profile, parse_profile
from nightcure.replay.verify import Verified, verify
from nightcure.simulate.faults import FAULTS
from tests.nights import SETTINGS, SHORT, changed, word
from tests.recording import RecordedOven

RESIN = parse_profile(with_figures({
        **SHORT.model_dump(mode="json"),
        "parts": [
            {"name": "Lid", "card": "polyester-laminating", "catalyst_pct": 2.0, "resin_kg": 0.8,
             "sensor": "Lid"},
        ],
        "box": {"volume_m3": 0.43, "evaporated_pct": 0.5},
    }))  # fmt: skip


class Tried(NamedTuple):
    """One night and what became of it."""

    number: int
    told: str
    ticks: int
    same: bool
    flipped_seq: int
    found_seq: int | None


def _chance(rng: random.Random) -> tuple[list[str], Profile, dict[str, object]]:
    known = [f for f in FAULTS if f not in ("clock-step", "ledger-full")]
    faults = []
    for name in rng.sample(known, rng.choice((0, 0, 1, 2))):
        length = f"+{rng.randint(1, 9)}min" if rng.random() < 0.7 else ""
        faults.append(f"{name}@{rng.randint(2, 60)}min{length}")
    sections = {"regulator": {"kind": "bang-bang"}} if rng.random() < 0.25 else {}
    return faults, RESIN if rng.random() < 0.4 else SHORT, dict(sections)


def record(number: int, ledger: Path, most_s: float = 5000.0) -> str:
    """Record night `number` into a ledger; what happened in it, in short."""
    rng = random.Random(number)
    faults, profile, sections = _chance(rng)
    settings = changed(SETTINGS, **sections)  # type: ignore[arg-type]
    told = [*faults, *sections, *(["cards"] if profile.parts else [])]
    with RecordedOven(ledger, settings, faults, seed=number) as oven:
        end_s = rng.uniform(0.4, 1.0) * most_s
        oven.run(60.0, profile=profile)
        while oven.t_s < end_s:
            oven.run(oven.t_s + 2.0 * rng.randint(20, 400))
            happening = rng.choice(("cut", "step", "acknowledge", "reset", "nothing", "nothing"))
            told.append(happening)
            if happening == "cut":
                oven.close()
                oven.t_s += 2.0 * rng.randint(5, 1200)
                oven.open()
            elif happening == "step":
                oven.wall_ahead_s += rng.choice((-1.0, 1.0)) * rng.uniform(3.0, 4000.0)
            elif happening != "nothing":
                oven.tick(word(happening, 100 + int(oven.t_s)))
        if rng.random() < 0.3:
            oven.tick(word("stop", 5))
        oven.run(oven.t_s + 20.0)
    return ", ".join(told)


def flip(ledger: Path, rng: random.Random) -> int:
    """Flip one bit of one recorded reading of night 1; its tick's number."""
    with sqlite3.connect(ledger) as db:
        rows = db.execute("SELECT seq, inputs FROM ticks WHERE night_id = 1").fetchall()
        while True:
            seq, text = rng.choice(rows)
            data = json.loads(text)
            reading = rng.choice(data["r"])
            if reading[0] is None:
                continue
            (bits,) = struct.unpack("<Q", struct.pack("<d", reading[0]))
            (value,) = struct.unpack("<d", struct.pack("<Q", bits ^ (1 << rng.randrange(64))))
            if value != value or value in (float("inf"), float("-inf")):
                continue
            reading[0] = value
            text = json.dumps(data, separators=(",", ":"))
            db.execute("UPDATE ticks SET inputs = ? WHERE night_id = 1 AND seq = ?", (text, seq))
            return int(seq)


def one(number: int) -> Tried:
    """Night `number`: record, verify, flip a bit, verify."""
    with tempfile.TemporaryDirectory() as folder:
        ledger = Path(folder) / "n.ledger"
        told = record(number, ledger)
        first: Verified = verify(LedgerReader(ledger), 1)
        seq = flip(ledger, random.Random(number))
        again = verify(LedgerReader(ledger), 1)
        found = again.differences[0].seq if again.differences else None
    return Tried(number, told, first.ticks, first.same, seq, found)


def main() -> int:
    """Print the tally; 1 if any night differed or any flipped bit was missed."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    with ProcessPoolExecutor() as pool:
        tried = list(pool.map(one, range(count)))
    differ = [t for t in tried if not t.same]
    missed = [t for t in tried if t.found_seq != t.flipped_seq]
    ticks = sum(t.ticks for t in tried)
    print(f"{count} nights, {ticks} ticks: {count - len(differ)} the same to the bit,")
    print(f"{count - len(missed)} of {count} flipped bits found at their tick")
    for t in {*differ, *missed}:
        print(f"  night {t.number} ({t.told}): flipped {t.flipped_seq}, found {t.found_seq}")
    return 1 if differ or missed else 0


if __name__ == "__main__":
    sys.exit(main())
