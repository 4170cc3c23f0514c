"""What is said of the night's end is true, the cool-down included."""

from __future__ import annotations

import pytest

from nightcure.daemon.status import live_state
from nightcure.loop.loop import Loop
from nightcure.profile import Profile, load_profile
from nightcure.simulate.rehearse import rehearse
from nightcure.simulate.scenario import BOX, PROFILES, ambient_c
from nightcure.tick import Decision, Phase, TickInputs
from tests.nights import COARSE


@pytest.mark.parametrize("name", ["gelled-outside", "lid-and-rim"])
def test_the_end_is_foreseen_through_the_cool_down(name: str) -> None:
    """On the scenario's oven, whose box is not built like the settings' model.

    Fails before this: '0 min left' stood there while the moulds cooled on for most of an hour.
    """
    profile: Profile = load_profile(PROFILES / f"{name}.toml")
    ticks: list[tuple[TickInputs, Decision]] = []
    rehearse(COARSE, profile, BOX, ambient_c, [], on_tick=lambda i, d: ticks.append((i, d)))
    end_s = next(i.mono_s for i, d in reversed(ticks) if d.phase is Phase.COOL)
    loop, cooling, soaking = Loop(COARSE), [], []
    for inputs, _ in ticks:
        decision = loop.tick(inputs)
        live = live_state(COARSE, loop, inputs, decision, 1.0)
        truly_s = end_s - inputs.mono_s
        if decision.phase is Phase.COOL and truly_s > 300.0:
            cooling.append(live["left_s"] / truly_s)
        if decision.phase is Phase.SOAK and not decision.waiting and truly_s < 9000.0:
            soaking.append(live["left_s"] - truly_s)
        if live["most_s"] is not None:
            assert live["most_s"] >= live["left_s"]
    assert len(cooling) > 100
    assert min(cooling) > 0.6
    assert max(cooling) < 1.5
    assert max(map(abs, soaking)) < 1800.0
