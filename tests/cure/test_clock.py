"""The cure clock against published ages, closed forms and what builders see in cold sheds."""

from __future__ import annotations

import json
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nightcure.cure.card import load_card
from nightcure.cure.cure_clock import CureClock
from nightcure.cure.history import equivalent_min, run_clock
from nightcure.cure.rate import TimeTable, activation_kj_per_mol, faster

LAMINATING = load_card("polyester-laminating").figures(2.0)
DAY_S = 86400.0


def fib_age_d(history: list[tuple[float, float]]) -> float:
    """Equivalent age of fib Model Code 2010, eq. 5.1-85, by `equivalent_min`.

    sum dt exp(13.65 - 4000/(273 + T)): an Arrhenius law of 4000 R about 4000/13.65 K, with 273
    for 273.15, which 0.15 K put right.
    """
    kj_per_mol = 4000.0 * 8.314462618 / 1000.0
    shifted = [(t, c - 0.15) for t, c in history]
    return equivalent_min(kj_per_mol, 4000.0 / 13.65 - 273.15, shifted) / 1440.0


def test_equivalent_age_of_concrete() -> None:
    """15.7723 d: fib Model Code 2010 eq. 5.1-85, the value of a test of structuralcodes."""
    week = 7.0 * DAY_S
    history = [(0.0, 20.0), (week, 20.0), (week + 1e-6, 25.0), (2.0 * week + 1e-6, 25.0)]
    assert fib_age_d(history) == pytest.approx(15.7723, abs=1e-4)


@pytest.mark.parametrize(("temp_c", "factor"), [(10.0, 0.61614), (40.0, 2.38798)])
def test_age_factors_of_concrete(temp_c: float, factor: float) -> None:
    """fib Model Code 2010, eq. 5.1-85, evaluated."""
    assert fib_age_d([(0.0, temp_c), (DAY_S, temp_c)]) == pytest.approx(factor, abs=2e-5)


def test_doubling_per_10_k() -> None:
    """52.9 kJ/mol doubles from 25 to 35 °C; 50 kJ/mol gives 1.925 (computed from Arrhenius)."""
    assert activation_kj_per_mol(25.0, 2.0, 35.0, 1.0) == pytest.approx(52.9, rel=0.005)
    assert faster(50.0, 35.0, 25.0) == pytest.approx(1.925, abs=0.001)
    assert activation_kj_per_mol(15.0, 2.0, 25.0, 1.0) == pytest.approx(49.5, rel=0.005)


def test_three_doublings_over_30_k() -> None:
    """Q10 = 2: 730 d at 25 °C are 91.25 d at 55 °C (accelerated ageing's arithmetic, evaluated)."""
    energy = activation_kj_per_mol(25.0, 730.0, 55.0, 91.25)
    assert faster(energy, 55.0, 25.0) == pytest.approx(2.0**3)
    assert TimeTable([(25.0, 730.0)], energy).at(55.0) == pytest.approx(91.25)
    assert 52.9 < energy < 59.0  # as a doubling from 25 to 35 needs, and no more than up to 65


def test_generic_polyester_follows_its_closed_form() -> None:
    """A gel of 20 min at 20 °C and demould at 180 min: on the minute; doubling by its energy."""
    clock = run_clock(LAMINATING, [(0.0, 20.0), (12 * 3600.0, 20.0)])
    found = {w.name: w.at_s for w in clock.whens()}
    assert found["gelled"] == pytest.approx(1200.0, abs=1e-6)
    assert found["demould"] == pytest.approx(10800.0, abs=1e-6)
    assert clock.equivalent_min == pytest.approx(720.0)
    warm = run_clock(LAMINATING, [(0.0, 25.0), (12 * 3600.0, 25.0)])
    demould = {w.name: w.at_s for w in warm.whens()}["demould"]
    assert demould == pytest.approx(60.0 * (12.0 + 160.0 / faster(50.0, 25.0, 20.0)), rel=1e-6)


def test_the_band_surrounds_the_likely_time() -> None:
    clock = run_clock(LAMINATING, [(0.0, 22.0), (40 * 3600.0, 22.0)])
    for when in clock.whens():
        if when.name == "post-cured":
            continue
        assert when.low_s is not None
        assert when.at_s is not None
        assert when.low_s < when.at_s
        assert when.high_s is None or when.at_s < when.high_s


def test_steps_do_not_matter() -> None:
    """One step or a thousand at one temperature: the same clock."""
    coarse, fine = CureClock(LAMINATING), CureClock(LAMINATING)
    coarse.advance(36000.0, 36000.0, 18.0)
    for i in range(1000):
        fine.advance(36.0 * (i + 1), 36.0, 18.0)
    for a, b in zip(coarse.whens(), fine.whens(), strict=True):
        for x, y in zip(a[1:], b[1:], strict=True):
            assert (x is None and y is None) or x == pytest.approx(y, rel=1e-9)


def test_no_data_below_the_coldest_row_means_no_gel() -> None:
    """With 1 % at 10 °C the published chart gives no cure (common practice; card: no row)."""
    figures = load_card("polyester-gelcoat").figures(1.0)
    clock = run_clock(figures, [(0.0, 10.0), (7 * DAY_S, 10.0)])
    assert not clock.reached("gelled")
    assert clock.needs_s("gelled", 10.0) is None
    assert clock.needs_s("gelled", 20.0) == pytest.approx(45.0 * 60.0)


def gel_coat_in_a_falling_night(warm_first: bool) -> CureClock:
    """About 3 % catalyst, 20:00 to 08:00, from 16 to 7 °C; perhaps half an hour at 32 °C first."""
    history = [(0.0, 16.0), (12 * 3600.0, 7.0)]
    if warm_first:
        history = [(0.0, 32.0), (1800.0, 32.0), (1860.0, 15.6), (12 * 3600.0, 7.0)]
    return run_clock(load_card("polyester-gelcoat").figures(3.0), history)


def test_gel_coat_in_a_cold_shed_is_b_stage_by_morning() -> None:
    """Practice, no source: firm but still slightly tacky by morning, unheated; sooner if warmed."""
    cold, warm = gel_coat_in_a_falling_night(False), gel_coat_in_a_falling_night(True)
    for clock in (cold, warm):
        assert clock.reached("gelled")
        assert clock.reached("laminate-opens")
        assert not clock.reached("laminate-closes")
        assert not clock.reached("full")
    times = [{w.name: w.at_s or math.inf for w in c.whens()} for c in (cold, warm)]
    assert times[1]["laminate-opens"] < times[0]["laminate-opens"] - 1800.0
    assert times[0]["laminate-opens"] < 6 * 3600.0


def test_laminate_ready_is_at_three_to_five_gel_times() -> None:
    """Practice, no source."""
    figures = load_card("polyester-gelcoat").figures(2.0)
    clock = run_clock(figures, [(0.0, 20.0), (24 * 3600.0, 20.0)])
    found = {w.name: w for w in clock.whens()}
    gel_s = found["gelled"].at_s
    assert gel_s is not None
    opens = found["laminate-opens"]
    assert opens.at_s == pytest.approx(4.0 * gel_s)
    assert opens.low_s is not None
    assert opens.low_s == pytest.approx(3.0 * gel_s * 0.7)


def test_three_percent_is_what_a_cold_shed_wants() -> None:
    """Practice, no source: 3 % where it is cold. At 8 °C 2 % has no data, 3 % gels in the night."""
    card = load_card("polyester-laminating")
    assert CureClock(card.figures(2.0)).gel_min_at(8.0) is None
    gel_min = CureClock(card.figures(3.0)).gel_min_at(8.0)
    assert gel_min is not None
    assert gel_min < 120.0


def test_a_box_that_is_not_warm_enough_never_finishes_the_post_cure() -> None:
    """16 h at 40 °C or 8 h at 60 °C (practice); at 25 °C it stays undone however long."""
    cool = run_clock(LAMINATING, [(0.0, 25.0), (20 * DAY_S, 25.0)])
    assert not cool.reached("post-cured")
    hot = run_clock(LAMINATING, [(0.0, 60.0), (12 * 3600.0, 60.0)])
    when = {w.name: w.at_s for w in hot.whens()}
    assert when["post-cured"] == pytest.approx(8 * 3600.0 + (when["demould"] or 0.0), abs=30.0)


@pytest.mark.parametrize("below_k", [0.06, 0.5, 1.5])
def test_a_part_held_a_shade_below_its_post_cure_is_post_cured_a_little_later(
    below_k: float,
) -> None:
    """16 h at 40 °C (practice); slower by Arrhenius with the card's 50 kJ/mol, reckoned here."""
    held = run_clock(LAMINATING, [(0.0, 40.0 - below_k), (2 * DAY_S, 40.0 - below_k)])
    when = {w.name: w.at_s for w in held.whens()}
    assert when["post-cured"] is not None
    assert when["demould"] is not None
    slower = math.exp(50e3 / 8.314462618 * (1 / (313.15 - below_k) - 1 / 313.15))
    took_s = when["post-cured"] - when["demould"]
    assert took_s == pytest.approx(16 * 3600.0 * slower, rel=2e-3)


@pytest.mark.parametrize("track", [0, 1, 2], ids=["early", "likely", "late"])
def test_heat_given_off_adds_up_to_the_heat_of_cure(track: int) -> None:
    """By the law that nothing slows: a guard's allowance counts on no vitrification."""
    clock, total_j = CureClock(LAMINATING.model_copy(update={"glass": None})), 0.0
    for i in range(5000):
        clock.advance(20.0 * i + 10.0, 10.0, 25.0)
        total_j += 20.0 * clock.heat_w_per_kg(clock.rates(25.0), track)
        clock.advance(20.0 * i + 20.0, 10.0, 25.0)
    degree = clock.degree(track)
    assert degree is not None
    assert LAMINATING.self_heat is not None
    gained = degree - LAMINATING.self_heat.seed
    assert total_j == pytest.approx(350e3 * gained, rel=1e-3)


def test_a_restored_clock_goes_on_to_the_bit() -> None:
    a = CureClock(LAMINATING)
    for i in range(300):
        a.advance(10.0 * i, 10.0, 15.0 + 0.03 * i)
    b = CureClock(LAMINATING)
    b.restore(json.loads(json.dumps(a.snapshot())))
    for i in range(300, 900):
        assert a.advance(10.0 * i, 10.0, 24.0) == b.advance(10.0 * i, 10.0, 24.0)
    assert a.snapshot() == b.snapshot()


def test_below_the_lowest_temperature_the_cure_stands_still() -> None:
    """Gelled at 20 °C, then 4 °C under a card's lowest of 5 °C: nothing more is counted."""
    clock = CureClock(LAMINATING)
    clock.advance(3600.0, 3600.0, 20.0)
    before = clock.equivalent_min
    assert clock.advance(90 * 3600.0, 89 * 3600.0, 4.0) == []
    assert clock.equivalent_min == before
    assert not clock.reached("demould")
    assert clock.needs_s("demould", 4.0) is None
    clock.advance(93 * 3600.0, 3 * 3600.0, 20.0)
    assert clock.reached("demould")


HOURLY_C = st.lists(st.floats(5.0, 45.0), min_size=3, max_size=14)


@settings(max_examples=60, deadline=None)
@given(HOURLY_C, st.floats(0.0, 10.0))
def test_warmer_is_never_later(temps_c: list[float], warmer_k: float) -> None:
    """Whatever the history, and whichever the milestone; the tracks stay in their order."""
    clocks = [
        run_clock(LAMINATING, [(3600.0 * i, c + k) for i, c in enumerate(temps_c)])
        for k in (0.0, warmer_k)
    ]
    for cool, warm in zip(*(c.whens() for c in clocks), strict=True):
        for a, b in zip(cool[1:], warm[1:], strict=True):
            assert (b or math.inf) <= (a or math.inf) + 1e-6
        for w in (cool, warm):
            in_order = [t if t is not None else math.inf for t in (w.low_s, w.at_s, w.high_s)]
            assert in_order == sorted(in_order)
