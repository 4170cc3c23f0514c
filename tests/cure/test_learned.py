"""What nights teach of a resin: against a joint normal law by numpy, and what it must never do."""

from __future__ import annotations

import math

import numpy as np
import pytest

from nightcure.cure.card import load_card
from nightcure.cure.clock_figures import Face
from nightcure.cure.factors import card_prior, quantiles
from nightcure.cure.learned import (
    AGEING_SD,
    BATCH_SD,
    NIGHT_SD,
    UNDECLARED_SD,
    Seen,
    learned_prior,
    touch_log_likelihood,
    touch_seen,
)
from nightcure.ledger.notes import RUBBED

FIGURES = load_card("polyester-laminating").figures(2.0)
CARD = card_prior(FIGURES)


def joint(seen: list[Seen], batch: str, sd: float) -> tuple[float, float]:
    """Tonight's mean and standard deviation by one normal law of everything, with numpy.

    A resin's own factor walks by `AGEING_SD` a night, a batch's by `UNDECLARED_SD`; batches are
    told apart where the name changes.
    """
    n = len(seen)
    resin = np.full((n + 1, n + 1), max(sd**2 - BATCH_SD**2 - NIGHT_SD**2, 0.01))
    walks = np.minimum.outer(np.arange(n + 1), np.arange(n + 1))
    resin = resin + AGEING_SD**2 * walks
    names = [s.batch for s in seen] + [batch]
    begins = [0]
    for i in range(1, n + 1):
        begins.append(begins[-1] if names[i] == names[i - 1] else i)
    own = np.zeros((n + 1, n + 1))
    for i in range(n + 1):
        for j in range(n + 1):
            if begins[i] == begins[j]:
                own[i, j] = BATCH_SD**2 + UNDECLARED_SD**2 * (min(i, j) - begins[i])
    cov = resin + own
    seen_cov = cov[:n, :n] + np.diag([s.sd**2 + NIGHT_SD**2 for s in seen])
    gain = np.linalg.solve(seen_cov, cov[:n, n])
    return (
        float(gain @ [s.value for s in seen]),
        math.sqrt(float(cov[n, n] - gain @ cov[:n, n]) + NIGHT_SD**2),
    )


@pytest.mark.parametrize(
    ("seen", "batch"),
    [
        ([Seen("a", 0.3, 0.1)], "a"),
        ([Seen("a", 0.3, 0.1), Seen("a", 0.1, 0.2), Seen("a", 0.25, 0.1)], "a"),
        ([Seen("a", 0.3, 0.1), Seen("a", 0.2, 0.1), Seen("b", -0.1, 0.15)], "b"),
        ([Seen("a", 0.3, 0.1), Seen("b", 0.2, 0.1)], "c"),
    ],
)
def test_nights_add_up_as_one_normal_law(seen: list[Seen], batch: str) -> None:
    found = learned_prior(FIGURES, batch, seen, [])
    mean, sd = joint(seen, batch, CARD.gel_sd)
    assert found.gel_mean == pytest.approx(mean, abs=2e-4)
    assert found.gel_sd == pytest.approx(sd, rel=0.02)
    assert (found.cure_mean, found.cure_sd) == (0.0, CARD.cure_sd)


def test_nothing_seen_is_the_card_to_the_bit() -> None:
    assert learned_prior(FIGURES, "a", [], []) == CARD


def test_three_nights_of_one_batch_are_surer_than_one_and_another_batch_less() -> None:
    def gel_sd(nights: int, batch: str) -> float:
        return learned_prior(FIGURES, batch, [Seen("a", 0.2, 0.1)] * nights, []).gel_sd

    assert gel_sd(3, "a") < 0.6 * CARD.gel_sd
    assert gel_sd(3, "a") < gel_sd(1, "a") < gel_sd(3, "b") < CARD.gel_sd


def end(share: float) -> dict[str, object]:
    gels = CARD.gel_grid
    return {"gels": list(gels), "shares": [share * math.exp(-0.2 * g) for g in gels]}


def test_tacky_in_the_morning_is_slow_and_hard_near_the_date_is_not() -> None:
    tacky = touch_seen("a", CARD, end(1.0), "tacky")
    hard = touch_seen("a", CARD, end(0.9), "hard")
    assert tacky is not None
    assert hard is not None
    assert tacky.value > 0.4
    assert hard.value < -0.05


def test_hard_long_after_the_date_says_hardly_anything() -> None:
    """Held on three times its card's time: every resin would be hard."""
    late = touch_seen("a", CARD, end(3.0), "hard")
    assert late is None or late.sd > 1.5 * CARD.cure_sd
    assert touch_seen("a", CARD, end(1.0), "") is None


def test_what_a_part_feels_like_by_its_progress() -> None:
    """Common practice, no source: half its time to the demould is tacky, past nine tenths hard."""

    def likeliest(share: float) -> str:
        words = ("tacky", "leathery", "hard")
        return max(words, key=lambda w: touch_log_likelihood(math.log(share), w))

    assert [likeliest(s) for s in (0.3, 0.7, 1.3)] == ["tacky", "leathery", "hard"]
    sure = sum(math.exp(touch_log_likelihood(0.0, w)) for w in ("tacky", "leathery", "hard"))
    assert sure == pytest.approx(1.0)


def test_an_acetone_rub_that_softens_a_part_that_should_be_cured_says_it_is_slow() -> None:
    """Common practice, no source: a face that is cured is neither tacky nor softer after it."""
    softens = touch_seen("a", CARD, end(2.5), "hard", None, "softens", "amine")
    clean = touch_seen("a", CARD, end(1.0), "hard", None, "clean", "amine")
    assert softens is not None
    assert clean is not None
    shares = [CARD.cure_sd**2 / (CARD.cure_sd**2 + seen.sd**2) for seen in (softens, clean)]
    assert shares[0] * softens.value > 0.15
    assert shares[1] * clean.value < -0.05
    assert touch_seen("a", CARD, end(2.5), "hard", None, "softens", "air-inhibited") is None
    both = sum(
        math.exp(touch_log_likelihood(0.2, "", None, word, "amine")) for word in RUBBED
    ) / math.exp(touch_log_likelihood(0.2, ""))  # fmt: skip
    assert both == pytest.approx(1.0)


@pytest.mark.parametrize(("face", "acetone"), [("air-inhibited", "softens"), ("waxed", "clean")])
def test_a_face_that_is_so_in_any_case_says_nothing(face: Face, acetone: str) -> None:
    for progress in (-1.0, 0.0, 1.0):
        rubbed = touch_log_likelihood(progress, "hard", None, acetone, face)
        assert rubbed == touch_log_likelihood(progress, "hard")


@pytest.mark.parametrize("shares", [(0.1, 0.5, 0.9), (0.25,)])
def test_weighted_quantiles(shares: tuple[float, ...]) -> None:
    """Against numpy on the same values, each as often as it weighs."""
    rng = np.random.default_rng(3)
    values, weights = rng.normal(size=400), rng.integers(1, 6, size=400)
    found = quantiles(values.tolist(), [float(w) for w in weights], shares)
    assert found == pytest.approx(np.quantile(np.repeat(values, weights), shares), abs=0.02)


def test_ten_nights_of_four_batches_narrow_what_is_foretold_and_stay_true() -> None:
    """200 hidden resins; another batch, declared, every third night; a gel cup each night and heat
    seen in half of them. Errors as measured: of a cup 0.13, of heat 0.27 in ln factor."""
    rng = np.random.default_rng(17)
    series, nights, z80 = 200, 10, 1.2815515655446004
    inside = np.zeros((2, nights))
    spread = np.zeros((2, nights))
    for _ in range(series):
        seen: tuple[list[Seen], list[Seen]] = ([], [])
        resin = [
            rng.normal(0.0, math.sqrt(sd**2 - BATCH_SD**2 - NIGHT_SD**2))
            for sd in (CARD.gel_sd, CARD.cure_sd)
        ]
        own = [0.0, 0.0]
        for night in range(nights):
            batch = f"batch {night // 3}"
            prior = learned_prior(FIGURES, batch, *seen)
            if night % 3 == 0:
                own = [rng.normal(0.0, BATCH_SD) for _ in own]
            told = ((prior.gel_mean, prior.gel_sd), (prior.cure_mean, prior.cure_sd))
            for i, (mean, sd) in enumerate(told):
                true = resin[i] + own[i] + rng.normal(0.0, NIGHT_SD)
                inside[i, night] += abs(true - mean) <= z80 * sd
                spread[i, night] += sd
                error = (0.13, 0.27)[i]
                if i == 0 or rng.random() < 0.5:
                    seen[i].append(Seen(batch, true + rng.normal(0.0, error), error))
    held = inside / series
    assert np.all(held > 0.70)
    assert np.all(np.abs(held.mean(axis=1) - 0.80) < 0.05)
    narrower = spread[:, 2] / spread[:, 0]
    assert narrower[0] < 0.60
    assert narrower[1] < 0.80
