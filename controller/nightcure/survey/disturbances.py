"""What else moved the air while a test was noted: a door, and times without a row.

A door is looked for by what it leaves behind: heat robbed from the air within some minutes, after
which the box goes on by its own law. The rows in it, and just after, are left out of the fit; how
much heat it took is one more unknown. A time without a row in which the heater's state is not
known is one, too.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..errors import BadInput
from ..oven.arrays import Array
from ..oven.response import modes
from ..oven.thermal import AIR
from .fit import HEATS, Disturbed, Fit, Problem, fit, network_of, predicted, with_disturbed
from .log import Log

#: A door stands open so long, s; a longer one is another box.
DOOR_S = (60.0, 120.0, 180.0, 300.0, 480.0, 720.0, 1200.0, 1800.0)
#: So long after it the air's own eddies and a wall's skin are still in the reading, s.
SETTLES_S = 120.0
#: A time without a row is one if it is so many times the usual one, and as long as this, s.
GAP_TIMES, GAP_S = 5.0, 300.0
THIRDS = 3
#: With fewer rows a door cannot be told from a slip of the pen.
DOOR_ROWS = 60
#: A door is believed where it explains so much: the logarithm of how much likelier the other rows
#: are with it, doubled, residuals' memory counted. Doors of a minute come to 1000 and more, what a
#: model of few nodes leaves over to 70.
DOOR_EVIDENCE = 100.0
#: Where a door is looked for: at so many times.
LOOKED_AT = 240


def gaps(log: Log) -> tuple[Disturbed, ...]:
    """Times without a row in which the heater's share is not known: it was on before or after.

    Each in thirds, for it matters how lately the heat was given. Where the switchings were noted
    besides the rows, the heater is known all along.

    Raises:
        BadInput: more gaps than can be fitted; what would do.
    """
    if not np.array_equal(log.heat_time_s, log.time_s):
        return ()
    apart = np.diff(log.time_s)
    longest = max(GAP_S, GAP_TIMES * float(np.median(apart)))
    found = [
        i for i in np.flatnonzero(apart > longest) if log.heat[i] > 0.0 or log.heat[i + 1] > 0.0
    ]
    if len(found) * THIRDS > len(HEATS):
        times = ", ".join(f"{(log.time_s[i] - log.time_s[0]) / 60.0:.0f} min" for i in found)
        raise BadInput(
            f"{log.name}: rows are missing after {times}, with the heater on before or after, so "
            f"that nobody knows what it gave meanwhile. Give its switchings with --on and --off, "
            f"or note the test again."
        )
    return tuple(
        Disturbed(float(ends[k]), float(ends[k + 1]), "gap")
        for i in found
        for ends in [np.linspace(log.time_s[i], log.time_s[i + 1], THIRDS + 1)]
        for k in range(THIRDS)
    )


def settled(problem: Problem, best: Fit, known: tuple[Disturbed, ...]) -> tuple[Problem, Fit]:
    """Look for openings of the door that nobody noted, and fit again with those that were found.

    Args:
        problem: with the gaps `known` in it.
        best: the fit to it with three time constants.

    Returns:
        The problem with the doors in it, and the fit to that.
    """
    if len(problem.rows) < DOOR_ROWS:
        return problem, best
    found = known
    while len(found) < len(HEATS):
        door = _likeliest(problem, best)
        if door is None:
            break
        counted = _counted(problem, (*found, door))
        tried = with_disturbed(problem, (*found, door), counted)
        again = fit(tried, 3, (best.unknowns,), 2)
        before = _misfit(problem, best, counted)
        after = float(np.mean(again.residuals_c**2))
        evidence = len(again.residuals_c) / again.inflation * np.log(before / after)
        if evidence < DOOR_EVIDENCE:
            break
        problem, best, found = tried, again, (*found, door)
    return problem, best


def _counted(problem: Problem, disturbed: tuple[Disturbed, ...]) -> NDArray[np.bool_]:
    """Rows outside every door."""
    time_s = problem.time_s[problem.rows]
    out = np.ones(len(time_s), bool)
    for d in disturbed:
        if d.by == "door":
            out &= (time_s < d.from_s) | (time_s > d.to_s + SETTLES_S)
    return out


def _misfit(problem: Problem, best: Fit, counted: NDArray[np.bool_]) -> float:
    off_c = problem.air_c - predicted(problem, best.unknowns, best.order)[0]
    return float(np.mean(off_c[counted] ** 2))


def _likeliest(problem: Problem, best: Fit) -> Disturbed | None:
    """Where a door explains most of what is left over, everything else fitted anew (linearised)."""
    time_s = problem.time_s[problem.rows]
    counted = np.ones(len(time_s), bool) if problem.counted is None else problem.counted
    left_c = (problem.air_c - predicted(problem, best.unknowns, best.order)[0])[counted]
    rows_s = time_s[counted]
    sigma_c = max(1.4826 * float(np.median(np.abs(left_c))), 0.05)
    slopes = []
    for i in best.free:
        up, down = best.unknowns.copy(), best.unknowns.copy()
        up[i], down[i] = up[i] + 1e-3, down[i] - 1e-3
        change = predicted(problem, up, best.order)[0] - predicted(problem, down, best.order)[0]
        slopes.append(change[counted] / 2e-3)
    # The unknowns' own rows: what was believed of them holds here, too.
    free = list(best.free)
    believed = np.diag(sigma_c / problem.prior_sd[free])
    basis, _ = np.linalg.qr(np.vstack([np.stack(slopes, axis=1), believed]))
    off = np.concatenate([left_c, believed @ (problem.prior_mid - best.unknowns)[free]])

    def explained(starts_s: Array) -> Disturbed | None:
        most, door = 0.0, None
        for length_s in DOOR_S:
            shape = _pulses(best, rows_s, starts_s, starts_s + length_s)
            shape = np.vstack([shape, np.zeros((len(free), len(starts_s)))])
            shape -= basis @ (basis.T @ shape)
            along = shape.T @ (off - basis @ (basis.T @ off))
            whole = along**2 / np.maximum(np.sum(shape**2, axis=0), 1e-12)
            at = int(np.argmax(whole))
            if whole[at] > most and along[at] < 0.0:
                most = float(whole[at])
                door = Disturbed(float(starts_s[at]), float(starts_s[at] + length_s), "door")
        return door

    every_s = (rows_s[-1] - rows_s[0]) / LOOKED_AT
    rough = explained(np.arange(rows_s[0], rows_s[-1] - DOOR_S[0], every_s))
    if rough is None:
        return None
    near = rows_s[np.abs(rows_s - rough.from_s) <= max(every_s, 180.0)]
    return explained(np.append(near, rough.from_s))


def _pulses(best: Fit, rows_s: Array, from_s: Array, to_s: Array) -> Array:
    """What a watt into the air between two times (doors,) does to it at the rows, (rows, doors)."""
    m = modes(network_of(best.unknowns, 1.0, best.order))
    out = np.zeros((len(rows_s), len(from_s)))
    for rate, given, shown in zip(m.rates_per_s, m.per_air_w, m.to_nodes[AIR], strict=True):
        since = np.maximum(rows_s[:, None] - from_s[None, :], 0.0)
        until = np.maximum(rows_s[:, None] - to_s[None, :], 0.0)
        out += shown * given / rate * (np.exp(-rate * until) - np.exp(-rate * since))
    return out
