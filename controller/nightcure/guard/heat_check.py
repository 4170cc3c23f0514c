"""Does heat do what it must, and does only the heater heat? Doubt pauses heat; a pulse settles it.

`EnergyBalance` keeps two accounts. What is done about them:

    heat unanswered    The heater pauses until the air is quiet, then gives one short pulse, long
                       enough for a rise that the oven's own model can tell from nothing. Answered:
                       the night goes on, and the oven is known to lose more than surveyed. Five
                       pulses unanswered, or 90 minutes far below the setpoint: a trip.
    air doubted        (`measure.air_doubt`: far below the parts, or two sensors far apart.) The
                       same: air that answers a pulse is the oven's.
    heat unexplained   The contactor opens at once. When heat is wanted again the contactor closes
                       with the relay off for one short pulse: air that answers proves a welded
                       relay, a trip; air that does not lets the night go on. A third time within
                       90 minutes is a trip, too. Without a contactor, or with none to open (no
                       night is running), the air must stop rising by itself, else it is a trip.

A heater so strong that one thermometer cannot follow it (`settings.outrun_k`) begins each night
with such a pulse. A night that is a test of the switches (`switch_test`) is nothing but pulses.
"""

from __future__ import annotations

from typing import Any

from ..settings import Role, Settings, outrun_k
from .energy_balance import PROBE_S, STEP_S, EnergyBalance
from .heat_pulse import HeatPulse
from .heat_response import HeatResponse
from .interlock_inputs import HeatFound, HeatState, InterlockInputs
from .switch_test import RISING_K_PER_S, Step, SwitchTest, Verdict

#: Pulses without an answer that end the night, and how long a doubt may last far from the setpoint.
MOST_PULSES = 5
LONGEST_DOUBT_S, FAR_BELOW_K = 5400.0, 3.0
#: Heat answered for so long ends the doubt.
CALM_S = 1200.0
#: Unexplained so often within so long is enough.
MOST_CUTS, CUTS_WITHIN_S = 3, 5400.0
#: Quiet air is waited for so long at the most before a pulse of heat; before the contactor's,
#: whose answer is a trip, longer.
LONGEST_UNQUIET_S, LONGEST_CUT_UNQUIET_S = 240.0, 1800.0
#: A test of the switches on air that goes on rising by itself is given up after so long.
LONGEST_TEST_UNQUIET_S = 2700.0
#: A heater is too strong to be watched by one thermometer unasked where it outruns it by more.
PULSE_FIRST_K = 12.0
#: A part so much warmer than the air that has risen so far in a pulse makes the heat itself, K.
FED_K, PART_ROSE_K = 1.0, 0.2
#: It is believed so often in a night: a radiant heater with a welded relay warms its part likewise.
MOST_OWN_HEAT = 2
#: Without a contactor: rising by so much after the heater's own heat is spent is a stuck relay.
STILL_RISING_K = 2.0
#: After a night was stopped its heater is watched for so long.
WATCH_AT_REST_S = 7200.0


class HeatCheck:
    """The balance, and what is done about it. `look` once a tick."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._balance = EnergyBalance(settings)
        self._response = HeatResponse(settings)
        self._pulse = HeatPulse(settings)
        self._test = SwitchTest(settings)
        self._settle_s = min(max(PROBE_S + 2.0 * settings.model.heater_lag_s, 120.0), 600.0)
        self._shed_known = bool(settings.indices(Role.AMBIENT))
        self._pulse_first = outrun_k(settings.heater.power_w, settings.model) > PULSE_FIRST_K
        self.state = HeatState.WATCH
        self.since_s = 0.0
        """How long it has been in this state."""
        self.wait_s = 0.0
        self.unanswered = 0
        """Pulses without an answer, one after another."""
        self.doubt_s: float | None = None
        """How long heat has been in doubt, while the air was seen and heat was wanted."""
        self.given_s = 0.0
        """How long the present pulse has heated."""
        self.answered = False
        """The air has answered a pulse in this tick."""
        self.air_alone = False
        """The doubt is the thermometers' alone: no heat went unanswered."""
        self.calm_s = 0.0
        self.cuts_s: list[float] = []
        """How long ago the contactor opened for unexplained heat."""
        self.proven = False
        self.given_up = False
        self.cut_c: float | None = None
        self.part_c: float | None = None
        """The warmest part as the contactor's pulse began."""
        self.own_heats = 0
        """How often in this night a part's own heat was taken for the answer."""
        self.night = False
        self.anew = False
        """What lies in the oven, and how warm, is to be taken from the next readings."""
        self.off_s = 0.0
        self.heated = False
        # The step under way.
        self.step_s = self.on_s = self.air_sum = self.air_s = 0.0

    # ---- what others ask ------------------------------------------------------------------

    @property
    def test(self) -> SwitchTest:
        """The test of the switches that this night is, if it is one."""
        return self._test

    @property
    def pulse(self) -> bool:
        """The relay closed now, whatever the regulator asks."""
        pulses = self.state in (HeatState.PULSE, HeatState.RELAY_PULSE)
        return pulses and self.since_s < self._pulse.length_s

    @property
    def relay_alone(self) -> bool:
        """The relay is closed with the contactor open, to see that no heat comes."""
        return self.state is HeatState.RELAY_PULSE and self.pulse

    @property
    def contactor_closed(self) -> bool:
        """Whether the contactor may be closed, as far as this check goes."""
        if self.state is HeatState.CONTACTOR_PULSE:
            return self.since_s < self._pulse.length_s
        return self.state is HeatState.WATCH or (self.pulse and not self.relay_alone)

    @property
    def holds_off(self) -> str | None:
        """What forbids heat now: `unanswered`, `first-pulse`, `unexplained`, `switch-test`, or
        None."""
        if self.state is HeatState.WATCH or self.pulse:
            return None
        if self._test.step is not None:
            return "switch-test"
        if self.state in (HeatState.CUT, HeatState.CONTACTOR_PULSE):
            return "unexplained"
        return "first-pulse" if self.doubt_s is None else "unanswered"

    # ---- one tick -------------------------------------------------------------------------

    def look(self, v: InterlockInputs) -> InterlockInputs:
        """The tick with what was found in it."""
        if v.night and not self.night:
            self._begin()
        elif self.night and not v.night:
            self._test.forget()
        self.night = v.night
        if self.anew and v.control_c is not None:
            self._balance.begin(v.control_c, tuple(c for _, c in v.parts_c), v.ambient_c)
            self.anew = False
        self.given_up = self.given_up and v.night
        self.answered = False
        self.since_s += v.gap_s
        self.cuts_s = [s + v.gap_s for s in self.cuts_s if s + v.gap_s < CUTS_WITHIN_S]
        self.off_s = 0.0 if v.heater_on else self.off_s + v.gap_s
        self.heated = self.heated or v.heater_on
        if self.pulse and v.heater_on:
            self.given_s += v.dt_s
        self.on_s += v.dt_s if v.heater_on and self.state is not HeatState.RELAY_PULSE else 0.0
        self.step_s += max(v.gap_s, v.dt_s)
        if v.control_c is not None:
            self.air_sum += v.control_c * v.dt_s
            self.air_s += v.dt_s
        elif self._test.step is not None:  # no switch stays closed that nobody watches
            self._pause(0.0)
        if self.step_s >= STEP_S - 1e-6:
            self._step(v)
            self.step_s = self.on_s = self.air_sum = self.air_s = 0.0
        found = HeatFound(
            self.state, self.unanswered, self.doubt_s or 0.0, self.given_up, self.proven,
            self._test.verdict is Verdict.CONTACTOR_WELDED, self._test.step is not None,
            self.air_alone,
        )  # fmt: skip
        return v if found == v.heat else v._replace(heat=found)

    def _begin(self) -> None:
        """A night starts, or is taken up again: a doubt about an answer is new."""
        self.anew = True
        self._response.begin()
        self._forget_doubt()
        self.cuts_s, self.given_up, self.proven = [], False, False
        self.own_heats = 0
        self._enter(HeatState.WATCH)
        if self._pulse_first or self._test.step is not None:
            self._pause(0.0)

    def _forget_doubt(self) -> None:
        self.unanswered, self.doubt_s, self.air_alone, self.calm_s = 0, None, False, 0.0
        if self.state in (HeatState.PAUSE, HeatState.PULSE):
            self._enter(HeatState.WATCH)

    def _step(self, v: InterlockInputs) -> None:
        at_rest = not v.night and (not self.heated or self.off_s > WATCH_AT_REST_S)
        duty = min(self.on_s / self.step_s, 1.0)
        if self.air_s <= 0.0 or at_rest:
            self._balance.unseen(self.step_s, duty)
            self._response.step(self.step_s, duty, None, v.ambient_c, heated=v.heated)
            self._pulse.forget()
            self._unseen(at_rest)
            return
        air_c = self.air_sum / self.air_s
        self._pulse.note(air_c)
        if self.step_s >= 1.5 * STEP_S:
            self._pulse.forget()
            self._unseen(at_rest)
        self._balance.step(
            self.step_s, duty, air_c, v.ambient_c,
            shed_known=self._shed_known, warmest_c=v.warmest_c(air_c), heated=v.heated,
        )  # fmt: skip
        self._response.step(self.step_s, duty, air_c, v.ambient_c, heated=v.heated)
        if not v.heated and v.night_s > 0.0:  # a cool-down, or the box was said to be open
            self._forget_doubt()
        elif self.doubt_s is not None:
            self.doubt_s += self.step_s
        if self._test.step is not None and self.state is not HeatState.PAUSE:
            self._tested(v)
            return
        match self.state:
            case HeatState.WATCH:
                self._watch(v, air_c)
            case HeatState.PAUSE:
                self._paused(v, air_c)
            case HeatState.PULSE:
                self._pulsed(v.doubted)
            case HeatState.CUT:
                self._cut(v, air_c)
            case HeatState.CONTACTOR_PULSE:
                self._contactor_pulsed(v, air_c)
        if self.doubt_s is not None and self.doubt_s > LONGEST_DOUBT_S and v.heated:
            far = v.setpoint_c is not None and air_c < v.setpoint_c - FAR_BELOW_K
            self.given_up = self.given_up or far

    @property
    def _unanswered(self) -> bool:
        """Heat was given that the air does not show."""
        balance = self._balance
        late = balance.unanswered_j > balance.unanswered_bound_j
        return late or self._response.doubtful

    def _unseen(self, at_rest: bool) -> None:
        """Nothing is seen of the air: a pulse under way has told nothing."""
        if at_rest:
            self.heated = self.proven = False
            self._enter(HeatState.WATCH)
        elif self.state is HeatState.PULSE or self._test.step is not None:
            self._pause(self.wait_s)
        elif self.state is HeatState.CONTACTOR_PULSE:
            self._enter(HeatState.CUT)

    def _watch(self, v: InterlockInputs, air_c: float) -> None:
        balance = self._balance
        if balance.unexplained_j > balance.unexplained_bound_j:
            self.cuts_s = [*self.cuts_s, 0.0]
            self.cut_c, self.wait_s = air_c, 0.0
            self._enter(HeatState.CUT)
            self.proven = self.proven or len(self.cuts_s) >= MOST_CUTS
        elif v.heated and (self._unanswered or v.doubted):
            self.air_alone = not self._unanswered and (self.air_alone or self.doubt_s is None)
            self.doubt_s = self.doubt_s or self.step_s
            self._pause(self._settle_s)
        elif balance.unanswered_j < 0.5 * balance.unanswered_bound_j:
            self.calm_s += self.step_s if v.heater_on or v.duty > 0.0 else 0.0
            if self.calm_s > CALM_S:
                self.unanswered, self.doubt_s, self.air_alone = 0, None, False
        else:
            self.calm_s = 0.0

    def _pause(self, wait_s: float) -> None:
        self.wait_s, self.calm_s = wait_s, 0.0
        self._balance.unanswered_j = 0.0
        self._response.forget()
        self._enter(HeatState.PAUSE)

    def _paused(self, v: InterlockInputs, air_c: float) -> None:
        if self._test.step is not None:
            self._test_waits(v)
            return
        wanted = v.setpoint_c is not None and air_c < v.setpoint_c
        unquiet_s = self.since_s - self.wait_s
        if wanted and unquiet_s >= 0.0 and self._pulse.may_begin(unquiet_s, LONGEST_UNQUIET_S):
            self._enter(HeatState.PULSE)

    def _pulsed(self, doubted: bool) -> None:
        if self._pulse.answered(self.since_s, doubted):
            if self.doubt_s is not None:
                self._balance.answered()
                self._response.answered()
            self.answered, self.unanswered = True, 0
            self._enter(HeatState.WATCH)
        elif self.since_s > self._pulse.look_s:
            if self.given_s < 0.5 * self._pulse.length_s:  # something else held the heat off
                self._pause(self.wait_s)
                return
            self.unanswered += 1
            self.air_alone = False
            self.doubt_s = self.doubt_s or self.step_s
            if self.unanswered >= MOST_PULSES:
                self.given_up = True
            self._pause(min(300.0 * self.unanswered, 900.0))

    def _cut(self, v: InterlockInputs, air_c: float) -> None:
        settled = self.since_s >= max(self._settle_s, 300.0)
        if v.night and self._settings.contactor is not None:
            wanted = v.setpoint_c is not None and air_c < v.setpoint_c - 0.5
            if not (settled and wanted):
                self.wait_s = self.since_s
            elif self._pulse.may_begin(self.since_s - self.wait_s, LONGEST_CUT_UNQUIET_S):
                self.part_c = v.warmest_c(air_c)
                self._enter(HeatState.CONTACTOR_PULSE)
            return
        # Nothing is left to open: it stops rising by itself, or it is stuck.
        if not settled or self.cut_c is None:
            self.cut_c = max(air_c, self.cut_c or air_c)
        elif air_c > self.cut_c + STILL_RISING_K:
            self.proven, self.cut_c = True, air_c - STILL_RISING_K
        elif air_c < self.cut_c - 0.5:
            self._settled(air_c)

    def _contactor_pulsed(self, v: InterlockInputs, air_c: float) -> None:
        if not (v.night and v.armed):  # the contactor was not closed
            self._enter(HeatState.CUT)
        elif self._pulse.answered(self.since_s):
            own = self.own_heats < MOST_OWN_HEAT and self._own_heat(v, air_c)
            self.own_heats += own  # it may have answered: asked again later
            self.proven, self.cut_c = not own, None
            self._enter(HeatState.CUT)
        elif self.since_s > self._pulse.look_s:
            self._settled(air_c)

    def _own_heat(self, v: InterlockInputs, air_c: float) -> bool:
        """Whether a part warmer than the air has become warmer still: it feeds the air, then."""
        part_c = v.warmest_c(air_c)
        if part_c is None or self.part_c is None:
            return False
        return part_c > max(air_c + FED_K, self.part_c + PART_ROSE_K)

    def _test_waits(self, v: InterlockInputs) -> None:
        """Every switch is open, until the air stands still: heat now comes through all of them."""
        if self._balance.unexplained_j > self._balance.unexplained_bound_j:
            self._test_finds_a_weld()
        elif (
            self._pulse.may_begin(self.since_s, LONGEST_CUT_UNQUIET_S)
            and self._pulse.slope_k_per_s < RISING_K_PER_S
        ):
            self._enter(self._test.pulse(v, self._pulse.length_s))
        elif self.since_s > LONGEST_TEST_UNQUIET_S:
            self._test.end(Verdict.UNQUIET)
            self._enter(HeatState.WATCH)

    def _test_finds_a_weld(self) -> None:
        self.proven, self.cut_c = True, None
        self._test.end(Verdict.RELAY_WELDED)
        self._enter(HeatState.CUT)

    def _tested(self, v: InterlockInputs) -> None:
        """A pulse of the switches' test: alone, a switch may bring no heat."""
        test = self._test
        if test.disturbed(v):
            self._pause(0.0)
            return
        answered = test.look(v, self._pulse.rise_k(self.since_s), self._pulse.need_k)
        if answered and test.step is Step.CONTACTOR:
            self._test_finds_a_weld()
        elif answered and test.step is Step.RELAY:
            test.end(Verdict.CONTACTOR_WELDED)
            self._enter(HeatState.WATCH)
        elif self.since_s > self._pulse.look_s:
            if test.step is Step.CONTACTOR or self.given_s >= 0.5 * self._pulse.length_s:
                test.next_step()
            if test.step is None:
                self._enter(HeatState.WATCH)
            else:
                self._pause(0.0)

    def _settled(self, air_c: float) -> None:
        """It was not the heater, or it heats no more."""
        self.proven, self.wait_s = False, 0.0
        self._balance.forgive(air_c)
        self._enter(HeatState.WATCH)

    def _enter(self, state: HeatState) -> None:
        if state is not self.state:
            self.state, self.since_s, self.given_s = state, 0.0, 0.0

    # ---- remember -------------------------------------------------------------------------

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready."""
        own = {k: v for k, v in vars(self).items() if not k.startswith("_")}
        return {
            **own, "state": self.state.value, "balance": self._balance.snapshot(),
            "response": self._response.snapshot(), "pulse": self._pulse.snapshot(),
            "test": self._test.snapshot(),
        }  # fmt: skip

    def restore(self, state: dict[str, Any]) -> None:
        """Go on from a snapshot; an empty one (of an earlier version) starts anew."""
        own = dict(state)
        self._balance.restore(own.pop("balance", {}))
        self._response.restore(own.pop("response", {}))
        self._pulse.restore(own.pop("pulse", {}))
        self._test.restore(own.pop("test", {}))
        own["state"] = HeatState(own.get("state", HeatState.WATCH))
        vars(self).update(own)

    def resume(self) -> None:
        """After a cut: unexplained heat stays unexplained, a test is over, all else begins anew."""
        if self._test.step is not None:
            self._test.end(Verdict.BROKEN_OFF)
        cut = self.state in (HeatState.CUT, HeatState.CONTACTOR_PULSE)
        cuts_s, night = self.cuts_s, self.night
        self._begin()
        self._balance.unseen(STEP_S, 0.0)
        self._response.air_c = None
        self._pulse.forget()
        if cut:
            self.cuts_s = cuts_s
            self._enter(HeatState.CUT)
        self.night = night
