"""Whether a broken-off night goes on, where the board has no clock of its own."""

from __future__ import annotations

from nightcure.guard.resume import CLOCK_WAIT_S, Moment, judge_resume
from tests.nights import SETTINGS, changed

ALLOWED_S = SETTINGS.timing.resume_within_min * 60.0
CUT = Moment(5000.0, 1.7e9, True, "before", 38.0, (36.0,), 9.0, True)
#: Half a minute later the board is up again; it knows no time.
BACK = Moment(30.0, 1.6e9, False, "after", 37.5, (35.9,), 9.0, True)
HEAT_W = 120.0


def cooled(waited_s: float, air_c: float, part_c: float, wall_s: float | None = None) -> Moment:
    """The oven after `waited_s` of waiting; `wall_s`: the network's time has come."""
    now = BACK._replace(mono_s=BACK.mono_s + waited_s, air_c=air_c, parts_c=(part_c,))
    return now if wall_s is None else now._replace(wall_s=wall_s, wall_known=True)


def test_what_it_cools_by_while_the_clock_is_waited_for_is_not_the_cut() -> None:
    """Fails before this: the fall of the wait was reckoned as the cut's, and an outage of seconds
    was refused as one of an hour."""
    cut, back = (
        m._replace(air_c=air_c, parts_c=(None,), ambient_known=False)
        for m, air_c in ((CUT, 25.0), (BACK, 24.0))
    )
    assert judge_resume(SETTINGS, cut, back, back, 250.0, 2.0) is None
    now = back._replace(mono_s=back.mono_s + CLOCK_WAIT_S, air_c=14.0)
    judged = judge_resume(SETTINGS, cut, back, now, 250.0, CLOCK_WAIT_S)
    old = judge_resume(SETTINGS, cut, now, now, 250.0, CLOCK_WAIT_S)
    assert old is None, "by the fall of the wait it is too long"
    assert judged is not None
    assert judged.resumed
    assert CLOCK_WAIT_S < judged.away_s < CLOCK_WAIT_S + 600.0


def test_the_wait_itself_makes_no_night_too_long() -> None:
    """Two minutes are left by what the oven tells: the clock is waited for five all the same
    (fails before this: for one and a half)."""
    fallen = BACK._replace(air_c=29.5, parts_c=(32.5,))
    generous = changed(SETTINGS, timing={"resume_within_min": 240.0})
    judged = judge_resume(generous, CUT, fallen, fallen._replace(mono_s=330.0), HEAT_W, 300.0)
    assert judged is not None
    likely_s = judged.away_s - 300.0
    narrow = changed(SETTINGS, timing={"resume_within_min": (likely_s + 120.0) / 60.0})
    assert judge_resume(narrow, CUT, fallen, fallen._replace(mono_s=320.0), HEAT_W, 290.0) is None
    judged = judge_resume(narrow, CUT, fallen, fallen._replace(mono_s=330.0), HEAT_W, 300.0)
    assert judged is not None
    assert judged.resumed


def test_by_the_oven_alone_twice_as_long_is_borne_where_it_may_have_been_less() -> None:
    """18 min were told as 31 in an oven whose moulds are not those of its settings (fails before
    this). What cannot have been as little as allowed is refused, and so is twice as much."""
    fallen = BACK._replace(air_c=29.5, parts_c=(32.5,))
    generous = changed(SETTINGS, timing={"resume_within_min": 240.0})
    judged = judge_resume(generous, CUT, fallen, fallen, HEAT_W, 300.0)
    assert judged is not None
    likely_s, least_s = judged.away_s, judged.cured_s
    assert least_s < 0.8 * likely_s
    for allowed_s, goes_on in ((0.9 * likely_s, True), (0.49 * likely_s, False),
                               (0.98 * least_s, False)):  # fmt: skip
        allowed = changed(SETTINGS, timing={"resume_within_min": allowed_s / 60.0})
        later = fallen._replace(mono_s=30.0 + allowed_s)
        judged = judge_resume(allowed, CUT, fallen, later, HEAT_W, allowed_s)
        assert judged is not None
        assert judged.resumed is goes_on


def test_an_open_box_is_no_clock() -> None:
    """The air was in doubt as the cut came: the clock alone tells, or nobody does."""
    known = BACK._replace(air_c=8.0, wall_s=CUT.wall_s + 300.0, wall_known=True)
    judged = judge_resume(SETTINGS, CUT, known, known, HEAT_W, 2.0, doubted=True)
    assert judged is not None
    assert judged.resumed
    assert judged.away_s == 300.0
    timeless = BACK._replace(air_c=8.0)
    assert judge_resume(SETTINGS, CUT, timeless, timeless, HEAT_W, 2.0, doubted=True) is None
    later = timeless._replace(mono_s=30.0 + ALLOWED_S)
    judged = judge_resume(SETTINGS, CUT, timeless, later, HEAT_W, ALLOWED_S, doubted=True)
    assert judged is not None
    assert not judged.resumed
    assert "the box was open" in judged.sentence


def test_the_air_as_the_night_began_bounds_a_shed_that_nobody_measures() -> None:
    """Typed in summer: 9 °C. The night began at 2 °C, and its 14 °C after the cut are no shed's
    (fails before this: nobody could tell). Without a word of how it began nobody can."""
    cut, back = (
        m._replace(air_c=air_c, parts_c=(None,), ambient_known=False)
        for m, air_c in ((CUT, 15.5), (BACK, 14.0))
    )
    for began_c, waited_s, said in (
        (2.0, CLOCK_WAIT_S, "Resumed after about"),
        (None, ALLOWED_S, "The night was not resumed: nobody can tell"),
    ):
        now = back._replace(mono_s=back.mono_s + waited_s)
        cut = cut._replace(began_c=began_c)
        judged = judge_resume(SETTINGS, cut, back, now, 250.0, waited_s)
        assert judged is not None
        assert judged.sentence.startswith(said)


def test_a_shed_warmer_than_typed_is_no_warm_oven() -> None:
    """Typed in winter: 9 °C. The oven began at 24 °C and is at 24.5 °C again: after any time at
    all (fails before this: it was reckoned as half an hour's fall)."""
    cut, cold = (
        m._replace(air_c=air_c, parts_c=(None,), ambient_known=False)
        for m, air_c in ((CUT._replace(began_c=24.0), 40.0), (BACK, 24.5))
    )
    judged = judge_resume(SETTINGS, cut, cold, cold._replace(mono_s=1830.0), 120.0, ALLOWED_S)
    assert judged is not None
    assert not judged.resumed
    assert "nobody can tell" in judged.sentence


def test_the_air_that_fell_while_the_clock_was_waited_for_is_not_held_against_the_night() -> None:
    later = cooled(660.0, 8.0, 20.0, CUT.wall_s + 720.0)
    judged = judge_resume(SETTINGS, CUT, BACK, later, HEAT_W, 660.0)
    assert judged is not None
    assert judged.resumed, "fails before this: 30 K since the cut, though half a kelvin by its end"


def test_a_clock_that_comes_late_is_held_against_the_fall_of_the_cut() -> None:
    """12 min in all, 11 of them waited: the fall since would have contradicted the clock."""
    now = cooled(660.0, 28.0, 31.0, CUT.wall_s + 720.0)
    judged = judge_resume(SETTINGS, CUT, BACK, now, HEAT_W, 660.0)
    assert judged is not None
    assert judged.resumed
    assert judged.away_s == 720.0
    assert "by how far" not in judged.sentence


def test_a_long_cut_is_refused_at_once_by_a_clock_and_after_the_wait_without() -> None:
    cold = BACK._replace(air_c=20.0, parts_c=(22.0,))
    assert judge_resume(SETTINGS, CUT, cold, cold, HEAT_W, 2.0) is None
    later = cold._replace(mono_s=30.0 + ALLOWED_S)
    judged = judge_resume(SETTINGS, CUT, cold, later, HEAT_W, ALLOWED_S)
    assert judged is not None
    assert not judged.resumed
    known = cold._replace(wall_s=CUT.wall_s + 3.0 * 3600.0, wall_known=True)
    judged = judge_resume(SETTINGS, CUT, cold, known, HEAT_W, 2.0)
    assert judged is not None
    assert not judged.resumed
