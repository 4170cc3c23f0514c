"""Cure in the loop: soaks end on it, ramps wait for it, the exotherm is expected, nights replay."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import psutil
import pytest

from nightcure.codec import encode_rest
from nightcure.cure.clock import CureClock
from nightcure.cure.notes import vapour_note
from nightcure.errors import BadInput
from nightcure.ledger.reader import LedgerReader
from nightcure.loop import Loop
from nightcure.oven.faults import parse_fault
from nightcure.profile import Profile, load_profile, parse_profile
from nightcure.records import Decision, Phase, TickInputs
from nightcure.rehearse import Rehearsal, rehearse
from nightcure.scenario import BOX, PROFILES, ambient_c
from tests.faults.test_budget import MOST_PROCESSOR_SHARE, MOST_RESIDENT_BYTES
from tests.nights import SETTINGS, run, start, still, word
from tests.recording import RecordedOven, replay
from tests.workshop import Workshop, wait_for

UNTIL_DEMOULD = load_profile(PROFILES / "until-demould.toml")
TICK_S = 2.0
Ticks = list[tuple[TickInputs, Decision]]


def night(
    profile: Profile, ambient: Callable[[float], float] = ambient_c, **more: Any
) -> tuple[Rehearsal, Ticks]:
    """A rehearsed night and its every tick."""
    ticks: Ticks = []
    result = rehearse(
        SETTINGS, profile, BOX, ambient, on_tick=lambda i, d: ticks.append((i, d)), **more
    )
    return result, ticks


def edited(**changes: Any) -> Profile:
    """The shipped night until demould with some fields of its segments and parts replaced.

    `soak`, `wait`, `lid`, `rim`: updates of the soak, the waiting ramp and the parts.
    """
    data = UNTIL_DEMOULD.model_dump(mode="json")
    data["segments"][2] |= changes.get("soak", {})
    data["segments"][1] |= changes.get("wait", {})
    data["parts"][0] |= changes.get("lid", {})
    data["parts"][1] |= changes.get("rim", {})
    if "parts" in changes:
        data["parts"] = changes["parts"]
    return parse_profile(data)


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


def colder(by_k: float) -> Callable[[float], float]:
    return lambda t_s: ambient_c(t_s) - by_k


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


def cold_profile(at_c: float, hours: float, until: str = "demould") -> Profile:
    data = UNTIL_DEMOULD.model_dump(mode="json")
    data["segments"] = [
        {"kind": "ramp", "to_c": at_c, "rate_c_per_h": 15.0},
        {"kind": "soak", "at_c": at_c, "hours": hours, "until": until},
    ]
    return parse_profile(data)


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


def test_the_same_inputs_decide_the_same_through_snapshots_as_text() -> None:
    _, ticks = night(UNTIL_DEMOULD)
    loop = Loop(SETTINGS)
    for k, (inputs, decision) in enumerate(ticks):
        if k % 331 == 17:
            state = json.loads(json.dumps(loop.snapshot(), allow_nan=False))
            loop = Loop(SETTINGS)
            loop.restore(state)
        assert loop.tick(inputs) == decision


SHORT = parse_profile(
    {
        **UNTIL_DEMOULD.model_dump(mode="json"),
        "segments": [
            {"kind": "ramp", "to_c": 22.0, "rate_c_per_h": 20.0},
            {"kind": "soak", "at_c": 22.0, "hours": 0.4, "until": "gelled"},
        ],
    }
)


def test_a_recorded_night_with_parts_replays_to_the_bit(tmp_path: Path) -> None:
    with RecordedOven(tmp_path / "night.ledger") as oven:
        oven.run(5400.0, profile=SHORT)
    count, differences = replay(tmp_path / "night.ledger")
    assert count > 1500
    assert differences == []
    reader = LedgerReader(tmp_path / "night.ledger")
    told = [json.loads(row.decision).get("cure") for row in reader.ticks(1)]
    assert sum(1 for cure in told if cure) >= count / 31, "every part's cure, once a minute"
    assert {c[0] for cure in told if cure for c in cure} == {"Lid", "Rim"}
    text = (tmp_path / "night.ledger").read_bytes()
    assert b"has gelled" in text, "milestones are among the ledger's events"


def test_a_night_broken_off_goes_on_with_its_cure(tmp_path: Path) -> None:
    oven = RecordedOven(tmp_path / "night.ledger")
    oven.run(3000.0, profile=SHORT)
    watch = oven.loop.cure.watch
    assert watch is not None
    before_min = watch.parts()[0].equivalent_min
    oven.close()
    oven.t_s += 300.0  # dark meanwhile, the oven as it was
    oven.open()
    oven.tick()
    watch = oven.loop.cure.watch
    assert watch is not None
    after_min = watch.parts()[0].equivalent_min
    assert watch.now_s == pytest.approx(3302.0, abs=4.0)
    assert after_min > before_min + 2.0, "the resin went on while nobody looked"
    oven.run(5400.0)
    oven.close()
    count, differences = replay(tmp_path / "night.ledger")
    assert count > 1500
    assert differences == []


# ---- parts ----------------------------------------------------------------------------------


def test_parts_may_come_with_the_start_command_instead() -> None:
    bare = UNTIL_DEMOULD.model_copy(update={"parts": ()}).model_dump(mode="json")
    part = {**UNTIL_DEMOULD.parts[0].model_dump(mode="json"), "name": "Spare", "start_h": -0.5}
    loop = Loop(SETTINGS)
    command = word("start", 1, profile=bare, parts=[part])
    d = run(loop, [still(0.0, command, values=(20.0, 20.0, 20.0, 9.0))])[0]
    assert [o.outcome for o in d.outcomes] == ["done"]
    assert loop.cure.watch is not None
    spare = loop.cure.watch.parts()[0]
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


def refused(profile: dict[str, Any], parts: Any = None) -> str:
    loop = Loop(SETTINGS)
    args = {"profile": profile} if parts is None else {"profile": profile, "parts": parts}
    d = loop.tick(still(0.0, word("start", 1, **args)))
    assert d.outcomes[0].outcome == "refused"
    assert d.phase is Phase.IDLE
    assert not d.heater_on
    return d.outcomes[0].message


def part_json(**changes: Any) -> dict[str, Any]:
    return {**UNTIL_DEMOULD.parts[0].model_dump(mode="json"), **changes}


@pytest.mark.parametrize(
    ("parts", "sentence"),
    [
        ([], "no part has a resin card that tells it"),
        ([part_json(figures=None)], "not filled in"),
        ([part_json(sensor="Lit")], "thermometer 'Lit', which this oven has not"),
        ([part_json(resin_kg=-1.0)], "it should be above 0"),
        ([part_json(resin_kg=None)], "it should be a number"),
        ([part_json(catalyst_pct=12.0)], "it should be at most 5"),
        ([part_json(catalyst_pct=0.0)], "it should be above 0"),
        ([part_json(start_h=1e9)], "it should be at most 72"),
        ([part_json(), part_json()], "two parts have this name"),
        ([part_json(colour="red")], "not a key that is known"),
        ("resin", "it should be a list"),
        ([part_json()] * 9, "it should have at most 8"),
    ],
)
def test_parts_that_cannot_be_are_refused(parts: Any, sentence: str) -> None:
    assert sentence in refused(UNTIL_DEMOULD.model_dump(mode="json"), parts)


@pytest.mark.parametrize(
    ("figures", "sentence"),
    [
        ({"gel_min": [[20.0, 20.0], [20.0, 20.0]]}, "should become warmer"),
        ({"gel_min": [[20.0, 20.0], [10.0, 60.0]]}, "should become warmer"),
        ({"gel_min": [[10.0, 20.0], [20.0, 60.0]]}, "not slower"),
        ({"gel_min": []}, "at least 1"),
        ({"gel_min": [[20.0, 0.0]]}, "above 0"),
        ({"post_cure_h": [[40.0, 16.0], [40.0, 8.0]]}, "should become warmer"),
        ({"demould_min": [300.0, 200.0, 100.0]}, "early, likely, late"),
        ({"cure_kj_per_mol": 1e9}, "at most 250"),
        ({"reference_c": -300.0}, "at least 0"),
        ({"self_heat": {"seed": 0.0, "gel_degree": 2.0, "heat_j_per_kg_resin": -1.0}}, "above 0"),
    ],
)
def test_figures_that_would_break_the_clock_are_refused(
    figures: dict[str, Any], sentence: str
) -> None:
    part = UNTIL_DEMOULD.parts[0].model_dump(mode="json")
    part["figures"] |= figures
    assert sentence in refused(UNTIL_DEMOULD.model_dump(mode="json"), [part])


def test_a_profile_hotter_or_steeper_than_its_card_is_refused() -> None:
    part = UNTIL_DEMOULD.parts[0].model_dump(mode="json")
    part["figures"] |= {"highest_c": 30.0, "ramp_c_per_h": 10.0}
    said = refused(UNTIL_DEMOULD.model_dump(mode="json"), [part])
    assert "asks for 32 °C and its card allows 30 °C" in said
    assert "steeper than its card's 10" in said


def test_a_card_that_is_not_there_is_told_when_the_profile_is_read(tmp_path: Path) -> None:
    text = (PROFILES / "until-demould.toml").read_text()
    path = tmp_path / "night.toml"
    path.write_text(text.replace("polyester-laminating", "polyester-lamination"))
    with pytest.raises(BadInput, match="part 1: there is no resin card"):
        load_profile(path)
    path.write_text(text.replace("catalyst_pct = 2.0", "catalyst_pct = 0.5"))
    with pytest.raises(BadInput, match=r"part 1: .* none for 0\.5 %"):
        load_profile(path)


def test_waiting_does_not_hide_a_night_that_is_too_long() -> None:
    said = refused(edited(wait={"wait_at_most_h": 12.0}).model_dump(mode="json"))
    assert "the longest night allowed" in said


def test_a_gel_coat_that_may_not_be_heated_before_it_gels_is_spoken_of() -> None:
    from nightcure.cure.part import with_figures

    data = cold_profile(25.0, 1.0, "gelled").model_dump(mode="json") | {"box": None}
    data["parts"] = [{"name": "Gel coat", "card": "polyester-gelcoat", "catalyst_pct": 2.0,
                      "resin_kg": 0.2}]  # fmt: skip
    d = Loop(SETTINGS).tick(still(0.0, start(parse_profile(with_figures(data)))))
    told = [e.name for e in d.events if e.kind == "cure"]
    assert told == ["vapour", "heat-before-gel"]


# ---- vapour ---------------------------------------------------------------------------------


def boxed(**fields: Any) -> dict[str, Any]:
    data = UNTIL_DEMOULD.model_dump(mode="json")
    data["box"] |= fields
    return data


def test_much_vapour_is_refused_until_the_numbers_change() -> None:
    """1.3 kg of resin at 42 % monomer, all of the emission rule's share, in 0.43 m³, no vent."""
    said = refused(boxed(evaporated_pct=None, air_changes_per_h=0.0))
    assert "do not start" in said
    assert "do not start" in refused(
        boxed(evaporated_pct=None, air_changes_per_h=0.0, i_accept_vapour_above_25_percent=True)
    )


def test_some_vapour_wants_a_confirmation_and_is_in_the_record() -> None:
    some = boxed(evaporated_pct=4.0, air_changes_per_h=1.5)
    said = refused(some)
    assert "i_accept_vapour_above_25_percent" in said
    assert "m³/h of fresh air would do" in said
    some["box"]["i_accept_vapour_above_25_percent"] = True
    d = Loop(SETTINGS).tick(still(0.0, start(parse_profile(some))))
    assert d.outcomes[0].outcome == "done"
    told = next(e.message for e in d.events if e.name == "vapour")
    assert "% of the lower explosive limit" in told
    assert "certifies nothing" in told


# ---- its own heat ---------------------------------------------------------------------------

#: Laid up thick: this much resin warms its mould by more than the plain allowance of 8 K.
THICK = edited(lid={"resin_kg": 2.0}, rim={"resin_kg": 1.2}, wait={"wait_at_most_h": 0.1},
               soak={"at_c": 36.0})  # fmt: skip
THICK = THICK.model_copy(
    update={"segments": (THICK.segments[0], THICK.segments[1].model_copy(update={"to_c": 36.0}),
                         *THICK.segments[2:])}
)  # fmt: skip


def above_air_k(ticks: Ticks) -> float:
    return max(
        (d.believed[1] or 0.0) - (d.control_c or 0.0)
        for _, d in ticks
        if d.phase in (Phase.RAMP, Phase.SOAK)
    )


def without_heat(profile: Profile) -> Profile:
    """The same parts with cards that know nothing of heat."""
    parts = tuple(
        p.model_copy(update={"figures": p.figures.model_copy(update={"self_heat": None})})
        for p in profile.parts
        if p.figures is not None
    )
    return profile.model_copy(update={"parts": parts})


def test_an_expected_exotherm_does_not_trip() -> None:
    result, ticks = night(THICK)
    assert above_air_k(ticks) > SETTINGS.limits.exotherm_c
    assert result.figures.outcome == "done"


def test_an_abnormal_exotherm_trips_and_sooner_than_the_plain_rule() -> None:
    """A part that heats itself by surprise (400 W): the card expects nothing, so 4 K are enough."""
    times = {}
    for name, profile in (("card", UNTIL_DEMOULD), ("none", without_heat(UNTIL_DEMOULD))):
        result, ticks = night(profile, faults=[parse_fault("exotherm@20min")])
        assert result.figures.trip == "exotherm"
        times[name] = ticks[-1][0].mono_s
    assert times["card"] < times["none"]


@pytest.mark.parametrize(("heat_times", "below_c"), [(3.0, 45.0), (2.0, 58.0)])
def test_more_heat_than_expected_trips_long_before_it_is_over_temperature(
    heat_times: float, below_c: float
) -> None:
    result, _ = night(THICK, heat_times=heat_times)
    assert result.figures.trip == "exotherm"
    assert result.figures.part_max_c is not None
    assert result.figures.part_max_c < below_c


@pytest.mark.parametrize(("times", "by_k"), [(0.8, 0.0), (1.25, 0.0), (1.0, 8.0), (1.0, -8.0)])
def test_other_moulds_and_other_nights_do_not_trip(times: float, by_k: float) -> None:
    """Moulds a fifth lighter or a quarter heavier than the model's; a shed 8 K off."""
    result = rehearse(SETTINGS, THICK, BOX.with_mould_times(times), colder(by_k), seed=3)
    assert result.figures.outcome == "done"
    assert [a["name"] for a in result.figures.alarms] == []


def three_parts() -> Profile:
    third = {**UNTIL_DEMOULD.parts[1].model_dump(mode="json"), "name": "Spare", "start_h": 1.0}
    data = UNTIL_DEMOULD.model_dump(mode="json")
    data["parts"].append(third)
    return parse_profile(data)


def test_three_parts_leave_the_record_small() -> None:
    """What is written every tick: the snapshot, and the cure in a decision once a minute."""
    _, ticks = night(three_parts())
    loop = Loop(SETTINGS)
    sizes = [len(encode_rest(loop.tick(inputs))) for inputs, _ in ticks[:2000]]
    assert len(json.dumps(loop.snapshot())) < 12_000
    assert sum(sizes) / len(sizes) < 150


def test_the_controller_with_three_parts_keeps_its_budgets(tmp_path: Path) -> None:
    """60 MB resident and 2 % of a core at a tick of 2 s, as without parts; no numerics."""
    with Workshop(tmp_path) as workshop:
        process = psutil.Process(workshop.controller().pid)
        workshop.command("start", {"profile": three_parts().model_dump(mode="json")})
        wait_for(lambda: len((workshop.live() or {}).get("cure", [])) == 3, 60, "three parts")
        first = workshop.live()
        assert first is not None
        spent_s = sum(process.cpu_times()[:2])

        def ticks() -> int:
            return int((workshop.live() or first)["seq"] - first["seq"])

        wait_for(lambda: ticks() >= 34, 120, "34 ticks, a look ahead among them")
        spent_s = sum(process.cpu_times()[:2]) - spent_s
        share = spent_s / (ticks() * 2.0)
        assert share < MOST_PROCESSOR_SHARE, f"{100 * share:.2f} %"
        assert process.memory_info().rss < MOST_RESIDENT_BYTES
        libraries = {m.path for m in process.memory_maps()}
        assert not [path for path in libraries if "numpy" in path or "scipy" in path]


def test_vapour_that_nobody_reckoned_is_said() -> None:
    """A resin with styrene and no box told: the record must not look as if all were well."""
    unboxed = UNTIL_DEMOULD.model_copy(update={"box": None})
    (event,) = vapour_note(unboxed)
    assert event.message.startswith("Vapour: not reckoned")
    assert vapour_note(unboxed.model_copy(update={"parts": ()})) == []
