"""Profiles: refused with a sentence, or run so that clocks and setpoints keep to the oven."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import settings as hypo
from hypothesis import strategies as st

from nightcure.errors import BadInput
from nightcure.loop.profile_run import Oven, ProfileRun
from nightcure.profile import Profile, Soak, load_profile, parse_profile
from nightcure.settings import Limits
from nightcure.simulate.scenario import PROFILE_FILE, PROFILES
from tests.nights import PROFILE, SETTINGS, SHORT, changed, night

SHIPPED = sorted(PROFILES.glob("*.toml"))
LIMITS = SETTINGS.limits


def oven(air_c: float, part_c: float | None = None, ambient_c: float | None = 5.0) -> Oven:
    part = air_c if part_c is None else part_c
    return Oven(air_c, min(air_c, part), max(air_c, part), ambient_c)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda p: p.name)
def test_shipped_profiles_run_on_the_shipped_oven(path: Path) -> None:
    assert load_profile(path).refusals(LIMITS) == ()


def test_toml_and_json_are_the_same_thing() -> None:
    """Both spelt out by hand, and through the page's JSON and back."""
    said = {
        "name": "Lid and rim, overnight",
        "lag_c": 5,
        "band_c": 2,
        "segments": [
            {"kind": "ramp", "to_c": 38, "rate_c_per_h": 15},
            {"kind": "soak", "at_c": 38, "hours": 7},
            {"kind": "cool", "rate_c_per_h": 20, "below_c": 25},
        ],
    }
    from_toml = load_profile(PROFILE_FILE)
    assert parse_profile(json.loads(json.dumps(said))) == from_toml
    assert parse_profile(json.loads(from_toml.model_dump_json())) == from_toml


SOAK = {"kind": "soak", "at_c": 30.0, "hours": 2.0}


@pytest.mark.parametrize(
    ("segments", "essentials"),
    [
        ([{"kind": "ramp", "to_c": 30, "rate_c_per_h": 10}], ("has no soak", "add one")),
        (
            [{"kind": "ramp", "to_c": 30, "rate_c_per_h": 40}, SOAK],
            ("segment 1 (ramp)", "40", "at most 25"),
        ),
        ([{**SOAK, "at_c": 60.0}], ("segment 1 (soak)", "60 °C", "55 °C")),
        ([{**SOAK, "hours": 20.0}], ("21 h 00 min", "16 h 00 min", "shorten")),
        (
            [{"kind": "cool", "rate_c_per_h": 10, "below_c": 20}, SOAK],
            ("segment 1 (cool)", "put it last"),
        ),
    ],
)
def test_refusals(segments: list[dict[str, Any]], essentials: tuple[str, ...]) -> None:
    refusals = parse_profile({"name": "Bad", "segments": segments}).refusals(LIMITS)
    assert refusals
    for part in essentials:
        assert part in " ".join(refusals)


def segment(**fields: Any) -> dict[str, Any]:
    """A profile of one soak with some keys changed."""
    return {"name": "x", "segments": [{**SOAK, **fields}]}


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (None, "profile is None; it should be a table of keys and values."),
        ({"name": "x"}, "profile: segments is missing; add it."),
        ({"name": "x", "segments": []}, "profile: segments is []; it should have at least 1."),
        ({"name": "", "segments": [SOAK]}, "profile: name is ''; it should not be empty."),
        (segment(hours=-1), "profile: segment 1 (soak): hours is -1; it should be above 0."),
        (segment(hours=True), "profile: segment 1 (soak): hours is true; it should be a number."),
        (
            segment(hours=float("nan")),
            "profile: segment 1 (soak): hours is nan; it should be a finite number.",
        ),
        (segment(at_c=95), "profile: segment 1 (soak): at_c is 95; it should be at most 80."),
        (segment(at_c=-1), "profile: segment 1 (soak): at_c is -1; it should be at least 0."),
        (
            segment(kind="toast"),
            "profile: segment 1: kind is 'toast'; it should be 'ramp', 'soak' or 'cool'.",
        ),
        (
            {"name": "x", "segments": [{"at_c": 30}]},
            "profile: segment 1 has no kind; it should be 'ramp', 'soak' or 'cool'.",
        ),
        (
            segment(when=3),
            "profile: segment 1 (soak): when is not a key that is known here; check its spelling "
            "or remove it.",
        ),
        (
            {"name": "x", "band_c": 0, "segments": [SOAK]},
            "profile: band_c is 0; it should be at least 0.2.",
        ),
        (
            {"name": "x", "segments": [SOAK, {"kind": "ramp", "to_c": 30}]},
            "profile: segment 2 (ramp): rate_c_per_h is missing; add it.",
        ),
    ],
)
def test_faults_are_sentences(data: Any, sentence: str) -> None:
    with pytest.raises(BadInput) as caught:
        parse_profile(data)
    assert caught.value.sentences == (sentence,)


def test_a_mere_cool_down_is_refused_and_breaks_nothing() -> None:
    """It used to raise where its highest setpoint was asked for."""
    cool = parse_profile(
        {"name": "C", "segments": [{"kind": "cool", "rate_c_per_h": 10, "below_c": 20}]}
    )
    assert cool.highest_c == 20.0
    assert "has no soak" in cool.refusals(LIMITS)[0]
    result, ticks = night(cool)
    assert result.figures.outcome == "refused"
    assert not any(d.heater_on for _, d in ticks)


def test_a_ramp_waits_for_an_oven_that_is_behind_and_goes_on() -> None:
    run = ProfileRun(PROFILE, 10.0, 25.0)
    for _ in range(2000):
        run.advance(2.0, oven(10.0))
    assert run.waiting
    assert run.setpoint_c == pytest.approx(15.0, abs=0.01)  # lag_c ahead, no more
    before = run.setpoint_c
    run.advance(2.0, oven(before))
    assert not run.waiting
    assert run.setpoint_c > before


def test_a_soak_counts_while_air_and_slowest_part_are_not_below_the_band() -> None:
    soak = parse_profile({"name": "S", "band_c": 2.0, "segments": [{**SOAK, "hours": 1.0}]})
    run = ProfileRun(soak, 30.0, 25.0)
    for part_c, air_c, counts in (
        (27.9, 30, False),
        (28.1, 30, True),
        (30, 27.9, False),
        (37, 30, True),
    ):
        before = run.counted_s
        run.advance(2.0, oven(air_c, part_c))
        assert (run.counted_s > before) is counts
        assert run.waiting is not counts
    steps = 0
    while not run.finished:
        run.advance(2.0, oven(30.0))
        steps += 1
    assert steps * 2.0 + 4.0 == 3600.0


def test_a_cool_down_ends_when_everything_is_below_or_as_cold_as_the_shed() -> None:
    cool = {"kind": "cool", "rate_c_per_h": 20.0, "below_c": 25.0}
    profile = parse_profile(
        {
            "name": "C",
            "segments": [
                cool,
            ],
        }
    )
    run = ProfileRun(profile, 38.0, 25.0)
    run.advance(2.0, oven(24.0, 26.0))
    assert not run.finished
    run.advance(2.0, oven(23.0, 24.9))
    assert run.finished
    warm = ProfileRun(profile, 38.0, 25.0)
    warm.advance(2.0, oven(30.5, 30.6, ambient_c=29.0))
    assert warm.finished


@given(
    st.lists(st.tuples(st.floats(0.1, 10), st.floats(-10, 60), st.floats(-10, 60)), max_size=200),
    st.sampled_from(SHIPPED),
)
@hypo(deadline=None)
def test_the_setpoint_never_moves_faster_than_the_limit(
    steps: list[tuple[float, float, float]], path: Path
) -> None:
    run = ProfileRun(load_profile(path), 8.0, LIMITS.ramp_c_per_h)
    for dt_s, air_c, part_c in steps:
        if run.finished:
            break
        before = run.setpoint_c
        run.advance(dt_s, oven(air_c, part_c))
        assert abs(run.setpoint_c - before) <= LIMITS.ramp_c_per_h * dt_s / 3600.0 + 1e-9
        copy = ProfileRun.restore(json.loads(json.dumps(run.snapshot())))
        assert copy.snapshot() == run.snapshot()
        assert run.left_s() >= 0.0


def test_time_left_is_what_it_takes_when_nothing_waits() -> None:
    run = ProfileRun(SHORT, 10.0, 25.0)
    foretold_s = run.left_s()
    passed_s = 0.0
    while not run.finished and run.segment.kind != "cool":
        run.advance(2.0, oven(run.setpoint_c))
        passed_s += 2.0
    cool_s = (25.0 - 22.0) / 20.0 * 3600.0
    assert passed_s + cool_s == pytest.approx(foretold_s, abs=6.0)


def test_time_left_of_a_soak_is_what_has_not_counted() -> None:
    run = ProfileRun(SHORT, 25.0, 25.0)
    run.advance(2.0, oven(25.0))  # the ramp is over at once
    assert isinstance(run.segment, Soak)
    cool_s = 540.0  # 25 to 22 °C at 20 °C/h
    assert run.left_s() == pytest.approx(1800.0 + cool_s)
    run.advance(600.0, oven(25.0))
    assert run.left_s() == pytest.approx(1200.0 + cool_s)
    run.advance(600.0, oven(20.0))  # out of the band: nothing counts
    assert run.left_s() == pytest.approx(1200.0 + cool_s)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda p: p.name)
def test_the_plan_is_the_sum_of_its_segments(path: Path) -> None:
    """Against plain arithmetic on the shipped numbers, from 8 °C."""
    by_hand_h = {
        "lid-and-rim.toml": 30 / 15 + 7 + 13 / 20,
        "post-cure.toml": 42 / 12 + 11 + 25 / 20,
        "post-cure-below-tg.toml": 42 / 12 + 10 + 25 / 20,
        "gel-then-laminate.toml": 17 / 20 + 2 + 15 / 12 + 5 + 15 / 20,
        "until-demould.toml": 12 / 15 + 12 / 12 + 7 + 7 / 20,
        "gelled-outside.toml": 24 / 12 + 8 + 7 / 20,
        "lid-and-rim-slow.toml": 28 / 7 + 7 + 11 / 20,
    }[path.name]
    profile = load_profile(path)
    assert profile.planned_s(8.0) == pytest.approx(by_hand_h * 3600.0)
    assert ProfileRun(profile, 8.0, 30.0).left_s() == profile.planned_s(8.0)


def test_a_ramp_down_waits_for_an_oven_that_stays_warm() -> None:
    down = parse_profile(
        {
            "name": "D",
            "segments": [
                {"kind": "soak", "at_c": 40, "hours": 0.1},
                {"kind": "ramp", "to_c": 25, "rate_c_per_h": 20},
                {"kind": "soak", "at_c": 25, "hours": 0.1},
            ],
        }
    )
    run = ProfileRun(down, 40.0, 25.0)
    while run.index == 0:
        run.advance(2.0, oven(40.0))
    for _ in range(2000):
        run.advance(2.0, oven(40.0))
    assert run.waiting
    assert run.setpoint_c == pytest.approx(35.0, abs=0.02)
    run.advance(2.0, oven(36.0))
    assert not run.waiting


def test_a_cool_down_falls_at_its_rate() -> None:
    run = ProfileRun(SHORT, 25.0, 25.0)
    while run.index < 2:
        run.advance(2.0, oven(25.0))
    for _ in range(450):
        run.advance(2.0, oven(25.0))
    assert run.setpoint_c == pytest.approx(20.0, abs=1e-6)
    assert run.ahead(180.0) == pytest.approx(19.0, abs=1e-6)
    assert not run.finished  # the oven itself is still warm


@given(
    st.floats(-5, 40),
    st.lists(st.tuples(st.floats(0.1, 600), st.floats(-10, 60), st.floats(-10, 60)), max_size=60),
    st.sampled_from(SHIPPED),
)
@hypo(deadline=None)
def test_a_run_restored_anywhere_goes_on_to_the_bit(
    start_c: float, steps: list[tuple[float, float, float]], path: Path
) -> None:
    one = ProfileRun(load_profile(path), start_c, LIMITS.ramp_c_per_h)
    two = one
    for dt_s, air_c, part_c in steps:
        if one.finished:
            break
        two = ProfileRun.restore(json.loads(json.dumps(two.snapshot(), allow_nan=False)))
        one.advance(dt_s, oven(air_c, part_c))
        two.advance(dt_s, oven(air_c, part_c))
        assert two.snapshot() == one.snapshot()


def test_a_soak_cut_off_amid_it_has_not_forgotten_what_counted() -> None:
    soak = parse_profile({"name": "S", "segments": [{**SOAK, "hours": 1.0}]})
    run = ProfileRun(soak, 30.0, 25.0)
    for _ in range(1000):
        run.advance(2.0, oven(30.0))
    run = ProfileRun.restore(json.loads(json.dumps(run.snapshot())))
    steps = 0
    while not run.finished:
        run.advance(2.0, oven(30.0))
        steps += 1
    assert steps == 800


def test_several_reasons_are_all_said() -> None:
    bad = Profile.model_validate(
        {
            "name": "Bad",
            "segments": [
                {"kind": "ramp", "to_c": 75, "rate_c_per_h": 100},
                {"kind": "cool", "rate_c_per_h": 10, "below_c": 20},
                {"kind": "ramp", "to_c": 30, "rate_c_per_h": 10},
            ],
        }
    )
    assert len(bad.refusals(LIMITS)) == 4
    assert all(r.endswith(".") and "'Bad'" in r for r in bad.refusals(LIMITS))


def test_ahead_sees_the_end_of_a_ramp() -> None:
    run = ProfileRun(PROFILE, 37.5, 25.0)
    assert run.ahead(60.0) == pytest.approx(37.75)
    assert run.ahead(600.0) == 38.0


def test_a_ramp_that_waits_for_the_gel_asks_for_no_heat_ahead() -> None:
    ramp = {"kind": "ramp", "to_c": 38.0, "rate_c_per_h": 15.0, "wait_for": "gelled"}
    lid = {"name": "Lid", "card": "polyester-laminating", "resin_kg": 0.4, "catalyst_pct": 1.5,
           "sensor": "Lid"}  # fmt: skip
    profile = parse_profile({"name": "Waits", "segments": [ramp], "parts": [lid]})
    run = ProfileRun(profile, 20.0, 20.0)
    run.advance(2.0, oven(20.0, 20.0), lambda _: False)
    assert run.waiting
    assert run.ahead(600.0) == 20.0
    run.advance(2.0, oven(20.0, 20.0), lambda _: True)
    assert run.ahead(600.0) > 22.0


def test_a_ramp_that_waits_for_the_air_asks_for_no_less_heat() -> None:
    """A lead that came and went with every stop switched a saturated heater off at each."""
    run = ProfileRun(PROFILE, 9.0, 25.0)
    seen = set()
    for i in range(2000):
        before = run.ahead(180.0)
        run.advance(2.0, oven(9.0 + 0.001 * i))
        seen.add(run.waiting)
        assert 0.0 <= run.ahead(180.0) - before <= 15.0 * 2.0 / 3600.0 + 1e-9
    assert seen == {False, True}


def test_limits_bind_the_profile_below_the_trip() -> None:
    """A soak of 38 °C: 5 K under the air's limit, 1 K under the parts'."""
    assert PROFILE.refusals(Limits(air_c=43.0, part_c=39.0)) == ()
    assert PROFILE.refusals(Limits(air_c=42.5)) != ()
    assert PROFILE.refusals(Limits(part_c=38.5)) != ()


def test_an_earlier_oven_that_is_not_safe_by_now_starts_nothing() -> None:
    """Fails before this: a heater's limit its thermometer cannot see, air above the cut-out."""
    (hot,) = PROFILE.refusals(Limits(heater_c=200.0))
    assert "heater_c is 200" in hot
    assert "110 at the most" in hot
    (air,) = PROFILE.refusals(Limits(air_c=75.0, i_accept_limits_above_60_c=True))
    assert "air_c is 75" in air
    assert "cut_out_c = 65" in air


def test_a_recorded_night_is_held_to_what_was_allowed_then() -> None:
    then = Limits.model_construct(heater_c=200.0, air_c=39.0, part_c=39.0, cut_out_c=None)
    assert PROFILE.refusals(then) == ()


@pytest.mark.parametrize("cut_out_c", [45.0, 55.0, 65.0, 70.0])
def test_soak_air_and_cut_out_keep_their_distances(cut_out_c: float) -> None:
    """One rule: hottest soak + 5 <= air_c <= cut_out_c - 5."""
    limits = Limits(air_c=cut_out_c - 5.0, cut_out_c=cut_out_c, i_accept_limits_above_60_c=True)
    assert limits.no_heat() == ()
    soak_c = limits.hottest_soak_c
    assert soak_c + 5.0 <= limits.air_c <= cut_out_c - 5.0
    at_c = {**SOAK, "at_c": soak_c}
    asked = {"name": "Hot", "segments": [at_c]}
    assert parse_profile(asked).refusals(limits) == ()
    asked["segments"] = [{**at_c, "at_c": soak_c + 0.1}]
    assert "above what this oven may be asked for" in parse_profile(asked).refusals(limits)[0]
    higher = limits.model_copy(update={"air_c": limits.air_c + 0.1})
    assert "5 K below the cut-out" in higher.no_heat()[0]


def test_rows_of_a_card_above_what_the_oven_may_reach_are_told() -> None:
    """Fails before this: 60 and 80 °C of a post-cure stood in the card and nothing said so."""
    profile = load_profile(PROFILES / "until-demould.toml")
    (lid, rim) = profile.out_of_reach(LIMITS)
    rows = profile.parts[0].figures
    assert rows is not None
    hot = [at_c for at_c, _ in rows.post_cure_h if at_c > LIMITS.hottest_soak_c]
    assert hot
    assert lid.startswith("Lid: the card's post-cure at ")
    assert all(f"{at_c:g}" in lid for at_c in hot)
    assert "55 °C at the most" in lid
    assert rim.startswith("Rim: ")
    wide = Limits(air_c=65.0, part_c=80.0, cut_out_c=70.0, i_accept_limits_above_60_c=True)
    assert "post-cure at 60" not in str(profile.out_of_reach(wide))
    assert profile.model_copy(update={"parts": ()}).out_of_reach(LIMITS) == ()


def test_the_path_without_mains_wiring_takes_no_wet_part() -> None:
    """Its heater's own cut-out is a contact inside the box: whatever the vapour's estimate says."""
    plugged = changed(SETTINGS, installation={"wiring": "plug-in"}, heater={"power_w": 195.0})
    wet = load_profile(PROFILES / "until-demould.toml")
    assert wet.refusals(SETTINGS.limits) == (), "under ducted air"
    (refused,) = wet.refusals(plugged.limits)
    assert "'Lid' is wet, and into this box only parts go that have gelled and aired" in refused
    gelled = load_profile(PROFILES / "gelled-outside.toml")
    assert gelled.refusals(plugged.limits) == ()
    assert wet.refusals(plugged.limits, to_start=False) == (), "a plan may be reckoned"
