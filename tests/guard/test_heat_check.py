"""Heat that is not answered and heat that nobody gave, on an oven that this test works out itself.

The oven is a heater body, air and moulds by Euler's method; nothing of it comes from nightcure.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pytest

from nightcure.guard.heat_check import HeatCheck
from nightcure.guard.heat_pulse import bend_s, line_through
from nightcure.guard.interlock_inputs import HeatState, InterlockInputs
from nightcure.loop.loop import Loop
from nightcure.oven.installation import Rating, consequences
from nightcure.settings import Role, Settings, outrun_k
from tests.guard.test_interlocks import QUIET
from tests.nights import SETTINGS, changed, start, still

ALONE = Settings.model_validate({**SETTINGS.model_dump(mode="json"), "contactor": None})


@dataclass
class Oven:
    """Three stores; the settings' own numbers unless told otherwise. `watch` keeps what it saw."""

    settings: Settings = SETTINGS
    air_c: float = 9.0
    mould_c: float = 9.0
    ambient_c: float = 9.0
    told_ambient_c: float | None = None
    """What the settings take for the shed, where it is another."""
    setpoint_c: float = 38.0
    loss: float = 3.9
    air_j: float = 4600.0
    mould_j: float = 22000.0
    mould_lag_s: float = 1400.0
    lag_s: float = 230.0
    power_w: float = 300.0
    heater_w: float = 0.0
    parts: bool = True
    night: bool = True
    heated: bool = True
    held_off: bool = False
    t_s: float = 0.0
    given_j: float = 0.0
    states: list[tuple[float, HeatState]] = field(default_factory=list)
    check: HeatCheck = field(init=False)

    def __post_init__(self) -> None:
        self.check = HeatCheck(self.settings)

    def run(
        self,
        for_s: float,
        true_w: Callable[[float, bool], float] | None = None,
        seen_c: Callable[[float], float | None] | None = None,
        until: HeatState | None = None,
        past_trip: bool = False,
    ) -> InterlockInputs:
        """Regulate by a plain threshold; `true_w(t, relay)` is the heat that really flows."""
        end_s = self.t_s + for_s
        relay = False
        v = QUIET
        while self.t_s < end_s:
            shown_c = self.air_c if seen_c is None else seen_c(self.t_s)
            closed = self.night and self.check.contactor_closed
            v = self.check.look(
                QUIET._replace(
                    night=self.night, heated=self.night and self.heated,
                    phase="soak" if self.night else "idle",
                    control_c=shown_c,
                    ambient_c=self.ambient_c if self.told_ambient_c is None
                    else self.told_ambient_c,
                    parts_c=(("Lid", self.mould_c),) if self.parts else (),
                    setpoint_c=self.setpoint_c if self.night else None,
                    heater_on=relay, duty=float(relay),
                )
            )  # fmt: skip
            if not self.states or self.states[-1][1] is not self.check.state:
                self.states.append((self.t_s, self.check.state))
            if until is not None and self.check.state is until:
                return v
            wanted = self.check.pulse or (shown_c is not None and shown_c < self.setpoint_c)
            allowed = self.heated and not self.held_off and shown_c is not None
            relay = self.night and allowed and wanted and self.check.holds_off is None
            flows = self.power_w * relay if true_w is None else true_w(self.t_s, relay)
            if self.settings.contactor is not None and not closed:
                flows = min(flows, 0.0) if true_w is None else flows * self.cuts
            self.given_j += 2.0 * flows
            self.heater_w += (flows - self.heater_w) * 2.0 / self.lag_s
            into = self.mould_j / self.mould_lag_s * (self.air_c - self.mould_c)
            lost = self.loss * (self.air_c - self.ambient_c)
            self.air_c += 2.0 * (self.heater_w - into - lost) / self.air_j
            self.mould_c += 2.0 * into / self.mould_j
            self.t_s += 2.0
            if (v.heat.heater_dead or v.heat.relay_welded) and not past_trip:
                return v
        return v

    cuts: float = 0.0
    """What an open contactor leaves of heat that flows unasked: 0, or 1 for a part's own."""


def welded(_t: float, _relay: bool) -> float:
    return 300.0


def dead(_t: float, _relay: bool) -> float:
    return 0.0


def test_a_sound_oven_is_left_alone_from_cold_to_the_soak() -> None:
    oven = Oven()
    v = oven.run(6 * 3600.0)
    assert [s for _, s in oven.states] == [HeatState.WATCH]
    assert (v.heat.doubt_s, v.heat.heater_dead, v.heat.relay_welded) == (0.0, False, False)
    assert oven.air_c == pytest.approx(38.0, abs=1.5)


@pytest.mark.parametrize(
    "wrong",
    [{"loss": 5.0}, {"loss": 2.9}, {"mould_j": 60000.0}, {"mould_j": 7000.0}, {"power_w": 350.0},
     {"power_w": 250.0}, {"lag_s": 350.0}, {"lag_s": 140.0}, {"air_j": 9000.0}],
    ids=str,
)  # fmt: skip
def test_settings_that_are_somewhat_wrong_are_no_fault(wrong: dict[str, float]) -> None:
    oven = Oven(**wrong)  # type: ignore[arg-type]
    oven.run(6 * 3600.0)
    assert [s for _, s in oven.states] == [HeatState.WATCH]


def test_a_dead_heater_pauses_soon_and_trips_after_a_few_pulses() -> None:
    oven = Oven()
    oven.run(3600.0)
    oven.run(1800.0, dead, until=HeatState.PAUSE)
    assert oven.t_s - 3600.0 < 900.0
    assert not oven.check.contactor_closed, "somebody may have a hand in the box"
    v = oven.run(3 * 3600.0, dead)
    assert v.heat.heater_dead
    assert 3 <= v.heat.pulses <= 5
    assert [s for _, s in oven.states].count(HeatState.PULSE) == v.heat.pulses
    assert oven.t_s < 3600.0 + 900.0 + 5400.0 + 60.0


def test_the_fifth_pulse_without_an_answer_ends_the_night() -> None:
    """So near to the setpoint that no time of doubt does."""
    oven = Oven()
    oven.run(3600.0)
    oven.run(1800.0, dead, until=HeatState.PAUSE)
    v = oven.run(6 * 3600.0, dead, seen_c=lambda _: 37.0)
    assert (v.heat.heater_dead, v.heat.pulses) == (True, 5)
    assert oven.t_s < 5 * 3600.0


def test_a_sensor_that_fell_out_stops_the_heat_within_two_minutes() -> None:
    """Bound of the energy: full power for 60 s and the heater's lag, and 1 K of the air."""
    oven = Oven(parts=False)
    oven.run(5400.0)
    before_j, fell_s = oven.given_j, oven.t_s
    at_c = oven.air_c
    oven.run(3600.0, seen_c=lambda t: 9.0 + (at_c - 9.0) * 0.9 ** ((t - fell_s) / 2.0),
             until=HeatState.PAUSE)  # fmt: skip
    assert oven.t_s - fell_s < 120.0
    assert oven.given_j - before_j < 300.0 * (60.0 + 230.0) + 4600.0


NO_SHED = Settings.model_validate(
    {**SETTINGS.model_dump(mode="json"),
     "thermometers": [t for t in SETTINGS.model_dump(mode="json")["thermometers"]
                      if t["role"] != "ambient"]}
)  # fmt: skip


@pytest.mark.parametrize("shed_c", [9.0, 24.0])
def test_a_thermometer_outside_is_told_whatever_the_settings_take_for_the_shed(
    shed_c: float,
) -> None:
    """Surveyed in a frost, used in summer: 24 K above 0 °C may be a leaky box, or the shed."""
    warm = {"air_c": shed_c, "mould_c": shed_c, "ambient_c": shed_c, "told_ambient_c": 0.0}
    oven = Oven(settings=NO_SHED, parts=False, loss=6.0, mould_j=60000.0, **warm)  # type: ignore[arg-type]
    oven.run(3600.0, seen_c=lambda _t: shed_c, until=HeatState.PAUSE)
    assert oven.t_s < 720.0
    assert oven.air_c - shed_c < 15.0
    v = oven.run(3 * 3600.0, seen_c=lambda _t: shed_c)
    assert v.heat.heater_dead


def test_an_oven_lazier_than_surveyed_is_asked_for_less_once_it_has_answered() -> None:
    oven = Oven(settings=NO_SHED, parts=False, mould_j=110000.0, mould_lag_s=1400.0, loss=6.0)
    v = oven.run(8 * 3600.0)
    assert not v.heat.heater_dead
    assert [s for _, s in oven.states].count(HeatState.PULSE) <= 2
    assert oven.air_c == pytest.approx(38.0, abs=1.5)


def test_a_lid_that_is_shut_again_ends_the_doubt_with_one_pulse() -> None:
    oven = Oven()
    oven.run(3600.0)
    oven.loss = 64.0
    oven.run(1200.0, until=HeatState.PAUSE)
    oven.run(400.0)
    oven.loss = 3.9
    shut_s = oven.t_s
    oven.run(3000.0, until=HeatState.WATCH)
    assert oven.t_s - shut_s < 1200.0
    v = oven.run(3 * 3600.0)
    assert v.heat.doubt_s == 0.0, "the doubt is forgotten after a while of answered heat"
    assert oven.air_c == pytest.approx(38.0, abs=1.5)
    assert oven.states[-1][1] is HeatState.WATCH


@pytest.mark.parametrize("mould_kg_times", [1.0, 8.0])
def test_a_welded_relay_opens_the_contactor_and_is_proven_by_a_short_test(
    mould_kg_times: float,
) -> None:
    """Heavy moulds, too: what counts is heat without an order, not kelvins a minute."""
    mould_j = 22000.0 * mould_kg_times
    settings = changed(SETTINGS, model={"mould_capacity_j_per_k": mould_j})
    oven = Oven(settings=settings, mould_j=mould_j)
    oven.run(8 * 3600.0)
    welded_s, highest_c = oven.t_s, oven.air_c
    oven.run(3600.0, welded, until=HeatState.CUT)
    assert oven.t_s - welded_s < 25 * 60.0
    assert oven.air_c - highest_c < 15.0
    cut_j = oven.given_j
    v = oven.run(3 * 3600.0, welded)
    assert v.heat.relay_welded
    pulse_s = [t for t, s in oven.states if s is HeatState.CONTACTOR_PULSE]
    assert len(pulse_s) == 1
    assert oven.given_j - cut_j < 300.0 * 240.0, "the test is one short pulse"


def test_heat_of_another_source_does_not_answer_the_test_and_the_night_goes_on() -> None:
    """A part without a card and without a thermometer makes 150 W for an hour."""
    oven = Oven(parts=False, cuts=1.0)
    oven.run(4 * 3600.0)
    from_s = oven.t_s

    def own(t: float, relay: bool) -> float:
        return 300.0 * relay + (150.0 if t < from_s + 3600.0 else 0.0)

    v = oven.run(5 * 3600.0, own)
    assert not v.heat.relay_welded
    assert oven.states[-1][1] is HeatState.WATCH


@pytest.mark.parametrize("settings", [SETTINGS, ALONE], ids=["contactor", "relay alone"])
def test_moulds_far_lighter_than_told_are_no_welded_relay(settings: Settings) -> None:
    """The air takes more of the heat than the settings say. It was looked into twice and found to
    be nothing; the third time was a trip (fails before this). A weld is told all the same."""
    heavy = changed(settings, model={"mould_capacity_j_per_k": 22000.0 * 4.5})
    oven = Oven(settings=heavy, power_w=350.0, setpoint_c=45.0)
    v = oven.run(5 * 3600.0)
    assert [s for _, s in oven.states].count(HeatState.CUT) >= 1
    assert not v.heat.relay_welded
    assert oven.air_c == pytest.approx(45.0, abs=2.0)
    welded_s = oven.t_s
    oven.run(3600.0, lambda _t, _relay: 350.0, until=HeatState.CUT)
    assert oven.t_s - welded_s < 25 * 60.0


@pytest.mark.parametrize(("rise_k_per_min", "welded_relay"), [(0.0, True), (0.3, False)])
def test_a_part_that_heats_itself_does_not_answer_for_a_welded_relay(
    rise_k_per_min: float, welded_relay: bool
) -> None:
    """The air rises as the contactor's pulse is watched, under a part 4 K warmer. That proves a
    weld, unless the part rises, too: then it feeds the air (fails before this: a trip)."""
    check = HeatCheck(SETTINGS)
    air_c, part_c, pulsed = 29.0, 33.0, False
    for i in range(1200):
        part_c += rise_k_per_min / 30.0 if pulsed else 0.0
        air_c += 0.4 / 30.0 if pulsed else 0.0
        v = check.look(QUIET._replace(control_c=air_c, setpoint_c=38.0, parts_c=(("Lid", part_c),)))
        if i == 200:
            check.state, check.since_s = HeatState.CUT, 0.0
        pulsed = pulsed or check.state is HeatState.CONTACTOR_PULSE
        if v.heat.relay_welded or (pulsed and check.state is not HeatState.CONTACTOR_PULSE):
            break
    assert pulsed
    assert v.heat.relay_welded is welded_relay
    assert not check.contactor_closed, "no heat either way, until it is known"


def test_a_part_that_a_radiant_heater_warms_hides_a_welded_relay_twice_at_most() -> None:
    """It lies above the air and rises in every pulse: the third is the proof (fails before this:
    the contactor went on pulsing a welded heater for as long as heat was wanted)."""
    check = HeatCheck(SETTINGS)
    air_c, part_c, pulses = 29.0, 33.0, 0
    for i in range(6000):
        pulsing = check.state is HeatState.CONTACTOR_PULSE
        part_c += 0.3 / 30.0 if pulsing else 0.0
        air_c += 0.4 / 30.0 if pulsing else 0.0
        v = check.look(QUIET._replace(control_c=air_c, setpoint_c=38.0, parts_c=(("Lid", part_c),)))
        pulses += check.state is HeatState.CONTACTOR_PULSE and not pulsing
        if i == 200:
            check.state, check.since_s = HeatState.CUT, 0.0
        if v.heat.relay_welded:
            break
    assert v.heat.relay_welded
    assert pulses == 3


def test_without_a_contactor_the_air_that_goes_on_rising_is_the_proof() -> None:
    oven = Oven(settings=ALONE)
    oven.run(5 * 3600.0)
    v = oven.run(3 * 3600.0, welded)
    assert v.heat.relay_welded
    assert oven.air_c < 60.0


def test_a_relay_that_welded_before_the_stop_is_found_after_it() -> None:
    """Without a contactor: the night is idle, and the air rises."""
    oven = Oven(settings=ALONE)
    oven.run(5 * 3600.0)
    oven.night = False
    v = oven.run(3600.0, welded)
    assert v.heat.relay_welded
    still = oven.run(300.0, welded, past_trip=True)
    assert still.heat.relay_welded, "no reset while it rises"
    gone = oven.run(2400.0, dead, past_trip=True)
    assert not gone.heat.relay_welded


def test_a_warm_morning_in_an_idle_oven_is_no_welded_relay() -> None:
    oven = Oven(night=False, parts=False)
    v = oven.run(4 * 3600.0, dead, seen_c=lambda t: 10.0 + 0.005 * t)
    assert not v.heat.relay_welded
    assert [s for _, s in oven.states] == [HeatState.WATCH], "it was never heated"


def test_a_heater_too_strong_for_one_thermometer_begins_with_a_pulse() -> None:
    """Its sensor lies outside from the start: one pulse, no answer, no ramp."""
    strong = changed(SETTINGS, heater={"power_w": 2500.0})
    assert outrun_k(2500.0, strong.model) > 12.0
    assert outrun_k(300.0, SETTINGS.model) < 12.0
    oven = Oven(settings=strong, power_w=2500.0)
    oven.run(720.0, seen_c=lambda _: 9.0)
    assert oven.states[0][1] is HeatState.PAUSE
    assert oven.air_c < 9.0 + 15.0
    v = oven.run(2 * 3600.0, seen_c=lambda _: 9.0)
    assert v.heat.heater_dead
    assert oven.air_c < 40.0
    sound = Oven(settings=strong, power_w=2500.0)
    sound.run(900.0)
    assert sound.states[-1][1] is HeatState.WATCH


def test_a_heater_that_outruns_its_only_thermometer_is_told_at_the_start_and_by_the_box() -> None:
    one = tuple(t for t in SETTINGS.thermometers if t.role is not Role.HEATER)
    strong = changed(SETTINGS, heater={"power_w": 1000.0}).model_copy(update={"thermometers": one})
    assert outrun_k(1000.0, strong.model) == pytest.approx(
        1000.0 * 270 / (4600 + 22000 / 1400 * 270)
    )
    told = [c for c in consequences(strong) if "too strong" in c.sentence]
    assert [c.rating for c in told] == [Rating.WRONG]
    begun = Loop(strong).tick(still(0.0, start(), values=(9.0,) * len(one)))
    assert told[0].sentence in [e.message for e in begun.events]
    watched = changed(SETTINGS, heater={"power_w": 1000.0})
    assert (watched.outrun() is None) == bool(SETTINGS.indices(Role.HEATER))
    assert SETTINGS.outrun() is None


def test_state_written_down_at_any_moment_goes_on_the_same() -> None:
    whole, cut = Oven(), Oven()
    for oven in (whole, cut):
        oven.run(3600.0)
    for _ in range(12):
        whole.run(600.0, dead)
        cut.run(600.0, dead)
        state: dict[str, Any] = json.loads(json.dumps(cut.check.snapshot(), allow_nan=False))
        cut.check = HeatCheck(SETTINGS)
        cut.check.restore(state)
        assert cut.check.snapshot() == whole.check.snapshot()
    assert whole.states == cut.states


def test_the_line_through_a_drift_is_exact() -> None:
    at_last_c, slope = line_through([20.0 - 0.01 * i for i in range(15)], 10.0)
    assert at_last_c == pytest.approx(19.86)
    assert slope == pytest.approx(-0.001)


@pytest.mark.parametrize("contactor_pulse", [False, True])
def test_a_stall_in_a_pulse_is_no_answer_and_no_error(contactor_pulse: bool) -> None:
    """After a tick that came late no course of the air is left to look at."""
    oven = Oven()
    oven.run(3600.0)
    oven.run(1800.0, dead, until=HeatState.PAUSE)
    oven.run(3600.0, dead, until=HeatState.PULSE)
    oven.run(50.0, dead)
    assert oven.check.state is HeatState.PULSE
    if contactor_pulse:
        oven.check.state = HeatState.CONTACTOR_PULSE
    late = QUIET._replace(
        night=True, heated=True, phase="soak", control_c=oven.air_c, setpoint_c=38.0, gap_s=37.0,
        dt_s=6.0,
    )  # fmt: skip
    for _ in range(6):
        oven.check.look(late)
    assert oven.check.state is (HeatState.CUT if contactor_pulse else HeatState.PAUSE)


def test_the_bend_of_a_drift_tells_how_long_it_lasts() -> None:
    """A slope that dies with 400 s is e^(-70/400) of itself after 70 s."""
    assert bend_s(-0.01, -0.01 * 2.718281828459045 ** (-70.0 / 400.0), 70.0) == pytest.approx(400.0)
    assert bend_s(-0.01, -0.02, 70.0) == 1500.0
    assert bend_s(-0.01, 0.001, 70.0) == 100.0
    assert bend_s(0.0, 0.0, 70.0) == 100.0


# ---- what is not the heater's doing, and what a restart must not forget --------------------------


def test_a_box_that_was_said_to_be_open_for_long_is_no_doubt_about_the_heater() -> None:
    """Opened unsaid, then said, laminated in for 100 min, shut: the cold air is no trip."""
    oven = Oven()
    oven.run(3600.0)
    oven.loss = 64.0
    oven.run(1200.0, until=HeatState.PAUSE)
    oven.heated = False
    oven.run(6000.0)
    oven.loss, oven.heated = 3.9, True
    v = oven.run(2 * 3600.0)
    assert not v.heat.heater_dead
    assert oven.air_c == pytest.approx(38.0, abs=1.5)


def test_time_in_which_nobody_sees_the_air_is_no_doubt_about_the_heater() -> None:
    """The box open and not said to be: for 100 min the air is not believed, then it is."""
    oven = Oven()
    oven.run(3600.0)
    oven.loss = 64.0
    oven.run(1200.0, until=HeatState.PAUSE)
    oven.run(6000.0, seen_c=lambda _: None)
    oven.loss = 3.9
    v = oven.run(2 * 3600.0)
    assert not v.heat.heater_dead
    assert oven.air_c == pytest.approx(38.0, abs=1.5)


def test_a_contactor_that_opened_for_unexplained_heat_stays_open_over_a_restart() -> None:
    oven = Oven()
    oven.run(5 * 3600.0)
    oven.run(3600.0, welded, until=HeatState.CUT)
    state = json.loads(json.dumps(oven.check.snapshot(), allow_nan=False))
    oven.check = HeatCheck(SETTINGS)
    oven.check.restore(state)
    oven.check.resume()
    given_j = oven.given_j
    oven.run(290.0, welded)
    assert oven.given_j == given_j
    assert oven.run(3 * 3600.0, welded).heat.relay_welded


def test_a_pulse_that_was_held_off_by_something_else_is_no_answer_missed() -> None:
    """The latch on the disk cannot be read back: no heat, and none is missed."""
    oven = Oven()
    oven.run(3600.0)
    oven.run(1200.0, dead, until=HeatState.PAUSE)
    oven.held_off = True
    v = oven.run(4000.0, dead)
    assert [s for _, s in oven.states].count(HeatState.PULSE) >= 3
    assert v.heat.pulses == 0


def test_a_strong_heaters_first_pulse_comes_at_whatever_tick_the_night_starts() -> None:
    strong = changed(SETTINGS, heater={"power_w": 2500.0})
    for ticks in range(6):
        check = HeatCheck(strong)
        idle = QUIET._replace(night=False, heated=False, phase="idle", night_s=0.0)
        for _ in range(ticks):
            check.look(idle)
        check.look(QUIET._replace(heated=False, night_s=0.0))  # the tick of the start
        for i in range(20):
            check.look(QUIET._replace(night_s=2.0 * (i + 1)))
        assert check.holds_off == "first-pulse", ticks
