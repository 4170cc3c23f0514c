"""A test of the switches, one at a time: closed alone, none of them may bring heat; together they
must.

It is a night of its own, asked for by somebody who stands by the plug. `HeatCheck` gives its pulses
and looks for their answers; here is their order, and what has been found.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from ..settings import Settings
from ..tick import Phase
from .interlock_inputs import HeatState, InterlockInputs

#: The heater's own thermometer, at rest before, has answered when it is so far above, K.
HEATER_ROSE_K = 1.5
#: Air that rises faster by itself would be taken for an answer: no pulse is given on it.
RISING_K_PER_S = 0.04 / 60.0


class Step(StrEnum):
    """What is closed for a pulse."""

    CONTACTOR = "contactor"
    """The contactor alone; where there is none, nothing: a welded relay heats all the same."""
    RELAY = "relay"
    """The relay alone: a welded contactor lets it heat."""
    BOTH = "both"
    """Heat has to come, or the pulses before have proven nothing."""


class Verdict(StrEnum):
    """How a test ended."""

    PASSED = "passed"
    NO_HEAT = "no-heat"
    RELAY_WELDED = "relay-welded"
    CONTACTOR_WELDED = "contactor-welded"
    UNQUIET = "unquiet"
    BROKEN_OFF = "broken-off"


#: The pulse of each step.
PULSES = {
    Step.CONTACTOR: HeatState.CONTACTOR_PULSE,
    Step.RELAY: HeatState.RELAY_PULSE,
    Step.BOTH: HeatState.PULSE,
}


class SwitchTest:
    """Its steps in their order, and its verdict."""

    def __init__(self, settings: Settings) -> None:
        self._contactor = settings.contactor is not None
        self._watts = settings.heater.power_w
        self.step: Step | None = None
        """What is being tested, or waits for quiet air; None: no test is under way."""
        self.verdict: Verdict | None = None
        """Once it is over."""
        self.answered = False
        """Heat has been seen in the step under way."""
        self.heater_c: float | None = None
        """The heater's own thermometer as the pulse began, °C."""
        self.airs = 0
        """How many air sensors were believed then."""
        self.alone_k = 0.0
        """The most the air has risen above its course with a switch closed alone."""
        self.alone_heater_k = 0.0
        """The same of the heater's own thermometer."""
        self._told: list[str] = []

    def begin(self, test: bool) -> None:
        """A night begins; `test`: it is one of the switches."""
        self.step, self.verdict, self.answered = Step.CONTACTOR if test else None, None, False
        self.alone_k = self.alone_heater_k = 0.0
        self._told = ["The switches are tested once the air stands still."] if test else []

    def end(self, verdict: Verdict) -> None:
        """It is over."""
        self.step, self.verdict = None, verdict

    def forget(self) -> None:
        """The night is over, and with it what was found."""
        self.step = self.verdict = None

    def pulse(self, v: InterlockInputs, length_s: float) -> HeatState:
        """Begin the pulse of the present step."""
        assert self.step is not None
        self.answered = False
        self.heater_c, self.airs = max(v.heaters_c, default=None), len(v.air_c)
        self._told.append(f"{self._closed()} for {length_s:.0f} s: {self._expected()}.")
        return PULSES[self.step]

    def look(self, v: InterlockInputs, rise_k: float, need_k: float) -> bool:
        """Whether heat has come since the pulse began, by the air or by the heater's thermometer.

        With both switches closed it has to be more than a switch alone brought by `need_k`: air
        that rises whatever is closed is no answer.

        Args:
            rise_k: of the air above its course.
            need_k: the least rise that is an answer.
        """
        now_c = max(v.heaters_c, default=None)
        heater_k = 0.0 if now_c is None or self.heater_c is None else now_c - self.heater_c
        if self.step is Step.BOTH:
            rise_k, heater_k = rise_k - self.alone_k, heater_k - self.alone_heater_k
        else:
            self.alone_k = max(self.alone_k, rise_k)
            self.alone_heater_k = max(self.alone_heater_k, heater_k)
        self.answered = self.answered or rise_k > need_k or heater_k > HEATER_ROSE_K
        return self.answered

    def disturbed(self, v: InterlockInputs) -> bool:
        """Whether the pulse tells nothing: something else kept the switches open, or the air is
        told by other sensors than when it began."""
        return not (v.night and v.armed and v.heated) or len(v.air_c) != self.airs

    def next_step(self) -> None:
        """A step is over without a weld: on to the next, or to the verdict."""
        if self.step is Step.BOTH:
            self.end(Verdict.PASSED if self.answered else Verdict.NO_HEAT)
        elif self.step is Step.CONTACTOR and self._contactor:
            self.step = Step.RELAY
        else:
            self.step = Step.BOTH

    def take_told(self) -> list[str]:
        """What is to be said of this tick."""
        told, self._told = self._told, []
        return told

    def over(self) -> tuple[Phase, str, str] | None:
        """How the night ends now: phase, name and sentence; None where it goes on."""
        if self.verdict is None:
            return None
        if self.verdict is Verdict.PASSED:
            return Phase.DONE, "done", self._sentence()
        return Phase.IDLE, "stopped", self._sentence()

    def cut_short(self) -> tuple[Phase, str, str] | None:
        """The same where the night has ended before the test has; None where it is none."""
        if self.step is not None:
            self.end(Verdict.BROKEN_OFF)
        return self.over()

    def _sentence(self) -> str:
        """The verdict in words; a weld is told by its trip."""
        if self.verdict is Verdict.PASSED:
            alone = "with each switch closed alone" if self._contactor else "with the relay open"
            both = "with both" if self._contactor else "with it closed"
            return f"Switches tested: {alone} no heat came, {both} it did."
        if self.verdict is Verdict.NO_HEAT:
            return (
                "Nothing is proven of the switches: no heat came with everything closed either. "
                "Look at plug, fuse, cut-out (why has it opened?), lid and the air's thermometer, "
                "then test again."
            )
        if self.verdict is Verdict.UNQUIET:
            return (
                "Not tested: with every switch open the air went on rising. Look whether the "
                "heater is warm (then pull its plug); else let the box rest, shut and out of the "
                "sun, and test again."
            )
        return "The test of the switches was broken off; test again."

    def _closed(self) -> str:
        if not self._contactor:
            return "The relay is open" if self.step is Step.CONTACTOR else "The relay is closed"
        return {
            Step.CONTACTOR: "The contactor is closed alone",
            Step.RELAY: "The relay is closed alone",
            Step.BOTH: "Contactor and relay are closed",
        }[self.step or Step.BOTH]

    def _expected(self) -> str:
        watts = f"{self._watts:g} W" if self.step is Step.BOTH else "0 W"
        return f"a meter at the plug has to show {watts} from the heater"

    # ---- remember -------------------------------------------------------------------------

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready."""
        return {k: v for k, v in vars(self).items() if not k.startswith("_")}

    def restore(self, state: dict[str, Any]) -> None:
        """Go on from a snapshot; an empty one (of an earlier version): no test."""
        vars(self).update(state)
        self.step = None if self.step is None else Step(self.step)
        self.verdict = None if self.verdict is None else Verdict(self.verdict)
