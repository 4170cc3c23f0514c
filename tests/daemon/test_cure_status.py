"""What the page is told of cure, and that the resins cure on when a night has tripped."""

from __future__ import annotations

import json

import pytest

from nightcure.daemon.status import live_state
from nightcure.loop.loop import Loop
from nightcure.profile import load_profile
from nightcure.simulate.faults import parse_fault
from nightcure.simulate.rehearse import rehearse
from nightcure.simulate.scenario import BOX, PROFILES, ambient_c
from nightcure.tick import Decision, Phase, TickInputs
from tests.nights import SETTINGS, still, word

UNTIL_DEMOULD = load_profile(PROFILES / "until-demould.toml")


def ticks_of(*faults: str) -> list[tuple[TickInputs, Decision]]:
    ticks: list[tuple[TickInputs, Decision]] = []
    rehearse(
        SETTINGS, UNTIL_DEMOULD, BOX, ambient_c, [parse_fault(f) for f in faults],
        on_tick=lambda i, d: ticks.append((i, d)),
    )  # fmt: skip
    return ticks


def test_the_live_state_tells_milestones_in_wall_time_and_what_is_waited_for() -> None:
    loop, said = Loop(SETTINGS), set()
    gelled_s = {}
    ticks = ticks_of()
    for k, (inputs, _) in enumerate(ticks):
        decision = loop.tick(inputs)
        if k % 50 and not decision.cure:
            continue
        live = json.loads(json.dumps(live_state(SETTINGS, loop, inputs, decision, 1.0)))
        said.add(live["next"].split(",")[0])
        for part in live["cure"]:
            at = {m["name"]: m["at_s"] for m in part["milestones"]}
            gelled_s[part["name"]] = at["gelled"]
        if live["cure"] and live["phase"] == "ramp" and live["segment"] == 1:
            ends_s = live["ends_s"]
    came = {p.name: p.milestones[0].at_s for _, d in ticks for p in d.cure}
    for name, at_s in came.items():
        assert at_s is not None
        assert gelled_s[name] == pytest.approx(ticks[0][0].wall_s + at_s, abs=3.0)
    assert "The ramp waits until every part is gelled" in said
    assert "Held at 32.0 °C until every part is hard enough to leave its mould" in said
    assert ends_s == pytest.approx(ticks[-1][0].wall_s, abs=1800.0), "the night's end is foreseen"


def test_without_parts_there_is_nothing_to_tell() -> None:
    loop = Loop(SETTINGS)
    inputs = still(0.0)
    assert live_state(SETTINGS, loop, inputs, loop.tick(inputs), 1.0)["cure"] == []


def test_resins_cure_on_after_a_trip_and_through_a_snapshot() -> None:
    loop = Loop(SETTINGS)
    for inputs, _ in ticks_of("sensor-missing@30min"):
        decision = loop.tick(inputs)
    assert decision.phase is Phase.TRIPPED
    assert loop.cure.clocks is not None
    before_min = loop.cure.clocks.parts()[0].equivalent_min
    twin = Loop(SETTINGS)
    twin.restore(json.loads(json.dumps(loop.snapshot(), allow_nan=False)))
    said = []
    for k in range(1, 3600):
        warm = still(inputs.mono_s + 2.0 * k, values=(20.0, 20.0, 20.0, 9.0))
        warm = warm._replace(wall_s=inputs.wall_s + 2.0 * k)
        decision = loop.tick(warm)
        assert decision == twin.tick(warm)
        assert not decision.heater_on
        said += [e.name for e in decision.events if e.kind == "cure"]
    assert loop.cure.clocks.parts()[0].equivalent_min == pytest.approx(before_min + 120.0, abs=2.0)
    assert said.count("gelled") == 2
    last = inputs.mono_s + 7200.0
    loop.tick(still(last, word("acknowledge", 2)))
    loop.tick(still(last + 2.0, word("reset", 3)))
    assert loop.cure.clocks is None
