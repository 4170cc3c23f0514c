"""Whatever is done to a loop, in whatever order: when the heater is on, everything said on.

Hypothesis plays people, sensors, clocks, disk and power on a loop that heats a small oven, and
looks at every tick's decision.
"""

from __future__ import annotations

import json
from typing import Any

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, precondition, rule

from nightcure.loop.loop import Loop
from nightcure.oven.thermal import Mould, Network
from nightcure.settings import Role, Settings
from nightcure.simulate.virtual import VirtualOven
from nightcure.tick import Command, Decision, Fault, OffCode, Phase, Reading, TickInputs
from tests.nights import SETTINGS, SHORT, changed, start

#: A small box, so that a short run takes it through a whole night.
OVEN = Network(300.0, 100.0, 3.0, 400.0, 300.0, 28.0, 3.0, 1.0, (Mould("lid", 800.0, 9.0),))
HEATER = {"id": "28-0000000000d1", "role": "heater", "name": "Shield"}
SECOND = {"id": "28-0000000000a2", "role": "air", "name": "Second air"}
PLAIN = [t.model_dump(mode="json") for t in SETTINGS.thermometers]


def oven_with(*more: dict[str, Any], contactor: bool = True) -> Settings:
    """The shipped oven with further thermometers, with or without its contactor."""
    data = SETTINGS.model_dump(mode="json")
    data["thermometers"] = [*PLAIN, *more]
    if not contactor:
        data["contactor"] = None
    return changed(Settings.model_validate(data), regulator={"gain_w_per_k": 20.0})


OVENS = (
    oven_with(), oven_with(SECOND, HEATER), oven_with(HEATER, contactor=False),
)  # fmt: skip
TICK_S = 2.0
#: A reading older than this is not fresh.
FRESH_S = 10.0
WORDS = st.sampled_from(
    ("stop", "skip", "extend", "setpoint", "acknowledge", "reset", "offset", "open", "shut",
     "no-such-word")
)  # fmt: skip
VALUES = st.one_of(
    st.floats(-60.0, 130.0), st.sampled_from((85.0, 60.0, 59.9, 60.1, 124.9, 125.0, -55.0, 110.5))
)
NUMBERS = st.one_of(st.none(), st.floats(-1e3, 1e3), st.sampled_from((True, "38", float("nan"))))


class HeaterOnlyWhenAllSaysOn(RuleBasedStateMachine):
    """One loop and all that may befall it."""

    @initialize(which=st.sampled_from(OVENS), warm_c=st.floats(0.0, 26.0))
    def a_controller(self, which: Settings, warm_c: float) -> None:
        self.of = which
        self.loop = Loop(which)
        self.oven = VirtualOven(OVEN, which.thermometers, lambda _: -20.0, 1, (), warm_c)
        self.mono_s, self.wall_s = 1000.0, 1.7e9
        self.said: dict[int, Reading | float | None] = {}
        """By thermometer: a value in place of the oven's, or nothing."""
        self.age_s = 0.0
        self.stop_pressed = False
        self.ledger_s = self.inbox_s = 0.0
        self.armed = self.clock_set = True
        self.number = 0
        self.before: Decision | None = None
        self.over_before = False
        self.tripped: str | None = None
        self.somebody_starts_a_night()

    # ---- what may happen ------------------------------------------------------------------

    @rule(ticks=st.sampled_from((1, 5, 40, 200)))
    def time_passes(self, ticks: int) -> None:
        for _ in range(ticks):
            self.tick()

    @rule()
    def somebody_starts_a_night(self) -> None:
        self.number += 1
        self.tick(start(SHORT, self.number))

    @rule(
        word=WORDS,
        key=st.sampled_from(("celsius", "minutes", "alarm", "offset_c", "laying", "aired")),
        value=NUMBERS,
    )
    def somebody_asks(self, word: str, key: str, value: Any) -> None:
        self.number += 1
        self.tick(Command(self.number, word, {key: value}, "somebody"))

    @rule(celsius=st.floats(15.0, 70.0))
    def somebody_turns_it_up(self, celsius: float) -> None:
        self.number += 1
        self.tick(Command(self.number, "setpoint", {"celsius": celsius}, "somebody"))

    @rule()
    def somebody_puts_all_right_and_starts(self) -> None:
        self.said.clear()
        self.age_s = self.ledger_s = self.inbox_s = 0.0
        self.stop_pressed, self.armed = False, True
        self.time_passes(10)
        self.number += 2
        self.tick(Command(self.number - 1, "reset", {}, "somebody"))
        self.tick(start(SHORT, self.number))
        self.time_passes(20)

    @rule(which=st.integers(0, 5), value_c=VALUES, ticks=st.sampled_from((1, 3, 10, 100)))
    def a_sensor_says(self, which: int, value_c: float, ticks: int) -> None:
        self.said[which % len(self.of.thermometers)] = value_c
        self.time_passes(ticks)

    @rule(which=st.integers(0, 5), rises_c=st.floats(40.0, 130.0))
    def a_sensor_rises(self, which: int, rises_c: float) -> None:
        """Slowly enough to be believed all the way."""
        i = which % len(self.of.thermometers)
        at_c = 20.0
        while at_c < rises_c:
            at_c += 3.0
            self.said[i] = at_c
            self.tick()
        self.time_passes(5)

    @rule(which=st.integers(0, 5), fault=st.sampled_from([None, *list(Fault)[:4]]))
    def a_sensor_fails(self, which: int, fault: Fault | None) -> None:
        self.said[which % len(self.of.thermometers)] = Reading(None, 0.0, fault)
        self.time_passes(3)

    @precondition(lambda self: self.said)
    @rule()
    def the_sensors_are_mended(self) -> None:
        self.said.clear()
        self.time_passes(10)

    @rule(age_s=st.sampled_from((5.0, 11.0, 300.0, -5.0)))
    def readings_are_old(self, age_s: float) -> None:
        self.age_s = age_s
        self.time_passes(12)
        self.age_s = 0.0

    @rule(pressed=st.booleans())
    def the_stop_button(self, pressed: bool) -> None:
        self.stop_pressed = pressed
        self.time_passes(2)

    @rule(ledger_s=st.sampled_from((0.0, 10.0, 100.0)), inbox_s=st.sampled_from((0.0, 100.0)))
    def the_disk(self, ledger_s: float, inbox_s: float) -> None:
        self.ledger_s, self.inbox_s = ledger_s, inbox_s
        self.time_passes(3)

    @rule(armed=st.booleans(), clock_set=st.booleans())
    def the_latch_and_the_clock(self, armed: bool, clock_set: bool) -> None:
        self.armed, self.clock_set = armed, clock_set
        self.time_passes(2)

    @rule(by_s=st.floats(-1e6, 1e6))
    def the_clock_is_set(self, by_s: float) -> None:
        self.wall_s += by_s
        self.time_passes(2)

    @rule(for_s=st.sampled_from((3.0, 7.0, 29.0, 31.0, 4000.0, -50.0)))
    def the_loop_stands_still(self, for_s: float) -> None:
        self.mono_s += for_s
        self.wall_s += max(for_s, 0.0)
        self.time_passes(2)

    @rule(away_s=st.sampled_from((1.0, 60.0, 1500.0, 9000.0, -3600.0)), same_process=st.booleans())
    def it_is_cut_off(self, away_s: float, same_process: bool) -> None:
        """The mains fail, or the process dies: a fresh loop finds the snapshot."""
        kept = self.kept()
        self.loop = Loop(self.of)
        self.loop.resume(json.loads(kept))
        self.wall_s += away_s
        self.mono_s = self.mono_s + 5.0 if same_process else 30.0
        self.before = None
        self.time_passes(2)

    def kept(self) -> str:
        """What the ledger has of the loop since its last tick."""
        return json.dumps(self.loop.snapshot(), allow_nan=False)

    def teardown(self) -> None:
        self.kept()

    # ---- what must hold -------------------------------------------------------------------

    def tick(self, *commands: Command) -> None:
        sensed = self.oven.sense()
        taken_s = self.mono_s - self.age_s
        readings = tuple(
            r._replace(taken_s=taken_s)
            if isinstance(r := self.said.get(i, s.value_c), Reading)
            else Reading(r, taken_s)
            for i, s in enumerate(sensed)
        )
        inputs = TickInputs(
            self.mono_s, self.wall_s, readings, commands, self.ledger_s, self.inbox_s,
            self.stop_pressed, self.armed, wall_known=self.clock_set,
        )  # fmt: skip
        d = self.loop.tick(inputs)
        reset = any(e.name == "reset" and e.state == "done" for e in d.events)
        self.look(inputs, d, reset)
        self.oven.step(TICK_S, d.heater_on, d.contactor_on or self.of.contactor is None)
        self.mono_s += TICK_S
        self.wall_s += TICK_S
        self.before, self.tripped = d, d.trip

    def look(self, inputs: TickInputs, d: Decision, reset: bool) -> None:
        air = self.of.indices(Role.AIR)
        over = self.over(d)
        if self.tripped is not None and not reset:
            assert d.trip == self.tripped, "a trip holds until a person's reset"
        if d.trip is not None:
            assert d.phase is Phase.TRIPPED
        if d.heater_on:
            assert d.why_off is None
            assert d.trip is None
            assert d.phase in (Phase.RAMP, Phase.SOAK, Phase.COOL)
            assert not inputs.stop_pressed
            assert inputs.armed
            fresh = [
                r.value_c
                for i in air
                if (r := inputs.readings[i]).value_c is not None
                and r.fault is None
                and -1.0 <= inputs.mono_s - r.taken_s <= FRESH_S
                and d.believed[i] is not None
            ]
            assert fresh, "no fresh reading of the air is believed"
            assert d.control_c in [d.believed[i] for i in air]
            assert not (over and self.over_before), "over a limit for a tick's time"
            if self.of.contactor is not None:
                assert d.contactor_on
                assert self.before is not None
                assert self.before.contactor_on, "the contactor closes first"
        else:
            duty_is_off = d.why_off is None
            assert duty_is_off or isinstance(d.why_off.code, OffCode)
        if d.phase in (Phase.TRIPPED, Phase.IDLE, Phase.DONE):
            assert not d.contactor_on
            assert d.why_off is not None
        self.over_before = over

    def over(self, d: Decision) -> bool:
        """Whether a believed temperature is above its limit."""
        limits = self.of.limits
        most = {
            Role.AIR: limits.air_c, Role.PART: limits.part_c, Role.MOULD: limits.part_c,
            Role.HEATER: limits.heater_c,
        }  # fmt: skip
        return any(
            c is not None and c > most.get(t.role, 1e9)
            for t, c in zip(self.of.thermometers, d.believed, strict=True)
        )


TestHeater = HeaterOnlyWhenAllSaysOn.TestCase
TestHeater.settings = settings(
    max_examples=100, stateful_step_count=30, deadline=None, derandomize=True,
    suppress_health_check=list(HealthCheck),
)  # fmt: skip
