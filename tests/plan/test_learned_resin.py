"""A plan starts from what earlier nights showed of a resin, where they did."""

from __future__ import annotations

import numpy as np
import pytest

from nightcure.cure.factors import Prior
from nightcure.plan.sampling import SampledParameters, Spreads, draw
from nightcure.plan.tonight import falling_to, tonight
from nightcure.profile import Profile, load_profile
from nightcure.simulate.scenario import PARTS_FILE
from tests.nights import SETTINGS

LID = load_profile(PARTS_FILE)
PRIOR = Prior(gel_mean=0.3, gel_sd=0.1, cure_mean=-0.2, cure_sd=0.15, together=0.6)


def drawn(profile: Profile, nights: int = 4000) -> SampledParameters:
    shed = falling_to(2.0, 10 * 3600.0, 9.0)
    told = tonight(SETTINGS, profile.parts, shed, "demould", 9 * 3600.0)
    return draw(told, Spreads(catalyst=0.0), nights)


def test_a_learned_resin_is_drawn_as_it_was_learned_and_the_other_by_its_card() -> None:
    lid = LID.parts[0].model_copy(update={"prior": PRIOR, "card": "vinyl-ester"})
    found, by_card = drawn(LID.model_copy(update={"parts": (lid, LID.parts[1])})), drawn(LID)
    gel, cure = np.log(found.gel_times[:, 0]), np.log(found.weighing_times[:, 0])
    assert (gel.mean(), gel.std()) == pytest.approx((0.3, 0.1), abs=0.005)
    assert (cure.mean(), cure.std()) == pytest.approx((-0.2, 0.15), abs=0.01)
    assert np.corrcoef(gel, cure)[0, 1] == pytest.approx(0.6, abs=0.05)
    assert np.all(found.cure_z[:, 0] == 0.0)
    assert np.all(found.maker_times[:, 0] == 1.0), "whose it is, is known"
    assert np.ptp(found.maker_times[:, 1]) > 0.0
    other, card = np.log(found.gel_times[:, 1]), np.log(by_card.gel_times[:, 1])
    assert (other.mean(), other.std()) == pytest.approx((card.mean(), card.std()), abs=0.01)
    assert np.all(by_card.weighing_times == 1.0)
