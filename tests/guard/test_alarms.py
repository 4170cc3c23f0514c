"""Alarm states after ISA-18.2 / IEC 62682 (states by those standards; transitions from memory)."""

from __future__ import annotations

import itertools
import json

import pytest
from hypothesis import given
from hypothesis import settings as hypo
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from nightcure.guard.alarms import TRIP, WARNING, Alarm, Alarms, State

S = State
HAPPENINGS = ("raise", "clear", "acknowledge", "reset")

#: Every change there is; whatever is not named leaves the state as it was.
CHANGES = {
    False: {
        (S.NORMAL, "raise"): S.UNACKNOWLEDGED,
        (S.UNACKNOWLEDGED, "clear"): S.RETURNED,
        (S.UNACKNOWLEDGED, "acknowledge"): S.ACKNOWLEDGED,
        (S.ACKNOWLEDGED, "clear"): S.NORMAL,
        (S.RETURNED, "acknowledge"): S.NORMAL,
        (S.RETURNED, "raise"): S.UNACKNOWLEDGED,
    },
    True: {
        (S.NORMAL, "raise"): S.UNACKNOWLEDGED,
        (S.UNACKNOWLEDGED, "clear"): S.RETURNED,
        (S.UNACKNOWLEDGED, "acknowledge"): S.ACKNOWLEDGED,
        (S.ACKNOWLEDGED, "clear"): S.LATCHED,
        (S.RETURNED, "acknowledge"): S.LATCHED,
        (S.RETURNED, "raise"): S.UNACKNOWLEDGED,
        (S.RETURNED, "reset"): S.NORMAL,
        (S.LATCHED, "raise"): S.UNACKNOWLEDGED,
        (S.LATCHED, "reset"): S.NORMAL,
    },
}


@pytest.mark.parametrize("latching", [False, True])
@pytest.mark.parametrize(("state", "happening"), list(itertools.product(State, HAPPENINGS)))
def test_every_transition(latching: bool, state: State, happening: str) -> None:
    alarm = Alarm("x", latching)
    alarm.state = state
    expected = CHANGES[latching].get((state, happening), state)
    assert alarm.move(happening) is (expected is not state)
    assert alarm.state is expected


def test_the_tables_hold_nothing_else() -> None:
    assert CHANGES[False] == WARNING
    assert CHANGES[True] == TRIP


@given(st.lists(st.sampled_from(HAPPENINGS), max_size=40))
def test_a_trip_is_normal_again_only_by_a_reset(happenings: list[str]) -> None:
    alarm = Alarm("x", latching=True)
    for happening in happenings:
        before = alarm.state
        alarm.move(happening)
        if alarm.state is State.NORMAL and before is not State.NORMAL:
            assert happening == "reset"
            assert before in (State.LATCHED, State.RETURNED)


def test_the_first_trip_is_the_one_that_holds() -> None:
    alarms = Alarms()
    assert alarms.report("a", True, "A is wrong.", 1.0) is not None
    assert alarms.report("b", True, "B is wrong.", 2.0) is not None
    assert alarms.report("a", True, "A is wrong.", 3.0) is None
    assert alarms.trip == "a"
    assert alarms.reset()[1] == "the cause is still there. A is wrong."
    alarms.report("a", True, None, 4.0)
    assert alarms.reset()[1] == "the cause is still there. B is wrong."
    alarms.report("b", True, None, 5.0)
    events, why_not = alarms.reset()
    assert why_not is None
    assert [e.name for e in events] == ["a", "b"]
    assert alarms.trip is None
    assert alarms.shown() == []


def test_a_warning_does_not_hold_the_oven() -> None:
    alarms = Alarms()
    alarms.report("w", False, "Mind this.", 1.0)
    assert alarms.trip is None
    assert [a.state for a in alarms.shown()] == [State.UNACKNOWLEDGED]
    alarms.report("w", False, None, 2.0)
    assert [a.state for a in alarms.shown()] == [State.RETURNED]
    alarms.acknowledge(None)
    assert alarms.shown() == []


@given(st.lists(st.tuples(st.sampled_from("ab"), st.sampled_from((*HAPPENINGS, "restore")))))
def test_snapshot_restores_everything(steps: list[tuple[str, str]]) -> None:
    alarms = Alarms()
    for name, happening in steps:
        if happening == "acknowledge":
            alarms.acknowledge(name)
        elif happening == "reset":
            alarms.reset()
        elif happening != "restore":
            alarms.report(name, True, "x." if happening == "raise" else None, 1.0)
        copy = Alarms()
        copy.restore(json.loads(json.dumps(alarms.snapshot())))
        assert copy.snapshot() == alarms.snapshot()
        alarms = copy


def test_the_states_are_the_standards() -> None:
    """ISA-18.2 / IEC 62682 name these (shelving and suppression are left out on purpose)."""
    assert {s.value for s in State} == {
        "normal", "unacknowledged", "acknowledged", "returned-unacknowledged", "latched",
    }  # fmt: skip


def test_what_changes_nothing_says_nothing() -> None:
    alarms = Alarms()
    assert alarms.report("a", True, None, 1.0) is None
    assert alarms.names() == []
    first = alarms.report("a", True, "A is wrong.", 2.0)
    assert first is not None
    assert first[:] == ("trip", "a", "A is wrong.", "unacknowledged")
    assert alarms.report("a", True, "A is worse.", 3.0) is None
    assert [e.state for e in alarms.acknowledge("a")] == ["acknowledged"]
    assert alarms.acknowledge("a") == []
    assert alarms.acknowledge("nothing of the kind") == []
    gone = alarms.report("a", True, None, 4.0)
    assert gone is not None
    assert gone.state == "latched"
    assert alarms.report("a", True, None, 5.0) is None


class Machine(RuleBasedStateMachine):
    """Two trips and a warning against a model kept in plain sets."""

    NAMES = st.sampled_from(["trip-1", "trip-2", "warning"])

    def __init__(self) -> None:
        super().__init__()
        self.alarms = Alarms()
        self.holds: set[str] = set()
        self.unseen: set[str] = set()
        self.waits: set[str] = set()
        """Trips that nobody has reset since they were raised."""
        self.first: str | None = None

    @rule(name=NAMES)
    def raise_it(self, name: str) -> None:
        event = self.alarms.report(name, name != "warning", f"{name} holds.", 1.0)
        assert (event is None) is (name in self.holds)
        if name in self.holds:
            return
        self.holds.add(name)
        self.unseen.add(name)
        if name != "warning":
            self.waits.add(name)
            self.first = self.first or name

    @rule(name=NAMES)
    def clear(self, name: str) -> None:
        event = self.alarms.report(name, name != "warning", None, 1.0)
        assert (event is None) is (name not in self.holds)
        self.holds.discard(name)

    @rule(name=st.one_of(st.none(), NAMES))
    def acknowledge(self, name: str | None) -> None:
        seen = {n for n in self.unseen if name in (None, n)}
        assert {e.name for e in self.alarms.acknowledge(name)} == seen
        self.unseen -= seen

    @rule()
    def reset(self) -> None:
        events, why_not = self.alarms.reset()
        if self.holds - {"warning"}:
            assert events == []
            assert why_not is not None
            assert "the cause is still there" in why_not
            return
        assert why_not is None
        assert {e.name for e in events} == self.waits
        self.unseen -= self.waits
        self.waits.clear()
        self.first = None

    @rule()
    def power_cut(self) -> None:
        state = json.loads(json.dumps(self.alarms.snapshot()))
        self.alarms = Alarms()
        self.alarms.restore(state)

    @invariant()
    def it_stands_as_the_model_says(self) -> None:
        assert self.alarms.trip == self.first
        expected = {}
        for name in self.holds | self.unseen | self.waits:
            if name in self.holds:
                expected[name] = S.UNACKNOWLEDGED if name in self.unseen else S.ACKNOWLEDGED
            else:
                expected[name] = S.RETURNED if name in self.unseen else S.LATCHED
        assert {a.name: a.state for a in self.alarms.shown()} == expected


TestMachine = Machine.TestCase
TestMachine.settings = hypo(max_examples=60, stateful_step_count=40, deadline=None)
