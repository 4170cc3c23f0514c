"""What if, against the answer of an oven that is not ours (`tests.foreign_oven`, scipy)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from nightcure.errors import BadInput
from nightcure.replay.changes import Changes, Door, time_of_night
from nightcure.replay.figures import figures
from nightcure.replay.rebuilt import Rebuilt, rebuild
from nightcure.replay.whatif import Curves, what_if
from nightcure.tick import Phase
from tests.foreign_oven import ForeignOven, foreign_oven
from tests.replay.foreign_night import (
    ForeignNight,
    foreign_night,
    heavier,
    replayed,
    settings_for,
)

OVEN = foreign_oven(np.random.default_rng(2))
SETTINGS = settings_for(OVEN)


@pytest.fixture(scope="module")
def night() -> ForeignNight:
    return foreign_night(OVEN, SETTINGS)


@pytest.fixture(scope="module")
def rebuilt(night: ForeignNight) -> Rebuilt:
    return rebuild(night.series)


def rms(curves: Curves, truth: ForeignNight) -> tuple[float, float]:
    """Of air, and of the worse part, K, over the time both have."""
    grid = np.arange(0.0, min(curves.time_s[-1], truth.time_s[-1]), 30.0)

    def off(values: list[float], true_c: object) -> float:
        said = np.interp(grid, curves.time_s, values)
        return float(np.sqrt(np.mean((said - np.interp(grid, truth.time_s, true_c)) ** 2)))  # type: ignore[arg-type]

    parts = zip(curves.parts_c.values(), truth.parts_c, strict=True)
    return off(curves.air_c, truth.air_c), max(off(v, p) for v, p in parts)


def tried(night: ForeignNight, rebuilt: Rebuilt, changes: Changes) -> Curves:
    return what_if(rebuilt, SETTINGS, changes, replayed(night))


@pytest.fixture(scope="module")
def again(night: ForeignNight, rebuilt: Rebuilt) -> Curves:
    """The night with nothing changed."""
    return tried(night, rebuilt, Changes())


def test_the_rebuilt_night_is_the_recorded_one(
    night: ForeignNight, rebuilt: Rebuilt, again: Curves
) -> None:
    assert night.phase is Phase.DONE
    assert rebuilt.air_rms_c < 0.05
    assert rebuilt.parts_rms_c < 0.05
    assert float(rebuilt.network.loss_w_per_k) == pytest.approx(OVEN.loss_w_per_k, rel=0.03)
    air, part = rms(again, night)
    assert air < 0.1
    assert part < 0.1


@pytest.mark.parametrize(
    ("changes", "colder_k", "oven"),
    [
        (Changes(colder_k=8.0), 8.0, OVEN),
        (Changes(mould_times=2.0), 0.0, heavier(OVEN, 2.0)),
    ],
    ids=["8 K colder", "twice the mould"],
)
def test_a_change_gives_the_other_simulators_answer(
    night: ForeignNight,
    rebuilt: Rebuilt,
    again: Curves,
    changes: Changes,
    colder_k: float,
    oven: ForeignOven,
) -> None:
    """Accepted: air within 0.5 K rms, part within 1.0 K rms. Without the change it is not so."""
    truth = foreign_night(oven, SETTINGS, colder_k=colder_k, seed=8)
    curves = tried(night, rebuilt, changes)
    air, part = rms(curves, truth)
    assert air < 0.5
    assert part < 1.0
    assert curves.outcome == "done"
    assert curves.time_s[-1] == pytest.approx(truth.time_s[-1], rel=0.03)
    unchanged = rms(again, truth)
    assert unchanged[0] > 2.0 * air
    assert unchanged[1] > 2.0 * part


def test_a_door_that_was_open_is_kept_and_another_can_be_opened(
    night: ForeignNight, rebuilt: Rebuilt
) -> None:
    """The recorded door is heat the model does not explain; the asked-for one a conductance."""
    door = (4200.0, 100.0)
    with_door = foreign_night(OVEN, SETTINGS, door=door)
    kept = tried(with_door, rebuild(with_door.series), Changes())
    air, part = rms(kept, with_door)
    assert air < 0.5
    assert part < 0.3
    opened = tried(night, rebuilt, Changes(doors=(Door(*door),)))
    at = np.searchsorted(opened.time_s, door[0] + door[1] - 2.0)
    true_drop = np.interp(door[0], with_door.time_s, with_door.air_c) - np.interp(
        door[0] + door[1] - 2.0, with_door.time_s, with_door.air_c
    )
    drop = opened.air_c[int(np.searchsorted(opened.time_s, door[0]))] - opened.air_c[int(at)]
    assert drop == pytest.approx(true_drop, rel=0.35)
    assert drop > 3.0


def test_other_gains_and_another_heater_change_what_they_should(
    night: ForeignNight, rebuilt: Rebuilt, again: Curves
) -> None:
    pid = figures(again)
    plain = figures(tried(night, rebuilt, Changes(regulator={"kind": "bang-bang"})))
    assert pid.mean_abs_error_k is not None
    assert plain.mean_abs_error_k is not None
    assert plain.mean_abs_error_k > 2.0 * pid.mean_abs_error_k
    just_enough_w = 1.1 * OVEN.loss_w_per_k * 30.0
    weak = figures(tried(night, rebuilt, Changes(heater_w=just_enough_w)))
    assert weak.length_s > pid.length_s + 600.0


def test_settings_that_cannot_be_are_refused_with_a_sentence(
    night: ForeignNight, rebuilt: Rebuilt
) -> None:
    with pytest.raises(BadInput, match="gain_w_per_k is -3"):
        tried(night, rebuilt, Changes(regulator={"gain_w_per_k": -3.0}))


def test_what_is_not_changed_is_not_checked_again() -> None:
    """A recorded night may have been allowed what no oven.toml may have now."""
    regulator = SETTINGS.regulator.model_copy(update={"gain_w_per_k": 9000.0})
    heater = SETTINGS.heater.model_copy(update={"min_on_s": 50.0})
    old = SETTINGS.model_copy(update={"regulator": regulator, "heater": heater})
    changes = Changes(regulator={"integral_s": 300.0}, heater_w=400.0)
    changed = changes.settings(old)
    assert (changed.regulator.gain_w_per_k, changed.regulator.integral_s) == (9000.0, 300.0)
    assert (changed.heater.min_on_s, changed.heater.power_w) == (50.0, 400.0)
    assert Changes().settings(old) == old


def test_a_night_that_never_heated_cannot_be_rebuilt(night: ForeignNight) -> None:
    with pytest.raises(BadInput, match="never on"):
        rebuild(replace(night.series, heat=0.0 * night.series.heat))


def test_a_time_is_of_the_clock_or_since_the_start(monkeypatch: pytest.MonkeyPatch) -> None:
    import time

    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    evening_s = 1_763_064_000.0  # 20:00 UTC
    assert time_of_night("02:00", evening_s, "--door") == 6 * 3600.0
    assert time_of_night("3h20", evening_s, "--door") == 12_000.0
    with pytest.raises(BadInput, match="--door is '25:00'"):
        time_of_night("25:00", evening_s, "--door")
