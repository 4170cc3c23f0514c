"""Sizing: which heater an oven needs, and what too large a one costs."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from ..settings import MARGIN_K, MOST_CUT_OUT_C
from .installation import most_power_w, stuck_on_c
from .mains import Circuit, circuit
from .meaning import LOW_MAINS
from .response import modes
from .thermal import AIR, Network

#: Heaters that are sold, W.
SOLD_W = (
    60.0, 100.0, 150.0, 200.0, 250.0, 300.0, 400.0, 500.0, 600.0, 750.0, 1000.0, 1250.0, 1500.0,
    2000.0, 2500.0, 3000.0, 4000.0, 5000.0, 6000.0,
)  # fmt: skip
#: A shed on the warmest day on which an oven is used, where nobody says.
WARMEST_C = 30.0
#: A hot-air gun, for comparison: W, its element's °C (common practice, no source).
GUN_W, GUN_ELEMENT_C = 2000.0, 600.0
#: A coast is looked for over so many steps, of a share of the heater's lag each.
COAST_STEPS, COAST_STEPS_PER_LAG = 600, 20
#: Above this a cut-out, and the air's limit below it, have no room.
HOTTEST_HOLD_C = MOST_CUT_OUT_C - 2.0 * MARGIN_K
#: Styrene ignites by itself at 490 °C (ICSC 0073).
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
    """Where the air ends on the warmest day if the relay welds and nothing else acts."""
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
    most_w: float
    """A heater stuck on brings the box to 70 °C on the warmest day, no further, with this."""
    recommended_w: float | None
    """The next heater sold, or `most_w` rounded down where that is less and holds; None where no
    single heater does it."""
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
    warmest_c: float = WARMEST_C,
    cut_outs: int = 1,
) -> Sizing:
    """The heater for a hold and a ramp that arrives there.

    Args:
        network: the oven with its moulds; its own heater's lag is kept, its power is not looked at.
        hold_c: to hold, above `ambient_c`.
        ramp_c_per_h: air and moulds at this rate up to the hold, walls following; 0 for none.
        voltage_v: of the local mains.
        warmest_c: the shed on the warmest day on which the oven is used.
        cut_outs: how many independent ones there are; with two a heater may be stronger than
            `Sizing.most_w`.

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
    most_w = most_power_w(network.loss_w_per_k, warmest_c)
    if cut_outs < 2 and (best_w is None or best_w > most_w):
        # Not a size that is sold, but several small ones make it up.
        best_w = 5.0 * (most_w // 5.0) if LOW_MAINS * most_w >= hold_w else None
    lag_s = network.heater_capacity_j_per_k / network.heater_air_w_per_k

    def candidate(what: str, watts: float, own_lag_s: float, above_k: float) -> Candidate:
        stored = watts * own_lag_s
        return Candidate(
            what=what,
            power_w=watts,
            hold_share=hold_w / watts,
            ramp_c_per_h=3600.0 * (watts - hold_w) / warmed,
            stuck_c=stuck_on_c(watts, network.loss_w_per_k, warmest_c),
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
    chosen = circuit(chosen_w, voltage_v)
    return Sizing(
        hold_w, ramp_w, needed_w, most_w, best_w, chosen.current_a,
        fuse_a=chosen.fuse_a,
        contactor_a=chosen.contactor_a,
        candidates=tuple(candidates),
        cautions=_cautions(
            chosen, candidates[0], hold_c, most_w, warmest_c, cut_outs,
            best_w is None, best_w is not None and best_w < needed_w,
        ),
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


def _cautions(
    chosen: Circuit,
    candidate: Candidate,
    hold_c: float,
    most_w: float,
    warmest_c: float,
    cut_outs: int,
    several: bool,
    slow: bool,
) -> tuple[str, ...]:
    watts = candidate.power_w
    out = [
        f"A hot-air gun's element glows at about {GUN_ELEMENT_C:.0f} °C; styrene ignites by itself "
        f"at {STYRENE_IGNITES_C:.0f} °C. Black heat stays below 200 °C.",
        "A residual-current device, a fuse, and a thermal cut-out that works without any computer "
        "stand between this heater and the mains; a contactor in series with the relay, since a "
        "relay's usual death is to weld shut.",
    ]
    stuck = (
        f"Stuck on, on a day of {warmest_c:.0f} °C, it would bring the air to "
        f"{candidate.stuck_c:.0f} °C; "
    )
    if watts <= most_w:
        out.append(f"{stuck}that is no more than the {MOST_CUT_OUT_C:.0f} °C foam board bears.")
    elif cut_outs >= 2:
        out.append(
            f"{stuck}foam board bears {MOST_CUT_OUT_C:.0f} °C. Only the two independent cut-outs "
            f"that you declared stand between: test both, every year."
        )
    else:
        out.append(
            f"{stuck}foam board bears {MOST_CUT_OUT_C:.0f} °C, which {most_w:.0f} W reach. More "
            f"watts only with two independent cut-outs; else thicker board, taped "
            f"gaps, or a lower soak."
        )
    if several:
        out.append(
            f"{watts:.0f} W is more than one heater here should have: use thicker board, tape the "
            f"gaps, or a slower ramp."
        )
    if slow:
        out.append(
            f"{watts:.0f} W hold it and warm it more slowly than asked, by up to "
            f"{candidate.ramp_c_per_h:.0f} °C/h on arriving at the hold: give the profile slower "
            f"ramps."
        )
    if hold_c > HOTTEST_HOLD_C:
        out.append(
            f"The cut-out is set to {MOST_CUT_OUT_C:.0f} °C at the most and the hottest soak stays "
            f"{2 * MARGIN_K:.0f} K below it: hold {HOTTEST_HOLD_C:.0f} °C at the most."
        )
    else:
        out.append(
            f"Set the cut-out to {hold_c + 2 * MARGIN_K:.0f} °C to {MOST_CUT_OUT_C:.0f} °C: the "
            f"air's limit stays {MARGIN_K:.0f} K below it and the soak {MARGIN_K:.0f} K below that."
        )
    if not chosen.on_a_plug:
        out.append(
            f"{chosen.current_a:.0f} A for hours is more than a household plug bears: a circuit "
            f"of its own, by an electrician."
        )
    return tuple(out)
