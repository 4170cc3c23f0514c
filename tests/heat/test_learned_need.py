"""What the night shows of the oven's figures, on ovens whose figures are known."""

from __future__ import annotations

import json
import math
from collections.abc import Callable

import pytest

from nightcure.heat.feedforward import FeedForward
from nightcure.heat.heating import Heating
from nightcure.heat.learned_need import LEAST, LearnedNeed, Shares
from nightcure.profile import parse_profile
from nightcure.settings import Model
from tests.nights import SETTINGS, changed

DT_S, SHED_C, POWER_W = 2.0, 5.0, 500.0
MODEL = Model(loss_w_per_k=4.0, air_capacity_j_per_k=10000.0, mould_capacity_j_per_k=40000.0,
              mould_lag_s=1500.0, heater_lag_s=100.0)  # fmt: skip
STRONG = changed(SETTINGS, heater={"power_w": POWER_W})


def by(model: Model = MODEL) -> LearnedNeed:
    return LearnedNeed(STRONG.model_copy(update={"model": model}))


class Box:
    """Air and moulds that follow a course exactly, whatever that takes: what it takes is known."""

    def __init__(self, true: Model) -> None:
        self.true = true
        self.air_c = self.mould_c = SHED_C
        self.heat_w = 0.0

    def follow(
        self, learned: LearnedNeed, rate_k_per_h: Callable[[float], float], for_s: float,
        more_w: Callable[[float], float] = lambda _: 0.0,
    ) -> None:  # fmt: skip
        """Of the heat, `more_w` comes from elsewhere."""
        t = self.true
        for i in range(int(for_s / DT_S)):
            rate = rate_k_per_h(i * DT_S) / 3600.0
            self.air_c += rate * DT_S
            to_moulds_w = t.mould_w_per_k * (self.air_c - self.mould_c)
            self.mould_c += to_moulds_w / t.mould_capacity_j_per_k * DT_S
            need_w = t.loss_w_per_k * (self.air_c - SHED_C) + t.air_capacity_j_per_k * rate
            before_w = self.heat_w
            self.heat_w = need_w + to_moulds_w - more_w(i * DT_S)
            learned.went_on(DT_S, self._asked_w(before_w), self.air_c, SHED_C)

    def _asked_w(self, before_w: float) -> float:
        """What a heater with a lag has to be asked for, to give `heat_w` now."""
        keeps = math.exp(-DT_S / self.true.heater_lag_s)
        return (self.heat_w - keeps * before_w) / (1.0 - keeps)


def ramp_and_soak(t_s: float) -> float:
    return 15.0 if t_s < 7200.0 else 0.0


def test_an_oven_as_its_model_says_changes_little() -> None:
    learned = by()
    Box(MODEL).follow(learned, ramp_and_soak, 4 * 3600.0)
    assert learned.shares == pytest.approx((1.0, 1.0, 1.0), abs=0.06)


@pytest.mark.parametrize(
    ("name", "index", "true"),
    [("air_capacity_j_per_k", 1, 0.5), ("mould_capacity_j_per_k", 2, 0.6)],
)
def test_what_the_model_has_wrong_is_found_on_ramp_and_soak(
    name: str, index: int, true: float
) -> None:
    learned = by()
    lag_s = MODEL.mould_lag_s
    Box(MODEL.model_copy(update={name: true * getattr(MODEL, name), "mould_lag_s": lag_s})).follow(
        learned, ramp_and_soak, 4 * 3600.0
    )
    found = learned.shares[index]
    assert abs(found - true) < 0.45 * abs(1.0 - true), learned.shares


def test_a_lid_that_was_opened_teaches_nothing() -> None:
    """300 W gone for two stretches, in a soak that was well known by then."""
    learned, calm = by(), by()
    box, other = Box(MODEL), Box(MODEL)
    for b, n in ((box, learned), (other, calm)):
        b.follow(n, ramp_and_soak, 3 * 3600.0)
    box.follow(learned, lambda _: 0.0, 2 * by().stretch_s, lambda _: -300.0)
    other.follow(calm, lambda _: 0.0, 2 * by().stretch_s)
    assert learned.shares == pytest.approx(calm.shares, abs=0.005)


def test_nothing_is_learned_while_the_heater_is_held_off() -> None:
    learned = by()
    learned.went_on(DT_S, 500.0, 20.0, SHED_C)
    for _ in range(1000):
        learned.held_off(DT_S)
    assert learned.shares == Shares()
    assert learned.lasted_s == 0.0


def test_no_share_goes_beyond_what_is_believable() -> None:
    """No heat at all, whatever the air does: a broken heater is no oven without need."""
    learned = by()
    for i in range(20000):
        learned.went_on(DT_S, 0.0, SHED_C + 20.0 + 5.0 * (i % 2000) / 2000.0, SHED_C)
    assert all(share >= LEAST for share in learned.shares)


def test_a_new_night_forgets_the_last() -> None:
    learned = by()
    Box(MODEL.model_copy(update={"loss_w_per_k": 5.0})).follow(learned, ramp_and_soak, 7200.0)
    assert learned.shares != Shares()
    learned.start()
    assert learned.snapshot() == by().snapshot()


def test_state_restores_to_the_bit() -> None:
    learned, restored = by(), by()
    box = Box(MODEL.model_copy(update={"air_capacity_j_per_k": 6000.0}))
    box.follow(learned, ramp_and_soak, 1234.0)
    restored.restore(json.loads(json.dumps(learned.snapshot())))
    for some in (learned, restored):
        some.went_on(some.stretch_s, 200.0, box.air_c + 0.3, SHED_C)
    assert restored.snapshot() == learned.snapshot()
    assert restored.shares != by().shares


def test_an_earlier_snapshot_had_none() -> None:
    learned = by()
    learned.restore({})
    assert learned.snapshot() == by().snapshot()


def test_feed_forward_grows_by_what_it_says() -> None:
    feed_forward = FeedForward(STRONG.model_copy(update={"model": MODEL}))
    for i in range(400):
        feed_forward.ask(DT_S, 20.0 + i * 0.01, 20.0 + i * 0.01 + 0.1, SHED_C)
    was, _, _ = feed_forward._need(DT_S, 24.0, 24.01, feed_forward.mould_rate, SHED_C)
    grown_w = feed_forward.take(Shares(1.1, 0.6, 1.2), SHED_C)
    now, _, _ = feed_forward._need(DT_S, 24.0, 24.01, feed_forward.mould_rate, SHED_C)
    assert grown_w == pytest.approx(now - was, abs=1.0)
    assert abs(grown_w) > 1.0


def test_what_is_learned_is_taken_from_the_integral_so_that_the_heat_stays() -> None:
    """On a ramp with a quick capacity that is too large: no step in what is asked for."""
    heating = Heating(STRONG.model_copy(update={"model": MODEL}))
    profile = parse_profile(
        {"name": "p", "lag_c": 10, "band_c": 5,
         "segments": [{"kind": "ramp", "to_c": 40, "rate_c_per_h": 15}]}
    )  # fmt: skip
    heating.start(profile, 20.0)
    asked, mono_s = [], 0.0
    for i in range(int(1.9 * heating._learned.stretch_s / DT_S)):
        mono_s += DT_S
        at_c = 20.0 + i * DT_S * 15.0 / 3600.0
        heating.ask(DT_S, at_c, at_c + 0.08, at_c, SHED_C)
        asked.append(heating.duty * POWER_W)
        heating.tick(mono_s, DT_S, allowed=True)
    assert heating._learned.shares != Shares()
    learned_at = int(heating._learned.stretch_s / DT_S)
    before_w, after_w = asked[learned_at - 1], asked[-1]
    assert after_w - before_w == pytest.approx(
        10.0, abs=6.0
    )  # what the moulds and the loss grow by
