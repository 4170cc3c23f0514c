"""The test of the switches through the real loop: closed alone no heat may come, together it must.

On virtual ovens of two structures: lumped, and of zones and layers. What is judged is the power
that truly flowed into the heater, not what the loop says.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import pytest

from nightcure.guard.switch_test import SwitchTest, Verdict
from nightcure.loop.commands import ALL_CONFIRMED
from nightcure.loop.loop import Loop
from nightcure.oven.thermal import Network
from nightcure.profile import load_profile
from nightcure.record.codec import decision_fields
from nightcure.settings import Settings
from nightcure.simulate.faults import FaultAt
from nightcure.simulate.scenario import BOX, PARTS_FILE
from nightcure.simulate.virtual import Probe, VirtualOven, usual_probes
from nightcure.simulate.zoned import ZonedOven
from nightcure.tick import Command, Decision, OffCode, Phase, Reading, TickInputs
from tests.guard.test_interlocks import QUIET
from tests.nights import SETTINGS, changed, word
from tests.simulate.test_zoned import OVEN as ZONED

PROFILE = {"name": "Switches", "segments": [{"kind": "soak", "at_c": 9.0, "hours": 4.0}]}
WELDED, STUCK = FaultAt("relay-welded", 0.0), FaultAt("contactor-welded", 0.0)
DEAD = FaultAt("relay-stuck-open", 0.0)


def without(settings: Settings, **gone: None) -> Settings:
    """Settings that lack some outputs."""
    return Settings.model_validate({**settings.model_dump(mode="json"), **gone})


#: A heater's probe on the shield; a mechanical relay; no contactor to open.
PROBED = Settings.model_validate(
    SETTINGS.model_dump(mode="json")
    | {
        "thermometers": [
            *SETTINGS.model_dump(mode="json")["thermometers"],
            {"id": "28-0000000000d1", "role": "heater", "name": "Shield"},
        ]
    }
)
SLOW = changed(SETTINGS, heater={"window_s": 235.0, "min_on_s": 20.0, "min_off_s": 20.0})
ALONE = without(SETTINGS, contactor=None)
#: The zoned oven's own figures, as a survey would have them.
ZONED_SETTINGS = changed(
    SETTINGS,
    heater={"power_w": 400.0},
    model={"loss_w_per_k": 4.2, "air_capacity_j_per_k": 5500.0, "heater_lag_s": 200.0},
)
OVENS = {
    "lumped": (SETTINGS, BOX),
    "lumped, probe on the shield": (PROBED, BOX),
    "lumped, mechanical": (SLOW, BOX),
    "zoned": (ZONED_SETTINGS, ZONED),
}


def asked(number: int = 1, **more: Any) -> Command:
    """The start of a test."""
    args = {"profile": PROFILE, "test": "switches", **ALL_CONFIRMED, **more}
    return Command(number, "start", args, "somebody")


@dataclass
class Trial:
    """A loop and an oven, ticked until the night is over."""

    settings: Settings = SETTINGS
    network: Network | ZonedOven = BOX
    faults: Sequence[FaultAt] = ()
    commands: dict[float, Command] = field(default_factory=lambda: {0.0: asked()})
    pressed: Callable[[float], bool] = lambda _: False
    armed: Callable[[float], bool] = lambda _: True
    seed: int = 0
    again_s: float | None = None
    """When the controller is started anew from its snapshot."""
    shed_c: Callable[[float], float] = lambda _: 9.0
    start_c: float | None = None
    probes: Sequence[Probe] | None = None
    decisions: list[Decision] = field(default_factory=list)
    times_s: list[float] = field(default_factory=list)
    alone_j: float = 0.0
    """Heat that flowed while not both switches were closed."""
    both_j: float = 0.0

    def run(self, for_s: float = 3 * 3600.0) -> Decision:
        """The last decision: of the tick on which the night was over."""
        loop, last = Loop(self.settings), None
        oven = VirtualOven(self.network, self.settings.thermometers, self.shed_c, self.seed,
                           self.faults, self.start_c, self.probes)  # fmt: skip
        t_s = 0.0
        while t_s <= for_s:
            if self.again_s is not None and t_s == self.again_s:
                state = json.loads(json.dumps(loop.snapshot(), allow_nan=False))
                loop = Loop(self.settings)
                loop.resume(state)
            readings = tuple(oven.sense(t_s))
            commands = (self.commands[t_s],) if t_s in self.commands else ()
            inputs = TickInputs(t_s, 1e9 + t_s, readings, commands)
            d = loop.tick(inputs._replace(stop_pressed=self.pressed(t_s), armed=self.armed(t_s)))
            self.decisions.append(d)
            self.times_s.append(t_s)
            gated(d, self.settings)
            closed = d.contactor_on or self.settings.contactor is None
            before_j = oven.energy_j
            oven.step(2.0, d.heater_on, closed)
            if d.heater_on and closed:
                self.both_j += oven.energy_j - before_j
            else:
                self.alone_j += oven.energy_j - before_j
            if last is not None and d.phase in (Phase.IDLE, Phase.DONE, Phase.TRIPPED):
                return d
            last = d if d.phase is Phase.SOAK else last
            t_s += 2.0
        raise AssertionError("the test goes on for ever")

    @property
    def said(self) -> str:
        """Every event's sentence."""
        return "\n".join(e.message for d in self.decisions for e in d.events)


def gated(d: Decision, settings: Settings) -> None:
    """What has to hold of every decision: on is on only where the gate has nothing to say."""
    assert not (d.heater_on and d.why_off is not None)
    if d.heater_on and settings.contactor is not None:
        assert d.contactor_on is not d.relay_alone
    assert d.heater_on or not d.relay_alone


def is_closed(d: Decision) -> bool:
    """Whether any switch is."""
    return d.heater_on or d.contactor_on


@pytest.mark.parametrize("seed", [0, 1, 2])
@pytest.mark.parametrize("oven", OVENS)
def test_sound_switches_pass_and_nothing_else_is_heated(oven: str, seed: int) -> None:
    tested = Trial(*OVENS[oven], seed=seed)
    d = tested.run()
    assert (d.phase, d.trip) == (Phase.DONE, None)
    assert "with each switch closed alone no heat came, with both it did" in tested.said
    assert tested.alone_j == 0.0
    pulse_s = tested.both_j / tested.settings.heater.power_w
    assert 20.0 <= pulse_s <= 240.0, "one short pulse"
    assert tested.times_s[-1] < 3600.0
    relay_s = 2.0 * sum(d.relay_alone for d in tested.decisions)
    assert relay_s == pytest.approx(pulse_s, abs=4.0), "as long as the one with both"
    for expected in (
        "The contactor is closed alone for", "The relay is closed alone for", "has to show 0 W",
        f"has to show {tested.settings.heater.power_w:g} W",
    ):  # fmt: skip
        assert expected in tested.said
    assert not any(e.kind == "alarm" for d in tested.decisions for e in d.events)


@pytest.mark.parametrize("seed", [0, 1, 2])
@pytest.mark.parametrize("oven", OVENS)
def test_a_welded_relay_is_found_before_anything_is_heated_on_purpose(oven: str, seed: int) -> None:
    tested = Trial(*OVENS[oven], faults=(WELDED,), seed=seed)
    d = tested.run()
    assert (d.phase, d.trip) == (Phase.TRIPPED, "heater-stuck-on")
    assert "the relay is off and the air was heated" in tested.said
    assert not any(d.heater_on for d in tested.decisions)
    assert tested.alone_j <= 240.0 * tested.settings.heater.power_w, "one short pulse"
    assert not d.contactor_on


@pytest.mark.parametrize("seed", [0, 1, 2])
@pytest.mark.parametrize("oven", OVENS)
def test_a_welded_contactor_is_found(oven: str, seed: int) -> None:
    """Fails before this: the relay was never closed alone, so nothing could tell it."""
    tested = Trial(*OVENS[oven], faults=(STUCK,), seed=seed)
    d = tested.run()
    assert (d.phase, d.trip) == (Phase.TRIPPED, "heater-stuck-on")
    assert "Contactor stuck on" in tested.said
    assert tested.both_j == 0.0
    assert tested.alone_j <= 240.0 * tested.settings.heater.power_w
    assert not d.heater_on


def test_the_shields_probe_sees_it_sooner() -> None:
    """Air and heater are both looked at."""
    slow = Trial(SETTINGS, BOX, (WELDED,))
    quick = Trial(PROBED, BOX, (WELDED,))
    slow.run()
    quick.run()
    assert quick.times_s[-1] < slow.times_s[-1]


def test_a_heater_without_power_proves_nothing() -> None:
    """A plug left out would let both welds pass; so heat has to come in the end."""
    tested = Trial(faults=(DEAD,))
    d = tested.run()
    assert (d.phase, d.trip) == (Phase.IDLE, None)
    assert "Nothing is proven of the switches" in tested.said
    assert tested.both_j == tested.alone_j == 0.0


@pytest.mark.parametrize("seed", [0, 1, 2])
@pytest.mark.parametrize("oven", OVENS)
@pytest.mark.parametrize("warm_k", [0.0, 30.0])
def test_both_welded_is_found_while_everything_is_open(oven: str, seed: int, warm_k: float) -> None:
    """Fails before this: a pulse on air that rose anyway was taken for an answer, at 58 °C."""
    settings, network = OVENS[oven]
    trial = Trial(settings, network, (WELDED, STUCK), seed=seed, start_c=9.0 + warm_k)
    d = trial.run()
    assert (d.phase, d.trip) == (Phase.TRIPPED, "heater-stuck-on")
    assert trial.times_s[-1] < 600.0
    assert not any(d.heater_on or d.contactor_on for d in trial.decisions)


@pytest.mark.parametrize("seed", [0, 1, 2])
@pytest.mark.parametrize("network", [BOX, ZONED], ids=["lumped", "zoned"])
def test_a_welded_relay_without_a_contactor_never_passes(
    network: Network | ZonedOven, seed: int
) -> None:
    for warm_k in (0.0, 15.0, 30.0):
        d = Trial(ALONE, network, (WELDED,), seed=seed, start_c=9.0 + warm_k).run()
        assert (d.phase, d.trip) == (Phase.TRIPPED, "heater-stuck-on")


def test_air_that_rises_by_itself_is_not_tested_on() -> None:
    """A shed that warms by 6 K an hour, all the while."""
    trial = Trial(shed_c=lambda t_s: 9.0 + t_s / 600.0, commands={5400.0: asked()})
    d = trial.run(4 * 3600.0)
    assert (d.phase, d.trip) == (Phase.IDLE, None)
    assert "Not tested: with every switch open the air went on rising" in trial.said
    assert trial.alone_j == trial.both_j == 0.0


@pytest.mark.parametrize("command", ["skip", "extend"])
def test_a_test_that_is_cut_short_has_passed_nothing(command: str) -> None:
    """Fails before this: a night that was skipped to its end was done, as one that had passed."""
    args = {"skip": {}, "extend": {"minutes": -230.0}}[command]
    trial = Trial()
    trial.commands[400.0] = word(command, **args)
    d = trial.run()
    assert d.phase is Phase.IDLE
    assert "broken off; test again" in trial.said
    assert trial.both_j == 0.0


def test_a_thermometer_that_is_only_quiet_is_not_frozen() -> None:
    """In a still shed it repeats itself to the last bit, and a relay closed alone is no heat."""
    probes = [p._replace(noise_c=0.0) for p in usual_probes(SETTINGS.thermometers)]
    trial = Trial(probes=probes)
    assert trial.run().phase is Phase.DONE
    assert not any(f for d in trial.decisions for f in d.faults)


def test_a_relay_closed_alone_is_not_counted_as_heat_given() -> None:
    """Heat that comes unasked would hide behind it."""
    loop = Loop(SETTINGS)
    oven = VirtualOven(BOX, SETTINGS.thermometers, lambda _: 9.0)
    whole = Trial()
    whole.run()
    end_s = steps_begin_s(whole)[1] + 120.0
    for k in range(int(end_s / 2.0)):
        readings = tuple([Reading(s.value_c, 2.0 * k, s.fault) for s in oven.sense()])
        d = loop.tick(TickInputs(2.0 * k, 1e9 + 2 * k, readings, (asked(),) if k == 0 else ()))
        oven.step(2.0, d.heater_on, d.contactor_on)
    assert loop.switchings == 2, "the relay was closed and opened"
    assert loop.snapshot()["heat_check"]["balance"]["heat_w"] == [0.0, 0.0, 0.0]


def test_air_that_rises_as_much_whatever_is_closed_is_no_answer() -> None:
    test = SwitchTest(SETTINGS)
    test.begin(test=True)
    for rise_k in (0.25, 0.25, 0.5):
        test.pulse(QUIET, 80.0)
        assert not test.look(QUIET, rise_k, need_k=0.32)
        test.next_step()
    assert test.verdict is Verdict.NO_HEAT


def test_another_air_sensor_is_no_answer() -> None:
    """The first one fails in the pulse and the second, 1 K warmer, stands in."""
    data = SETTINGS.model_dump(mode="json")
    second = {"id": "28-0000000000a2", "role": "air", "name": "Air 2"}
    two = Settings.model_validate(data | {"thermometers": [*data["thermometers"], second]})
    whole = Trial(two)
    whole.run()
    begun_s = steps_begin_s(whole)[1]
    probes = usual_probes(two.thermometers)
    probes[-1] = probes[-1]._replace(error_c=1.0)
    trial = Trial(two, faults=(FaultAt("sensor-missing", begun_s + 100.0),), probes=probes)
    assert trial.run().phase is Phase.DONE
    assert trial.alone_j == 0.0


def test_without_a_contactor_the_relay_alone_is_tested() -> None:
    tested = Trial(ALONE)
    d = tested.run()
    assert d.phase is Phase.DONE
    assert "with the relay open no heat came, with it closed it did" in tested.said
    assert not any(d.relay_alone for d in tested.decisions)
    assert tested.alone_j == 0.0


# ---- the gate ------------------------------------------------------------------------------------


def test_a_start_that_confirms_nothing_is_refused() -> None:
    loop = Loop(SETTINGS)
    command = asked(limit_device_confirmed=False)
    d = loop.tick(TickInputs(0.0, 1e9, tuple([Reading(9.0, 0.0)] * 4), (command,)))
    assert d.outcomes[0].outcome == "refused"
    assert "cut-out" in d.outcomes[0].message
    assert d.phase is Phase.IDLE


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"test": "relay"}, "test is 'relay'; it should be 'switches'"),
        ({"test": True}, "test is True"),
        ({"profile": load_profile(PARTS_FILE).model_dump(mode="json")}, "empty box"),
    ],
)
def test_what_is_no_test_is_refused(more: dict[str, Any], said: str) -> None:
    loop = Loop(SETTINGS)
    d = loop.tick(TickInputs(0.0, 1e9, tuple([Reading(9.0, 0.0)] * 4), (asked(**more),)))
    assert d.outcomes[0].outcome == "refused"
    assert said in d.outcomes[0].message


def steps_begin_s(tested: Trial) -> list[float]:
    """When each pulse began."""
    return [
        t_s
        for t_s, d in zip(tested.times_s, tested.decisions, strict=True)
        for e in d.events
        if "closed" in e.message and e.name == "switch-test"
    ]


@pytest.mark.parametrize("step", [0, 1, 2])
@pytest.mark.parametrize("how", ["stop", "button"])
def test_a_stop_in_any_pulse_is_off_at_that_tick(step: int, how: str) -> None:
    whole = Trial()
    whole.run()
    at_s = steps_begin_s(whole)[step] + 10.0
    tested = Trial()
    if how == "stop":
        tested.commands[at_s] = word("stop")
    else:
        tested.pressed = lambda t_s: t_s >= at_s
    d = tested.run()
    assert tested.times_s[-1] == at_s
    assert (d.heater_on, d.contactor_on, d.relay_alone) == (False, False, False)
    assert d.why_off is not None


@pytest.mark.parametrize("step", [0, 1, 2])
def test_a_latch_that_is_not_armed_keeps_every_switch_open(step: int) -> None:
    whole = Trial()
    whole.run()
    at_s = steps_begin_s(whole)[step]
    tested = Trial(armed=lambda t_s: not at_s - 4.0 <= t_s < at_s + 50.0)
    tested.run()
    for t_s, d in zip(tested.times_s, tested.decisions, strict=True):
        if at_s <= t_s < at_s + 50.0:
            assert not is_closed(d)
    assert tested.decisions[-1].phase is Phase.DONE, "and the pulse is given again"
    assert tested.both_j > 0.0
    assert sum(d.relay_alone for d in tested.decisions) * 2.0 > 40.0


def test_a_lost_air_sensor_opens_every_switch() -> None:
    whole = Trial()
    whole.run()
    for begin_s in steps_begin_s(whole):
        tested = Trial(faults=(FaultAt("sensor-missing", begin_s + 12.0),))
        d = tested.run()
        assert d.trip == "control-sensor-lost"
        for t_s, d in zip(tested.times_s, tested.decisions, strict=True):
            if t_s > begin_s + 16.0:
                assert not is_closed(d)


def test_a_box_that_is_opened_begins_the_pulse_again() -> None:
    whole = Trial()
    whole.run()
    at_s = steps_begin_s(whole)[1] + 10.0
    tested = Trial()
    tested.commands[at_s] = word("open", laying=False)
    tested.commands[at_s + 60.0] = word("shut")
    tested.run()
    for t_s, d in zip(tested.times_s, tested.decisions, strict=True):
        if at_s <= t_s < at_s + 60.0:
            assert not is_closed(d)
            assert d.why_off is not None
            assert d.why_off.code is OffCode.BOX_OPEN
    assert tested.decisions[-1].phase is Phase.DONE


@pytest.mark.parametrize("step", [0, 1, 2])
def test_a_restart_breaks_it_off(step: int) -> None:
    """Nobody may stand by the plug any more."""
    whole = Trial()
    whole.run()
    at_s = steps_begin_s(whole)[step] + 10.0
    tested = Trial(again_s=at_s)
    d = tested.run()
    assert d.phase in (Phase.IDLE, Phase.TRIPPED)
    assert "broken off" in tested.said or d.trip == "resume-refused"
    for t_s, d in zip(tested.times_s, tested.decisions, strict=True):
        if t_s >= at_s:
            assert not is_closed(d)


def test_a_snapshot_in_any_pulse_goes_on_to_the_bit() -> None:
    whole = Trial()
    whole.run()
    for begin_s in steps_begin_s(whole):
        loop, other = Loop(SETTINGS), Loop(SETTINGS)
        oven = VirtualOven(BOX, SETTINGS.thermometers, lambda _: 9.0)
        t_s = 0.0
        while t_s < begin_s + 400.0:
            readings = tuple(oven.sense(t_s))
            commands = (asked(),) if t_s == 0.0 else ()
            if t_s == begin_s + 10.0:
                other.restore(json.loads(json.dumps(loop.snapshot(), allow_nan=False)))
            inputs = TickInputs(t_s, 1e9 + t_s, readings, commands)
            d = loop.tick(inputs)
            if t_s >= begin_s + 10.0:
                assert other.tick(inputs) == d
            oven.step(2.0, d.heater_on, d.contactor_on)
            t_s += 2.0


def test_a_recorded_test_tells_where_the_relay_closed_alone() -> None:
    whole = Trial()
    whole.run()
    told = [json.loads(decision_fields(d)["decision"]) for d in whole.decisions]
    assert [bool(t.get("alone")) for t in told] == [d.relay_alone for d in whole.decisions]
    assert any(t.get("alone") for t in told)


def test_the_next_night_is_no_test() -> None:
    tested = Trial()
    tested.run()
    loop = Loop(SETTINGS)
    oven = VirtualOven(BOX, SETTINGS.thermometers, lambda _: 9.0)
    end_s = tested.times_s[-1]
    t_s, d, heated_s = 0.0, tested.decisions[0], 0.0
    night = {"name": "Night", "segments": [{"kind": "soak", "at_c": 30.0, "hours": 4.0}]}
    plain = Command(2, "start", {"profile": night, **ALL_CONFIRMED}, "somebody")
    while t_s < end_s + 600.0:
        readings = tuple(oven.sense(t_s))
        commands = {0.0: (asked(),), end_s + 2.0: (plain,)}.get(t_s, ())
        d = loop.tick(TickInputs(t_s, 1e9 + t_s, readings, commands))
        oven.step(2.0, d.heater_on, d.contactor_on)
        heated_s += 2.0 * (d.heater_on and t_s > end_s)
        t_s += 2.0
    assert d.phase is Phase.SOAK
    assert heated_s > 60.0


def test_a_shed_that_swings_is_no_weld() -> None:
    """The sun on the roof, or a door: 3 K in half an hour, both ways."""
    for rate in (-6.0, -2.0, 2.0, 6.0):
        tested = Trial(shed_c=lambda t_s, r=rate: 12.0 + r * min(t_s, 1800.0) / 3600.0)  # type: ignore[misc]
        assert tested.run().phase is Phase.DONE, rate
        assert tested.alone_j == 0.0


def test_a_box_still_warm_from_a_night_is_no_weld() -> None:
    tested = Trial(start_c=30.0, shed_c=lambda _: 9.0)
    assert tested.run(4 * 3600.0).phase is Phase.DONE
