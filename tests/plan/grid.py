"""--advise against a grid: the same nights, every profile of a lattice."""

from __future__ import annotations

import itertools
import time
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from nightcure.plan.advise import KINDS, SEARCH_NIGHTS, SLOWEST_C_PER_H, Kind, Search
from nightcure.plan.pool import worker_pool
from nightcure.plan.sampling import Spreads, draw
from nightcure.plan.tonight import Tonight, falling_to, tonight
from nightcure.profile import load_profile
from nightcure.simulate.scenario import PARTS_FILE
from tests.nights import SETTINGS

#: Temperatures, ramps, shares of the longest soak: 2000 profiles.
GRID = (20, 10, 10)
WITHIN = 0.02


def a_night(goal: str = "full", hours: float = 13.0) -> Tonight:
    """Full cure of lid and rim in a cold shed: neither trivial nor hopeless."""
    parts = load_profile(PARTS_FILE).parts
    return tonight(SETTINGS, parts, falling_to(2.0, 36_000.0, 9.0), goal, hours * 3600.0)


def against(
    t: Tonight, grid: tuple[int, int, int], nights: int = SEARCH_NIGHTS
) -> tuple[dict[Kind, tuple[float, float]], float, int]:
    """Each kind by the search and by the grid; the search took so many s and tried so many."""
    sampled = draw(t, Spreads(), nights, 1)
    with ProcessPoolExecutor(2) as pool, worker_pool(pool) as workers:
        began = time.perf_counter()
        search = Search(t, sampled, workers, None)
        found = search.go()
        took_s = time.perf_counter() - began
        other = Search(t, sampled, workers, None)
        room = other.room
        axes = (
            np.linspace(room.coldest_c, room.warmest_c, grid[0]),
            np.linspace(SLOWEST_C_PER_H, room.steepest_c_per_h, grid[1]),
            np.linspace(0.05, 1.0, grid[2]),
        )
        other.run(other.at(float(a), float(b), float(c)) for a, b, c in itertools.product(*axes))
    figures = {
        kind: (found[kind].figures[kind], other.best(kind)[0].figures[kind]) for kind in KINDS
    }
    return figures, took_s, len(search.known)


def tell() -> bool:
    """Print the comparison; whether the search is at least as good within two per cent."""
    figures, took_s, tried = against(a_night(), GRID)
    fine = True
    for kind, (ours, theirs) in figures.items():
        fine &= ours <= theirs * (1.0 + WITHIN)
        print(f"{kind}: search {ours:.4g}, grid of {np.prod(GRID)} profiles {theirs:.4g}")
    print(f"{tried} profiles tried in {took_s:.0f} s")
    return fine
