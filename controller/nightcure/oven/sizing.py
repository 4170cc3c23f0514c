"""Sizing: which heater an oven needs, and what too large a one costs."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from .response import modes
from .thermal import AIR, Network

#: Heaters that are sold, W.
SOLD_W = (
    60.0, 100.0, 150.0, 200.0, 250.0, 300.0, 400.0, 500.0, 600.0, 750.0, 1000.0, 1250.0, 1500.0,
    2000.0, 2500.0, 3000.0, 4000.0, 5000.0, 6000.0,
)  # fmt: skip
#: Fuses and contactors that are sold, A (common practice, no source).
FUSES_A = (2.0, 3.0, 5.0, 6.0, 10.0, 13.0, 16.0, 20.0, 25.0, 32.0, 40.0, 50.0, 63.0, 80.0, 100.0)
CONTACTORS_A = (6.0, 9.0, 12.0, 16.0, 20.0, 25.0, 32.0, 40.0, 50.0, 65.0, 80.0, 95.0, 115.0)
#: Mains may be 10 % low (EN 50160): power falls with its square.
LOW_MAINS = 0.81
#: A hot-air gun, for comparison: W, its element's °C (common practice, no source).
GUN_W, GUN_ELEMENT_C = 2000.0, 600.0
#: A coast is looked for over so many steps, of a share of the heater's lag each.
COAST_STEPS, COAST_STEPS_PER_LAG = 600, 20
#: A panel maker's limit; above the other a cut-out has no room below it (common practice, no
#: source).
SOFTENS_C, HOTTEST_HOLD_C = 80.0, 65.0
#: Styrene ignites by itself at 490 °C (NIOSH pocket guide).
STYRENE_IGNITES_C = 490.0


@dataclass(frozen=True)
class Candidate:
    """One heater in this oven."""

    what: str
    power_w: float
    hold_share: float
    """Duty to hold."""
    ramp_c_per_h: float
    """On arriving at the hold, see `Network.warmed_j_per_k`."""
    stuck_c: float
    """Where the air ends if the relay welds and nothing else acts."""
    coast_k: float
    """Rise after switching off at the worst moment, warming up from cold, see `coast`."""
    stored_kj: float
    """That heat: what goes on warming, and can go on igniting, after STOP."""
    current_a: float
    surface_c: float
    """Of the element in use, about."""


@dataclass(frozen=True)
class Sizing:
    """The watts needed and what they mean."""

    hold_w: float
    ramp_w: float
    needed_w: float
    """Hold and ramp together, with mains 10 % low."""
    recommended_w: float | None
    """The next heater sold; None if one alone does not do it."""
    current_a: float
    fuse_a: float
    contactor_a: float
    candidates: tuple[Candidate, ...]
    cautions: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """Plain values, rounded."""
        out = asdict(self)
        for key, value in out.items():
            if isinstance(value, float):
                out[key] = round(value, 2)
        for candidate in out["candidates"]:
            for key, value in candidate.items():
                if isinstance(value, float):
                    candidate[key] = round(value, 2)
        return out


def size(
    network: Network,
    hold_c: float,
    ambient_c: float,
    ramp_c_per_h: float,
    voltage_v: float = 230.0,
) -> Sizing:
    """The heater for a hold and a ramp that arrives there.

    Args:
        network: the oven with its moulds; its own heater's lag is kept, its power is not looked at.
        hold_c: to hold, above `ambient_c`.
        ramp_c_per_h: air and moulds at this rate up to the hold, walls following; 0 for none.
        voltage_v: of the local mains.

    Raises:
        ValueError: the hold is not above the ambient.
    """
    if hold_c <= ambient_c:
        raise ValueError(f"the hold, {hold_c:g} °C, is not above the ambient, {ambient_c:g} °C.")
    hold_w = network.loss_w_per_k * (hold_c - ambient_c)
    warmed = network.warmed_j_per_k
    ramp_w = warmed * ramp_c_per_h / 3600.0
    needed_w = (hold_w + ramp_w) / LOW_MAINS
    bigger = [w for w in SOLD_W if w >= needed_w]
    best_w = bigger[0] if bigger else None
    lag_s = network.heater_capacity_j_per_k / network.heater_air_w_per_k

    def candidate(what: str, watts: float, own_lag_s: float, above_k: float) -> Candidate:
        stored = watts * own_lag_s
        return Candidate(
            what=what,
            power_w=watts,
            hold_share=hold_w / watts,
            ramp_c_per_h=3600.0 * (watts - hold_w) / warmed,
            stuck_c=ambient_c + watts / network.loss_w_per_k,
            coast_k=coast(
                replace(
                    network,
                    power_w=watts,
                    heater_capacity_j_per_k=stored / above_k,
                    heater_air_w_per_k=watts / above_k,
                ),
                hold_c - ambient_c,
            ),
            stored_kj=stored / 1000.0,
            current_a=watts / voltage_v,
            surface_c=hold_c + above_k,
        )

    chosen_w = best_w or needed_w
    candidates = [candidate("black heat, as needed", chosen_w, lag_s, 100.0)]
    if best_w is not None:
        candidates += [candidate("twice as much", 2.0 * best_w, lag_s, 100.0)]
    candidates += [candidate("hot-air gun", GUN_W, 10.0, GUN_ELEMENT_C - hold_c)]
    current_a = chosen_w / voltage_v
    return Sizing(
        hold_w, ramp_w, needed_w, best_w, current_a,
        fuse_a=_next(1.25 * current_a, FUSES_A),
        contactor_a=_next(1.5 * current_a, CONTACTORS_A),
        candidates=tuple(candidates),
        cautions=_cautions(chosen_w, candidates[0], hold_c, best_w is None),
    )  # fmt: skip


def coast(network: Network, most_k: float) -> float:
    """How far the air goes on rising once its heater is off, K, at the worst moment.

    From an oven as cold as its shed, at full power until any air up to `most_k` above it: with h
    the answer to full power, the air peaks at the highest of h(on + after) - h(after).
    """
    m = modes(network)
    lag_s = network.heater_capacity_j_per_k / network.heater_air_w_per_k
    at_s = np.arange(2 * COAST_STEPS) * lag_s / COAST_STEPS_PER_LAG
    weight = m.to_nodes[AIR] * m.per_w * network.power_w / m.rates_per_s
    rise = (1.0 - np.exp(-np.outer(at_s, m.rates_per_s))) @ weight
    on = np.flatnonzero(rise[:COAST_STEPS] <= most_k)
    after = np.arange(COAST_STEPS)
    peaks = np.max(rise[on[:, None] + after] - rise[after], axis=1)
    return float(np.max(peaks - rise[on]))


def _next(least: float, sold: tuple[float, ...]) -> float:
    return next((x for x in sold if x >= least), least)


def _cautions(watts: float, chosen: Candidate, hold_c: float, several: bool) -> tuple[str, ...]:
    out = [
        f"A hot-air gun's element glows at about {GUN_ELEMENT_C:.0f} °C; styrene ignites by itself "
        f"at {STYRENE_IGNITES_C:.0f} °C. Black heat stays below 200 °C.",
        "A residual-current device, a fuse, and a thermal cut-out that works without any computer "
        "stand between this heater and the mains; a contactor in series with the relay, since a "
        "relay's usual death is to weld shut.",
    ]
    stuck = f"With a welded relay the air would end at {chosen.stuck_c:.0f} °C; "
    if hold_c > HOTTEST_HOLD_C:
        out.append(
            f"{stuck}foam board softens at {SOFTENS_C:.0f} °C, and a cut-out stands 5 K below that "
            f"and 10 K above the hold: hold {HOTTEST_HOLD_C:.0f} °C at the most in foam board."
        )
    elif chosen.stuck_c > SOFTENS_C:
        out.append(
            f"{stuck}foam board softens at {SOFTENS_C:.0f} °C: set the cut-out to "
            f"{min(hold_c + 15.0, SOFTENS_C - 5.0):.0f} °C."
        )
    if several:
        out.append(
            f"{watts:.0f} W is more than one heater here should have: use thicker board, tape the "
            f"gaps, or a slower ramp."
        )
    if watts >= 2000.0:
        out.append("2 kW and more wants a circuit of its own and a fitter's eye on the cable.")
    return tuple(out)
