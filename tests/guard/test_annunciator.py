"""The annunciator's basic sequence, after ISA-18.1 (from memory, sequences A and M): what sounds,
what flashes, what stays lit; and that silencing neither acknowledges nor resets."""

from __future__ import annotations

import json
from typing import Any

import pytest

from nightcure.errors import BadInput
from nightcure.guard.alarms import Alarms, State
from nightcure.guard.annunciator import Annunciator
from nightcure.loop.loop import Loop
from nightcure.settings import AnnunciatorOutputs, Settings
from nightcure.tick import Decision, Lamp, Phase
from tests.nights import SETTINGS, SHORT, start, still, word

DARK, LIT, FLASHES = Lamp.DARK, Lamp.LIT, Lamp.FLASHES


def oven(**keys: Any) -> tuple[Alarms, Annunciator]:
    settings = SETTINGS.model_copy(update={"annunciator": AnnunciatorOutputs(**keys)})
    alarms = Alarms()
    return alarms, Annunciator(settings, alarms)


def shown(annunciator: Annunciator) -> tuple[bool, Lamp]:
    s = annunciator.signals(Phase.SOAK, False)
    return s.siren, s.alarm


def step(alarms: Alarms, annunciator: Annunciator, do: str) -> None:
    if do == "raise":
        alarms.report("hot", alarms_latch, "Too hot.", 5.0)
    elif do == "clear":
        alarms.report("hot", alarms_latch, None, 6.0)
    elif do == "acknowledge":
        alarms.acknowledge(None)
    elif do == "reset":
        alarms.reset()
    else:
        annunciator.silence()


alarms_latch = False

#: What happens one after the other, and what is shown after each: siren, lamp.
SEQUENCES = {
    "acknowledged, then normal": (
        False,
        [
            ("raise", True, FLASHES),
            ("acknowledge", False, LIT),
            ("clear", False, DARK),
        ],
    ),
    "gone before anybody came": (
        False,
        [
            ("raise", True, FLASHES),
            ("clear", True, FLASHES),
            ("acknowledge", False, DARK),
        ],
    ),
    "a trip stays lit until its reset": (
        True,
        [
            ("raise", True, FLASHES),
            ("acknowledge", False, LIT),
            ("clear", False, LIT),
            ("reset", False, DARK),
        ],
    ),
    "silenced, it flashes on": (
        True,
        [
            ("raise", True, FLASHES),
            ("silence", False, FLASHES),
            ("clear", False, FLASHES),
            ("acknowledge", False, LIT),
        ],
    ),
}


@pytest.mark.parametrize("name", SEQUENCES)
def test_the_basic_sequence(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    latching, steps = SEQUENCES[name]
    monkeypatch.setitem(globals(), "alarms_latch", latching)
    alarms, annunciator = oven()
    assert shown(annunciator) == (False, DARK)
    for do, siren, lamp in steps:
        step(alarms, annunciator, do)
        assert shown(annunciator) == (siren, lamp), do


def test_what_is_new_sounds_again_after_a_silence() -> None:
    alarms, annunciator = oven()
    alarms.report("hot", True, "Too hot.", 5.0)
    assert annunciator.silence()
    assert not annunciator.silence(), "there is nothing left to silence"
    alarms.report("late", False, "Late.", 7.0)
    assert shown(annunciator) == (True, FLASHES)
    annunciator.silence()
    alarms.report("hot", True, None, 8.0)
    alarms.report("hot", True, "Too hot.", 9.0)
    assert shown(annunciator)[0], "the same alarm, raised anew"


def test_warnings_may_be_quiet_and_trips_never() -> None:
    alarms, annunciator = oven(warnings_sound=False)
    alarms.report("late", False, "Late.", 5.0)
    assert shown(annunciator) == (False, FLASHES)
    alarms.report("hot", True, "Too hot.", 6.0)
    assert shown(annunciator) == (True, FLASHES)


def test_the_lamps_of_a_night() -> None:
    _, annunciator = oven()
    lamps = {
        (phase, waits): tuple(annunciator.signals(phase, waits)[1:4])
        for phase in Phase
        for waits in (False, True)
    }
    for phase in (Phase.RAMP, Phase.SOAK, Phase.COOL):
        assert lamps[phase, False] == (LIT, DARK, DARK)
        assert lamps[phase, True] == (LIT, LIT, DARK)
    for phase in (Phase.IDLE, Phase.DONE):
        assert lamps[phase, False] == (DARK, DARK, LIT)
    assert lamps[Phase.TRIPPED, False] == (DARK, DARK, DARK), "neither running nor ready"


# ---- in the loop ---------------------------------------------------------------------------------


HOT = (100.0, 100.0, 100.0, 9.0)


def tripped() -> tuple[Loop, Decision, float]:
    """A night whose air goes to 100 °C, two minutes after the trip, and the time now."""
    loop = Loop(SETTINGS)
    loop.tick(still(0.0, start(SHORT)))
    t_s = 0.0
    decision = loop.tick(still(2.0))
    while decision.trip is None:
        t_s += 2.0
        decision = loop.tick(still(2.0 + t_s, values=HOT))
        assert t_s < 600.0
    for _ in range(60):
        t_s += 2.0
        loop.tick(still(2.0 + t_s, values=HOT))
    return loop, decision, t_s + 4.0


def test_the_siren_sounds_in_the_tick_that_trips() -> None:
    _, decision, _ = tripped()
    assert decision.signals.siren
    assert decision.signals.alarm is FLASHES
    assert decision.signals.running is decision.signals.ready is DARK


def test_a_silence_resets_and_acknowledges_nothing() -> None:
    loop, before, t_s = tripped()
    states = [(a.name, a.state) for a in loop.alarms()]
    decision = loop.tick(still(t_s, word("silence"), values=HOT))
    assert [o.outcome for o in decision.outcomes] == ["done"]
    assert not decision.signals.siren
    assert decision.trip == before.trip
    assert decision.phase is Phase.TRIPPED
    assert [(a.name, a.state) for a in loop.alarms()] == states
    assert State.UNACKNOWLEDGED in [s for _, s in states]
    again = loop.tick(still(t_s + 2.0, word("silence", 10), values=HOT))
    assert [o.message for o in again.outcomes] == ["There was nothing to silence."]


def test_the_button_silences_once_and_held_silences_nothing_new() -> None:
    loop, _, t_s = tripped()
    decision = loop.tick(still(t_s, values=HOT)._replace(silence_pressed=True))
    assert not decision.signals.siren
    assert any("silenced by the button" in e.message for e in decision.events)
    alarms = loop.latch
    alarms.report("another", True, "Another one.", 2000.0)
    held = loop.tick(still(t_s + 2.0, values=HOT)._replace(silence_pressed=True))
    assert held.signals.siren, "a button that is shorted must not keep the siren quiet"
    loop.tick(still(t_s + 4.0, values=HOT))
    assert not loop.tick(still(t_s + 6.0, values=HOT)._replace(silence_pressed=True)).signals.siren


def test_it_is_remembered_over_a_restart() -> None:
    loop, _, t_s = tripped()
    loop.tick(still(t_s, word("silence"), values=HOT))
    other = Loop(SETTINGS)
    other.restore(json.loads(json.dumps(loop.snapshot(), allow_nan=False)))
    mine, theirs = (one.tick(still(t_s + 2.0, values=HOT)) for one in (loop, other))
    assert mine == theirs
    assert not theirs.signals.siren
    state = loop.snapshot()
    del state["annunciator"]  # of an earlier version
    older = Loop(SETTINGS)
    older.restore(state)
    assert older.tick(still(t_s + 2.0, values=HOT)).signals.siren


def test_one_pin_has_one_job() -> None:
    data = SETTINGS.model_dump(mode="json")
    data["annunciator"] = {"siren": {"pin": data["heater"]["pin"]}}
    with pytest.raises(ValueError, match="one pin is given two jobs"):
        Settings.model_validate(data)
    assert issubclass(BadInput, ValueError)
