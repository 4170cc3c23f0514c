"""What is believed of a part: its hypotheses against the card's clock, the weighing against numpy,
and what a night must show before it says anything."""

from __future__ import annotations

import math

import numpy as np
import pytest

from nightcure.cure.belief import Belief, Believed
from nightcure.cure.card import load_card
from nightcure.cure.clock_figures import ClockFigures
from nightcure.cure.cure_clock import CureClock
from nightcure.cure.factors import Prior, card_prior
from nightcure.cure.hypotheses import Hypotheses
from nightcure.cure.own_heat import (
    HEAT_MEAN,
    HEAT_RANGE,
    HEAT_SD,
    MEANS,
    NOISE_K,
    SDS,
    TERMS,
    OwnHeat,
    sight_k,
    sight_words,
)
from tests.curing_nights import HiddenNight, hidden_night

FIGURES = load_card("polyester-laminating").figures(2.0)
COLD = FIGURES.model_copy(update={"self_heat": None})


def course(minute: int) -> float:
    return 18.0 + min(minute, 120) / 6.0


@pytest.mark.parametrize("factors", [(0.0, 0.0), (0.3, -0.2), (-0.25, 0.4)])
def test_a_hypothesis_without_heat_is_the_cards_clock_with_its_factors(
    factors: tuple[float, float],
) -> None:
    gel, cure = factors
    prior = Prior(gel_mean=gel, gel_sd=0.1, cure_mean=cure, cure_sd=0.1)
    h = Hypotheses(COLD, prior, 0.8, 13_000.0)
    middle = min(
        range(len(h.cells)), key=lambda i: abs(h.cells[i][0] - gel) + abs(h.cells[i][1] - cure)
    )
    assert h.cells[middle][:2] == pytest.approx((gel, cure), abs=1e-9)
    assert FIGURES.demould_min is not None
    bands = tuple(b * math.exp(cure) for b in FIGURES.demould_min)
    factor = math.exp(gel)
    clock = CureClock(
        COLD.model_copy(
            update={
                "gel_min": tuple((c, m * factor) for c, m in COLD.gel_min),
                "demould_min": bands,
            }
        )
    )
    for minute in range(600):
        h.advance(1.0, course(minute))
        clock.advance(60.0 * (minute + 1), 60.0, course(minute))
    when = {w.name: w.at_s for w in clock.whens()}
    assert 60.0 * h.gel_min[middle] == pytest.approx(when["gelled"], abs=1.0)
    assert 60.0 * h.demould_min[middle] == pytest.approx(when["demould"], abs=1.0)


def test_a_laminate_that_heats_itself_gels_and_cures_sooner_and_thin_ones_hardly() -> None:
    def demould(thickness_mm: float, figures: ClockFigures = FIGURES) -> float:
        h = Hypotheses(figures, card_prior(figures), 0.8, 13_000.0, thickness_mm)
        middle = h.cells.index((0.0, 0.0, 1.0))
        for minute in range(600):
            h.advance(1.0, course(minute))
        return h.demould_min[middle]

    bare = demould(4.0, COLD)
    assert 0.90 * bare < demould(2.0) < bare
    assert demould(10.0) < 0.75 * bare


def test_all_heat_comes_out_and_enters_the_mould_once() -> None:
    h = Hypotheses(FIGURES, card_prior(FIGURES), 0.8, 13_000.0, 3.0)
    for minute in range(2400):
        h.advance(1.0, 25.0 + 0.0 * minute)
    heat = FIGURES.self_heat
    assert heat is not None
    for entered in h.entered:
        for r, k in zip(h.roots, entered, strict=True):
            degree = r * r / (1.0 + r * r)
            whole_k = 0.8 * heat.heat_j_per_kg_resin * (degree - heat.seed) / 13_000.0
            assert k == pytest.approx(whole_k, rel=0.03)


def test_the_weighing_is_that_of_a_normal_linear_model() -> None:
    """Against numpy's dense algebra: coefficients and heat normal, the noise inverse gamma."""
    rng = np.random.default_rng(5)
    h = Hypotheses(FIGURES, card_prior(FIGURES), 0.8, 13_000.0)
    own = OwnHeat(h, 13_000.0, 300.0)
    n, cells = 60, len(h.cells)
    x, y = rng.normal(size=(n, TERMS)), rng.normal(size=n) * 0.1
    b = np.abs(rng.normal(size=(2, n, cells))) * 0.2
    y += 0.8 * b[0, :, 7]
    w = rng.uniform(0.02, 0.25, size=n)
    own.xx = (x.T * w @ x).ravel().tolist()
    own.xy, own.yy, own.weight = (x.T @ (w * y)).tolist(), float(w @ y**2), float(w.sum())
    for lag in range(2):
        for k in range(TERMS):
            own.xh[lag][k][:] = ((w * x[:, k]) @ b[lag]).tolist()
        own.hh[lag][:] = (w @ b[lag] ** 2).tolist()
        own.hy[lag][:] = ((w * y) @ b[lag]).tolist()
    noise2 = 0.05**2
    found, without, *_ = own._at(noise2, carried=False)

    def dense(extra: np.ndarray | None) -> tuple[float, float]:
        """ln of the marginal likelihood, but for a constant, and the heat's share."""
        design = x if extra is None else np.column_stack([x, extra])
        sds = np.array([*SDS, HEAT_SD][: design.shape[1]])
        means = np.array([0.0] * TERMS + [HEAT_MEAN])[: design.shape[1]]
        precision = np.diag(noise2 / sds**2)
        a = design.T * w @ design + precision
        top = design.T @ (w * y) + precision @ means
        mean = np.linalg.solve(a, top)
        rest = w @ y**2 + means @ precision @ means - mean @ top
        q = 2.0 * NOISE_K**2 + 0.5 * rest
        log = -(2.0 + 0.5 * w.sum()) * math.log(q)
        if extra is not None:
            log += 0.5 * (np.linalg.slogdet(precision)[1] - np.linalg.slogdet(a)[1])
            plain = x.T * w @ x + np.diag(noise2 / np.array(SDS) ** 2)
            log -= 0.5 * (
                np.linalg.slogdet(np.diag(noise2 / np.array(SDS) ** 2))[1]
                - np.linalg.slogdet(plain)[1]
            )
        return float(log), float(mean[-1])

    assert without == pytest.approx(dense(None)[0], rel=1e-9)
    for i in (0, 7, 100, cells - 1):
        logs = []
        for lag in range(2):
            log, share = dense(b[lag, :, i])
            out = max(HEAT_RANGE[0] - share, share - HEAT_RANGE[1], 0.0) / 0.1
            logs.append(log - 0.5 * out * out)
        assert found[i] == pytest.approx(np.logaddexp(*logs) - math.log(2.0), rel=1e-6)
    assert len(MEANS) == len(SDS) == TERMS


def gone_through(night: HiddenNight) -> Belief:
    t = night.told
    belief = Belief(
        t.figures, card_prior(t.figures), t.resin_kg, t.mould_j_per_k, t.power_w, t.thickness_mm
    )
    for row in zip(night.part_c, night.air_c, night.duty, strict=True):
        belief.minute(*row, good=True)
    return belief


def without_heat(belief: Belief) -> Believed:
    belief._heat = None
    return belief.answer()


@pytest.mark.parametrize("seed", [0, 2, 18])
def test_a_resins_heat_is_seen_on_another_plant_and_none_where_there_is_none(seed: int) -> None:
    """The same nights twice: as they are, and with a resin that gives off no heat."""
    belief = gone_through(hidden_night(seed))
    seen = belief.answer()
    assert seen.heat_seen
    assert seen[:4] != without_heat(belief)[:4]
    cold = gone_through(hidden_night(seed, heatless=True))
    nothing = cold.answer()
    assert not nothing.heat_seen
    assert nothing[:4] == without_heat(cold)[:4]


def test_early_is_before_likely_is_before_late() -> None:
    answer = gone_through(hidden_night(3)).answer()
    for triple in (answer.gel_min, answer.demould_min, answer.gel_factor, answer.cure_factor):
        assert list(triple) == sorted(triple)
        assert triple[0] < triple[2]


def test_what_is_left_to_come_may_be_past_belief() -> None:
    """Fails before this: with no weight at all on what had not come yet, it divided by nothing."""
    belief = Belief(COLD, card_prior(COLD), 0.8, 13_000.0, 300.0)
    for _ in range(180):
        belief.minute(25.0, 25.0, 0.0, good=True)

    def only_the_quickest(h: Hypotheses) -> list[float]:
        return [0.0 if t < math.inf else -5000.0 for t in h.demould_min]

    answer = belief.answer(only_the_quickest, [25.0] * 100)
    assert math.isfinite(answer.demould_min[2])


def test_whether_heat_can_be_seen_is_said_by_the_mould_it_must_warm() -> None:
    """0.7 of 0.8 kg at 350 kJ/kg into 13.2 kJ/K: 14.8 K (by hand)."""
    assert sight_k(FIGURES, 0.8, 13_200.0) == pytest.approx(14.85, abs=0.01)
    assert sight_k(COLD, 0.8, 13_200.0) == 0.0
    said = [sight_words(k) for k in (0.0, 5.0, 30.0)]
    assert said == ["nothing to see of it", "seldom enough to be seen", "mostly seen"]
