"""Tests of the switches on ovens by chance: the verdict against what was true of the contacts.

python -m tests.campaign switches 200
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor
from functools import partial
from typing import NamedTuple

from nightcure.loop.commands import ALL_CONFIRMED
from nightcure.loop.loop import Loop
from nightcure.simulate.faults import FaultAt
from nightcure.simulate.virtual import VirtualOven
from nightcure.tick import Command, Phase, Reading, TickInputs
from tests.campaign.ovens import Draw, drawn_oven

#: What is true of the contacts -> the faults that make it so.
CONTACTS: dict[str, tuple[str, ...]] = {
    "sound": (),
    "relay welded": ("relay-welded",),
    "contactor welded": ("contactor-welded",),
    "both welded": ("relay-welded", "contactor-welded"),
    "no heat": ("relay-stuck-open",),
}
#: The verdicts that are right for each; air that moves may forbid a test of any.
RIGHT: dict[str, set[str]] = {
    "sound": {"passed", "not tested"},
    "relay welded": {"relay", "not tested"},
    "contactor welded": {"contactor", "not tested"},
    "both welded": {"relay", "contactor", "not tested"},
    "no heat": {"no heat", "not tested"},
}
TICK_S, LONGEST_S = 2.0, 5 * 3600.0


class Tried(NamedTuple):
    """A test of the switches."""

    index: int
    contacts: str
    verdict: str
    took_s: float
    loose_j: float
    """Heat that flowed while not both switches were told to close."""
    power_w: float

    @property
    def right(self) -> bool:
        """Whether the verdict is that of the contacts."""
        return self.verdict in RIGHT[self.contacts]


def tried(seed: int, index: int) -> list[Tried]:
    """An oven in a shed whose air drifts, perhaps still warm: every state of its contacts."""
    d = Draw(seed, index)
    oven = drawn_oven(d)
    shed_c, drift, drifts_s = d.between(2.0, 18.0), d.between(-3.0, 3.0), d.between(1800.0, 7200.0)
    start_c = shed_c + d.one((0.0, 0.0, 0.0, 8.0, 20.0))
    found = []
    for contacts, faults in CONTACTS.items():
        if "contactor-welded" in faults and oven.settings.contactor is None:
            continue
        virtual = VirtualOven(
            oven.plant, oven.settings.thermometers,
            lambda t_s: shed_c + drift * min(t_s, drifts_s) / 3600.0,
            index, [FaultAt(name, 0.0) for name in faults], start_c, oven.probes,
        )  # fmt: skip
        found.append(_tried(Loop(oven.settings), virtual, index, contacts, start_c))
    return found


def _tried(loop: Loop, oven: VirtualOven, index: int, contacts: str, start_c: float) -> Tried:
    soak = {"kind": "soak", "at_c": max(math.floor(start_c), 0), "hours": 4.0}
    profile = {"name": "Switches", "segments": [soak]}
    start = Command(1, "start", {"profile": profile, "test": "switches", **ALL_CONFIRMED}, "test")
    t_s = loose_j = 0.0
    said: list[str] = []
    while t_s < LONGEST_S:
        readings = tuple([Reading(s.value_c, t_s, s.fault) for s in oven.sense()])
        d = loop.tick(TickInputs(t_s, 1e9 + t_s, readings, (start,) if t_s == 0.0 else ()))
        said += [e.message for e in d.events]
        both = d.heater_on and (d.contactor_on or loop.settings.contactor is None)
        before_j = oven.energy_j
        oven.step(TICK_S, d.heater_on, d.contactor_on or loop.settings.contactor is None)
        loose_j += 0.0 if both else oven.energy_j - before_j
        if d.phase is not Phase.SOAK:
            break
        t_s += TICK_S
    told = " ".join(said)
    if d.phase is Phase.DONE:
        verdict = "passed" if "Switches tested: " in told else "done"
    elif d.trip is not None:
        contactor = "Contactor stuck on" in told
        stuck = "contactor" if contactor else "relay"
        verdict = stuck if d.trip == "heater-stuck-on" else d.trip
    elif "Nothing is proven" in told:
        verdict = "no heat"
    else:
        verdict = "not tested" if "Not tested: " in told else "?"
    return Tried(index, contacts, verdict, t_s, loose_j, loop.settings.heater.power_w)


def main(count: int, seed: int, first: int, pool: Executor) -> int:
    """Run, print a table, and fail where a verdict is wrong."""
    wrong = 0
    tally: Counter[tuple[str, str]] = Counter()
    minutes: dict[str, list[float]] = {contacts: [] for contacts in CONTACTS}
    for found in _all(count, seed, first, pool):
        for t in found:
            tally[t.contacts, t.verdict] += 1
            minutes[t.contacts].append(t.took_s / 60.0)
            if not t.right:
                wrong += 1
                print(f"wrong: --seed {seed} --first {t.index}: {t.contacts}, told '{t.verdict}'")
    for (contacts, verdict), number in sorted(tally.items()):
        print(f"{contacts:17} {verdict:20} {number:5}")
    for contacts, took in minutes.items():
        took.sort()
        print(f"{contacts:17} median {took[len(took) // 2]:.0f} min, longest {took[-1]:.0f}")
    print(f"{sum(tally.values()) - wrong} of {sum(tally.values())} verdicts right")
    return 1 if wrong else 0


def _all(count: int, seed: int, first: int, pool: Executor) -> Iterator[Sequence[Tried]]:
    yield from pool.map(partial(tried, seed), range(first, first + count))
