"""The gel cup: what its own warming does, what it shows of a batch, what is refused.

The cup is held against an independent integration of its own equations by scipy; how early cups
gel against 15-30 % for polyester and two to three times for 100 g of epoxy (common practice, no
source).
"""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from nightcure.cure.card import load_card
from nightcure.cure.clock_figures import ClockFigures
from nightcure.cure.gel_cup import CupStart, GelCup, GelFactor, refused_cup, stood
from nightcure.cure.rate import TimeTable
from nightcure.errors import BadInput

POLYESTER = load_card("polyester-laminating").figures(2.0)
EPOXY = load_card("epoxy-fast").figures(None)


def start(figures: ClockFigures = POLYESTER, grams: float = 50.0, held: str = "cup") -> CupStart:
    told = {"batch": "PL", "figures": figures, "grams": grams, "stands_c": 20.0, "held": held}
    return CupStart.model_validate(told)


def gelled(
    minutes: float, at_c: float, held: str = "cup", looks: tuple[float, ...] = ()
) -> GelFactor:
    cup = GelCup(start(held=held))
    for tick in range(round(30 * minutes)):
        cup.advance(2.0, at_c)
        if tick / 30 in looks:
            cup.liquid()
    return cup.gelled()


def solved_min(figures: ClockFigures, grams: float, at_c: float, factor: float) -> float:
    """When a cup gels, by scipy's stiff solver, min."""
    heat = figures.self_heat
    assert heat is not None
    table = TimeTable(figures.gel_min, figures.cure_kj_per_mol)
    kg, loss = grams / 1000.0, 0.098 * (grams / 100.0) ** (2 / 3)

    def slope(_: float, y: np.ndarray) -> list[float]:
        card_min = table.at(at_c + y[1])
        assert card_min is not None
        rate = 1.0 / (60.0 * factor * card_min)
        heat_w = kg * heat.heat_j_per_kg_resin * heat.gel_degree * 2.0 * y[0] * rate
        return [rate, (heat_w - loss * y[1]) / (kg * 1700.0)]

    def there(_: float, y: np.ndarray) -> float:
        return float(y[0] - 1.0)

    there.terminal = True  # type: ignore[attr-defined]
    run = solve_ivp(slope, (0.0, 1e6), [0.0, 0.0], "Radau", events=there, rtol=1e-8)
    return float(run.t_events[0][0]) / 60.0


@pytest.mark.parametrize("grams", [10.0, 50.0, 100.0])
@pytest.mark.parametrize(("at_c", "factor"), [(15.0, 1.0), (20.0, 0.6), (20.0, 1.7), (25.0, 1.0)])
def test_a_cup_gels_as_its_equations_have_it(grams: float, at_c: float, factor: float) -> None:
    found = stood(start(grams=grams), at_c).gels_min(factor)
    assert found == pytest.approx(solved_min(POLYESTER, grams, at_c, factor), rel=0.01)


@pytest.mark.parametrize("name", ["polyester-laminating", "polyester-gelcoat", "vinyl-ester"])
@pytest.mark.parametrize("grams", [10.0, 100.0])
@pytest.mark.parametrize("at_c", [18.0, 20.0, 22.0])
def test_polyester_gels_15_to_30_percent_early(name: str, grams: float, at_c: float) -> None:
    cup = stood(start(load_card(name).figures(1.5), grams), at_c)
    assert 0.70 <= cup.gels_min(1.0) / cup.gels_min(1.0, film=True) <= 0.88


def test_epoxy_in_bulk_is_refused_and_a_film_or_a_probe_is_not() -> None:
    cup = stood(start(EPOXY, 100.0), 20.0)
    assert 1.0 / 3.5 <= cup.gels_min(1.0) / cup.gels_min(1.0, film=True) <= 1.0 / 2.0
    assert "film of at most 3 mm" in refused_cup(start(EPOXY, 100.0))
    assert refused_cup(start(EPOXY, 100.0, "film")) == ""
    assert refused_cup(start(EPOXY, 100.0, "probe")) == ""
    assert refused_cup(start(POLYESTER, 100.0)) == ""


@pytest.mark.parametrize("factor", [0.6, 1.0, 1.6])
@pytest.mark.parametrize("at_c", [16.0, 22.0])
def test_a_batch_is_found_as_it_is(factor: float, at_c: float) -> None:
    """Seen to the minute; the sooner a cup gels, the more a minute or two matter and the card's
    band pulls."""
    minutes = round(solved_min(POLYESTER, 50.0, at_c, factor))
    found = gelled(minutes, at_c)
    assert found.likely == pytest.approx(factor, rel=0.07 + 2.0 / minutes)
    assert found.low < 1.1 * factor
    assert 0.95 * factor < found.high
    assert found.high / found.low < (1.6 if minutes > 14 else 2.0)
    table = TimeTable(POLYESTER.gel_min, POLYESTER.cure_kj_per_mol)
    at, minutes = found.gel_row
    assert at == at_c
    assert minutes == pytest.approx(found.likely * (table.at(at_c) or 0.0), rel=0.01)


def test_its_own_warming_is_taken_out() -> None:
    """Taken as a film, the same cup would have said a fifth too quick."""
    minutes = round(solved_min(POLYESTER, 50.0, 20.0, 1.0))
    assert gelled(minutes, 20.0).likely == pytest.approx(1.0, abs=0.05)
    assert gelled(minutes, 20.0, "film").likely < 0.86


def test_still_liquid_tells_something_and_a_look_before_the_gel_more() -> None:
    cup = GelCup(start())
    for _ in range(30 * 25):
        cup.advance(2.0, 20.0)
    liquid = cup.liquid()
    assert liquid.likely > 1.15
    late = gelled(30.0, 20.0)
    between = gelled(30.0, 20.0, looks=(20.0,))
    assert between.likely < late.likely


def test_what_tells_nothing_is_refused_and_the_cup_goes_on() -> None:
    cup = GelCup(start())
    cup.advance(60.0, 20.0)
    with pytest.raises(BadInput, match="two minutes"):
        cup.gelled()
    for _ in range(5):
        cup.advance(60.0, 8.0)
    with pytest.raises(BadInput, match="colder than 10 °C"):
        cup.gelled()
    for _ in range(60):
        cup.advance(60.0, 20.0)
    assert cup.gelled().likely > 1.0
    with pytest.raises(BadInput, match="already"):
        cup.liquid()


def test_a_snapshot_restores_to_the_bit() -> None:
    cup = GelCup(start())
    for i in range(300):
        cup.advance(2.0, 18.0 + 0.01 * i)
    again = GelCup.restore(json.loads(json.dumps(cup.snapshot())))
    for c in (cup, again):
        for _ in range(200):
            c.advance(2.0, 20.0)
        c.liquid()
        for _ in range(200):
            c.advance(2.0, 20.0)
    assert cup.gelled() == again.gelled()
    assert cup.snapshot() == again.snapshot()
    assert math.isfinite(cup.log_likelihoods([-2.0, 0.0, 2.0])[0])
