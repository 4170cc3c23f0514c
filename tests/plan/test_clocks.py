"""The clock over many nights against the one the controller runs, milestone by milestone."""

from __future__ import annotations

import numpy as np
import pytest

from nightcure.cure.card import load_card
from nightcure.cure.cure_clock import CureClock
from nightcure.plan.clocks import Clocks
from nightcure.plan.sampling import CARD_Z, banded

CARDS = [("polyester-laminating", 2.0), ("polyester-gelcoat", 1.7), ("epoxy-slow", None)]


@pytest.mark.parametrize(("card", "share"), CARDS)
def test_as_the_controllers_own(card: str, share: float | None) -> None:
    figures = load_card(card).figures(share)
    rng = np.random.default_rng(3)
    nights, minutes = 5, 1800
    walk = np.cumsum(rng.normal(0.0, 0.05, (minutes, nights)), axis=0)
    temps = 2.0 + 45.0 * np.minimum(np.arange(minutes) / 300.0, 1.0)[:, None] + walk
    together = Clocks(figures, (nights, 1), 90.0)
    alone = [CureClock(figures) for _ in range(nights)]
    degrees = [clock.degree() or 0.0 for clock in alone]
    for k in range(minutes):
        now_s = 60.0 * (k + 1)
        together.advance(now_s, 60.0, temps[k][:, None])
        for i, clock in enumerate(alone):
            dt_s = min(60.0, now_s - 90.0)
            if dt_s > 0.0:
                clock.advance(now_s, dt_s, float(temps[k, i]))
        if k in (100, 200):
            given = np.broadcast_to(together.given_j_per_kg(), (nights, 1))
            for i, clock in enumerate(alone):
                all_j = 0.0 if figures.self_heat is None else figures.self_heat.heat_j_per_kg_resin
                own = all_j * ((clock.degree() or 0.0) - degrees[i])
                # Only once all are past the edge where their cards' data begin (see below).
                assert k == 100 or given[i, 0] == pytest.approx(own, rel=0.01)
                degrees[i] = clock.degree() or 0.0
    compared = 0
    for i, clock in enumerate(alone):
        for name, at_s, _, _ in clock.whens():
            ours = together.reached_s[name][i, 0]
            assert np.isnan(ours) == (at_s is None), (name, ours, at_s)
            if at_s is not None:
                # Where the card's data begin the arrays share a minute out; the clock does not.
                assert ours == pytest.approx(at_s, abs=60.0 if name == "post-cured" else 15.0), name
                compared += 1
    assert compared >= 4 * nights


def test_what_is_due_is_foreseen_within_the_minute() -> None:
    clock = Clocks(load_card("polyester-laminating").figures(2.0), (1, 1), 0.0)
    warm_c = np.full((1, 1), 20.0)
    for k in range(19):
        clock.advance(60.0 * (k + 1), 60.0, warm_c)
    # The card's own row: 20 minutes at 20 °C with 2 %.
    assert clock.due_s("gelled", 19 * 60.0)[0, 0] == pytest.approx(1200.0, abs=0.1)
    assert np.isinf(clock.due_s("demould", 19 * 60.0)[0, 0])
    clock.advance(1200.5, 60.5, warm_c)
    assert clock.reached_s["gelled"][0, 0] == pytest.approx(1200.0, abs=0.1)


def test_a_band_is_met_at_its_ends_and_in_its_middle() -> None:
    z = np.array([-CARD_Z, 0.0, CARD_Z])
    assert banded(z, (0.7, 1.0, 1.4)) == pytest.approx([0.7, 1.0, 1.4])
