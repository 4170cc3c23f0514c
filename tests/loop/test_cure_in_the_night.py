"""Cure in the loop: soaks end on it, ramps wait for it, nights replay."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from nightcure.cure.cure_clock import CureClock
from nightcure.ledger.reader import LedgerReader
from nightcure.loop.commands import ALL_CONFIRMED
from nightcure.loop.loop import Loop
from nightcure.profile import Profile, parse_profile
from tests.nights import COARSE, SETTINGS, run, still, word
from tests.recording import RecordedOven, replay

from .demould_night import TICK_S, UNTIL_DEMOULD, Ticks, cold_profile, colder, edited, night


def soak_ends_s(ticks: Ticks) -> float:
    """When the soak gave way to the cool-down."""
    return next(i.mono_s for i, d in ticks if d.segment == 3)


def slowest_demould_s(profile: Profile, ticks: Ticks) -> float:
    """When the slowest part is at its demould, by clocks run over what each thermometer said."""
    names = [t.name for t in SETTINGS.thermometers]
    found = []
    for part in profile.parts:
        assert part.figures is not None
        assert part.sensor is not None
        clock, sensor = CureClock(part.figures), names.index(part.sensor)
        for i, d in ticks[1:]:
            since_s = min(TICK_S, i.mono_s - 3600.0 * part.start_h)
            part_c = d.believed[sensor]
            if since_s > 0.0 and part_c is not None:
                clock.advance(i.mono_s, since_s, part_c)
        found.append(next(w.at_s for w in clock.whens() if w.name == "demould"))
    assert all(found)
    return max(f or 0.0 for f in found)


def test_a_soak_ends_within_a_tick_of_its_slowest_part_and_later_in_a_colder_night() -> None:
    ends, by_clock = [], []
    for by_k in (0.0, 8.0):
        result, ticks = night(UNTIL_DEMOULD, colder(by_k))
        assert result.figures.outcome == "done"
        ends.append(soak_ends_s(ticks))
        by_clock.append(slowest_demould_s(UNTIL_DEMOULD, ticks))
        assert 0.0 <= ends[-1] - by_clock[-1] <= TICK_S
    later_s = ends[1] - ends[0]
    assert later_s > 600.0
    assert later_s == pytest.approx(by_clock[1] - by_clock[0], abs=TICK_S)


def test_the_rehearsal_tells_every_milestone_of_every_part() -> None:
    result, _ = night(UNTIL_DEMOULD)
    told = {(m["part"], m["name"]): m for m in result.figures.milestones}
    assert {part for part, _ in told} == {"Lid", "Rim"}
    for part in ("Lid", "Rim"):
        for name in ("gelled", "laminate-opens", "demould"):
            m = told[part, name]
            assert m["low_s"] < m["at_s"]
            assert m["high_s"] is None or m["at_s"] < m["high_s"]
    assert [name for _, name, _ in result.events].count("gelled") == 2


def test_what_was_foreseen_comes_true() -> None:
    """Foreseen at the soak's start: the demould of each part, within 10 min of what came."""
    _, ticks = night(UNTIL_DEMOULD)
    soak_s = next(i.mono_s for i, d in ticks if d.segment == 2)
    seen = next(d.cure for i, d in ticks if d.cure and i.mono_s > soak_s)
    came = [d.cure for _, d in ticks if d.cure][-1]
    for before, after in zip(seen, came, strict=True):
        foreseen = next(w.at_s for w in before.milestones if w.name == "demould")
        came_s = next(w.at_s for w in after.milestones if w.name == "demould")
        assert foreseen is not None
        assert foreseen > soak_s
        assert foreseen == pytest.approx(came_s, abs=600.0)


def test_a_ramp_waits_for_the_gel_of_every_part() -> None:
    result, ticks = night(UNTIL_DEMOULD)
    gelled_s = max(t for t, name, _ in result.events if name == "gelled")
    began_s = next(i.mono_s for i, d in ticks if d.segment == 1)
    assert began_s < gelled_s
    for i, d in ticks:
        if began_s < i.mono_s < gelled_s:
            assert d.waiting
            assert d.setpoint_c == 20.0
    assert next(i.mono_s for i, d in ticks if (d.setpoint_c or 0.0) > 20.0) >= gelled_s


def test_the_same_inputs_decide_the_same_through_snapshots_as_text() -> None:
    _, ticks = night(UNTIL_DEMOULD)
    loop = Loop(COARSE)
    for k, (inputs, decision) in enumerate(ticks):
        if k % 331 == 17:
            state = json.loads(json.dumps(loop.snapshot(), allow_nan=False))
            loop = Loop(COARSE)
            loop.restore(state)
        assert loop.tick(inputs) == decision


def test_a_ramp_waits_no_longer_than_it_may_and_says_so() -> None:
    result, ticks = night(edited(wait={"wait_at_most_h": 0.1}))
    began_s = next(i.mono_s for i, d in ticks if d.segment == 1)
    moved_s = next(i.mono_s for i, d in ticks if (d.setpoint_c or 0.0) > 20.0)
    assert moved_s - began_s == pytest.approx(360.0, abs=2 * TICK_S)
    # The ramp takes an hour, both parts have gelled by its end: nothing is left to say.
    assert "not-reached" not in [name for _, name, _ in result.events]


def test_a_soak_ends_at_its_most_and_says_who_is_not_so_far() -> None:
    result, ticks = night(edited(soak={"hours": 0.2}))
    began_s = next(i.mono_s for i, d in ticks if d.segment == 2)
    assert soak_ends_s(ticks) - began_s == pytest.approx(720.0, abs=TICK_S)
    said = [m for _, name, m in result.events if name == "not-reached"]
    assert len(said) == 2
    assert all("more at this warmth" in m for m in said)
    early = [(t, m) for t, name, m in result.events if name == "not-in-time"]
    assert early
    assert early[0][0] < began_s, "it is told ahead, not when it is too late"


def test_a_night_too_cold_to_cure_says_so_and_what_would_do() -> None:
    """2 % has no data below 10 °C: nothing is promised at 9, and what would do is named."""
    result, _ = night(cold_profile(9.0, 4.0), lambda _t: 6.0)
    said = [m for _, name, m in result.events if name == "not-in-time"]
    assert any("no data below 10.0 °C, so expect no cure" in m for m in said)
    would_do = [m for m in said if "would do" in m]
    assert would_do
    named_c = float(would_do[0].rsplit(";", 1)[1].split()[0])
    part = UNTIL_DEMOULD.parts[0]
    assert part.figures is not None
    clock = CureClock(part.figures)
    assert (clock.needs_s("demould", named_c) or 1e9) <= 4 * 3600.0
    assert (clock.needs_s("demould", named_c - 1.0) or 1e9) > 4 * 3600.0


def test_too_short_a_soak_says_how_long_it_would_take() -> None:
    result, _ = night(cold_profile(20.0, 1.0))
    said = [m for _, name, m in result.events if name == "not-in-time"]
    assert any("it needs about" in m and "would do" in m for m in said)


# ---- to the bit -----------------------------------------------------------------------------


SHORT = parse_profile(
    {
        **UNTIL_DEMOULD.model_dump(mode="json"),
        "segments": [
            {"kind": "ramp", "to_c": 22.0, "rate_c_per_h": 20.0},
            {"kind": "soak", "at_c": 22.0, "hours": 0.4, "until": "gelled"},
        ],
    }
)


def test_a_night_broken_off_goes_on_with_its_cure_and_replays_to_the_bit(tmp_path: Path) -> None:
    oven = RecordedOven(tmp_path / "night.ledger")
    oven.run(3000.0, profile=SHORT)
    clocks = oven.loop.cure.clocks
    assert clocks is not None
    before_min = clocks.parts()[0].equivalent_min
    oven.close()
    for _ in range(150):
        oven.oven.step(2.0, False, False)
    oven.t_s += 300.0  # dark meanwhile
    oven.open()
    oven.tick()
    clocks = oven.loop.cure.clocks
    assert clocks is not None
    after_min = clocks.parts()[0].equivalent_min
    assert clocks.now_s == pytest.approx(3302.0, abs=4.0)
    assert after_min > before_min + 2.0, "the resin went on while nobody looked"
    oven.run(5400.0)
    oven.close()
    count, differences = replay(tmp_path / "night.ledger")
    assert count > 1500
    assert differences == []
    told = [json.loads(r.decision).get("cure") for r in LedgerReader(oven.ledger).ticks(1)]
    assert sum(1 for cure in told if cure) >= count / 31, "every part's cure, once a minute"
    assert {c[0] for cure in told if cure for c in cure} == {"Lid", "Rim"}
    assert b"has gelled" in oven.ledger.read_bytes(), "milestones are among the ledger's events"


# ---- parts ----------------------------------------------------------------------------------


def test_parts_may_come_with_the_start_command_instead() -> None:
    bare = UNTIL_DEMOULD.model_copy(update={"parts": ()}).model_dump(mode="json")
    part = {**UNTIL_DEMOULD.parts[0].model_dump(mode="json"), "name": "Spare", "start_h": -0.5}
    loop = Loop(SETTINGS)
    command = word("start", 1, profile=bare, parts=[part], **ALL_CONFIRMED)
    d = run(loop, [still(0.0, command, values=(20.0, 20.0, 20.0, 9.0))])[0]
    assert [o.outcome for o in d.outcomes] == ["done"]
    assert loop.cure.clocks is not None
    spare = loop.cure.clocks.parts()[0]
    assert spare.name == "Spare"
    assert spare.milestones[0].at_s is not None
    assert spare.milestones[0].at_s == pytest.approx(-600.0), "mixed half an hour ago at 20 °C"


def test_several_resins_with_their_own_starts() -> None:
    gel_coat = {"name": "Lid, gel coat", "card": "polyester-gelcoat", "catalyst_pct": 3.0,
                "resin_kg": 0.2, "sensor": "Lid", "start_h": -1.0}  # fmt: skip
    epoxy = {"name": "Fin", "card": "epoxy-fast", "resin_kg": 0.1, "start_h": 1.0}
    from nightcure.cure.part import with_figures

    data = UNTIL_DEMOULD.model_dump(mode="json")
    data["parts"] = [*data["parts"], gel_coat, epoxy]
    result, ticks = night(parse_profile(with_figures(data)))
    gelled = {m["part"]: m["at_s"] for m in result.figures.milestones if m["name"] == "gelled"}
    assert set(gelled) == {"Lid", "Rim", "Lid, gel coat", "Fin"}
    assert gelled["Fin"] > 3600.0
    waited_s = next(i.mono_s for i, d in ticks if (d.setpoint_c or 0.0) > 20.0)
    assert waited_s >= max(gelled.values())
