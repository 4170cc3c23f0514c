"""A short pulse of heat, watched: which thermometers answer, and is the heater off again?

It drives the outputs the daemon drives, with the same dead-man; every tick looks at the limits,
at every thermometer and at the stop button, and any doubt is off at once.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from statistics import fmean
from typing import NamedTuple

from ..board.button import StopButton
from ..board.ds18b20 import Bus
from ..board.relay import DeadMan, Outputs
from ..board.sensor_reader import Reader
from ..clock import Clock
from ..measure.screening import Screening
from ..settings import Role, Settings
from ..tick import Decision, all_off
from ..units import show_temperature
from .settling import Level

SHORTEST_S, LONGEST_S = 5.0, 300.0
TICK_S = 1.0
#: How long every thermometer may take to be read for the first time.
FIRST_S = 15.0
#: How long a thermometer may take to settle, and how often to say that it has not.
SETTLING_S, SAY_S = 900.0, 30.0
#: Where any thermometer is nearer to its limit than this, no pulse is given.
ROOM_K = 5.0
#: The air has answered well past doubt; the rest of the pulse would teach nothing.
ENOUGH_K = 12.0
#: What counts as an answer: three of the sensor's steps (0.0625 K, manufacturer's data sheet),
#: over the mean of so many samples.
ANSWER_K, ANSWER_SAMPLES = 0.1875, 5
#: The air has turned when it is a step below its highest, both over the mean of so many samples.
TURNED_K, TURNED_SAMPLES = 0.0625, 20
STOOD_STILL = "The dead-man had to open the relay: this machine stood still for too long."


class Sample(NamedTuple):
    """One tick: seconds since the heater was switched on, and °C of each thermometer."""

    t_s: float
    believed_c: tuple[float | None, ...]


class Pulse:
    """One pulse. `run` leaves everything off, whatever happens.

    Args:
        outputs: claimed and off; they are closed by `run`.
        seconds: of heat, `SHORTEST_S` to `LONGEST_S`.
        watch_s: how long to look on afterwards; it ends sooner once everything is clear.
        settle_s: how long every thermometer must have been at rest before.
        say: told a line now and then.
    """

    def __init__(
        self,
        settings: Settings,
        outputs: Outputs,
        clock: Clock,
        root: Path,
        seconds: float,
        watch_s: float,
        settle_s: float,
        say: Callable[[str], None] = lambda _: None,
    ) -> None:
        self.settings = settings
        self.seconds, self.watch_s, self._settle_s = seconds, watch_s, settle_s
        self.stopping = threading.Event()
        self.before_c: tuple[float, ...] = ()
        self.samples: list[Sample] = []
        self.heated_s = 0.0
        """How long the heater was on."""
        self.doubt: str | None = None
        """Why the pulse was not given or was cut short."""
        self.seen_off = False
        """The heater's output was found off after the pulse."""
        self._outputs, self._clock, self._say = outputs, clock, say
        ids = tuple(t.id for t in settings.thermometers)
        self._reader = Reader(Bus(ids, clock, root), clock, len(ids))
        self._dead_man = DeadMan(outputs, settings.timing.dead_man_s, clock)
        self._screening = Screening(settings.thermometers)
        self._judged_s = clock.monotonic()

    def stop(self) -> None:
        """Off at once; called by another thread."""
        self._outputs.all_off(for_good=True)
        self.stopping.set()

    def run(self) -> None:
        """Before, heat, and after. Raises what went wrong, with everything off."""
        button = None
        try:
            button = StopButton(self.settings)
            self._clock.join()
            self._reader.start()
            self._outputs.apply(self._decision(False))
            self._dead_man.start()
            if self._before():
                self._heat(button)
                self._after()
        finally:
            self._outputs.all_off()
            self._clock.leave()
            self._dead_man.stop()
            self._reader.stop()
            self._outputs.close()
            if button is not None:
                button.close()

    # ---- the three parts ---------------------------------------------------------------------

    def _before(self) -> bool:
        """The level before; False, with the doubt, where it is no ground to heat on."""
        began_s = said_s = self._clock.monotonic()
        names = [t.name for t in self.settings.thermometers]
        level = Level(names, round(self._settle_s / TICK_S))
        while self.doubt is None and (waits := level.waits_for()) is not None:
            self._outputs.apply(self._decision(False))
            self._clock.sleep(TICK_S)
            believed_c, faults = self._look()
            now_s = self._clock.monotonic()
            if self.stopping.is_set():
                self.doubt = "Told to stop."
            elif faults:
                waited = level.begun or now_s - began_s > FIRST_S
                self.doubt = faults[0] if waited else None
            elif self.settings.limits.no_heat():
                self.doubt = self.settings.limits.no_heat()[0]
            elif now_s - began_s > SETTLING_S:
                self.doubt = f"{waits}, after {SETTLING_S / 60.0:.0f} min; try again when it rests."
            else:
                self.doubt = self._past_limit(believed_c, ROOM_K)
                level.look(believed_c)
            if now_s - said_s >= SAY_S:
                said_s = now_s
                self._say(f"{waits}; the heater waits")
        if self.doubt is not None:
            return False
        self.before_c = level.level_c
        return True

    def _heat(self, button: StopButton) -> None:
        began_s = self._clock.monotonic()
        try:
            while self.doubt is None:
                now_s = self._clock.monotonic()
                if now_s - began_s >= self.seconds:
                    return
                believed_c, faults = self._look()
                self.doubt = self._doubt(believed_c, faults, button)
                if self.doubt is not None:
                    return
                self._note(now_s - began_s, believed_c, "on ")
                if self._air_rise_k(believed_c) > ENOUGH_K:
                    return
                self._outputs.apply(self._decision(True))
                if self.stopping.is_set():  # while it was being switched on
                    self.doubt = "Told to stop."
                    return
                if not self._outputs.is_on("heater"):
                    fired = self._dead_man.fired  # between the look and the switching
                    self.doubt = STOOD_STILL if fired else "The heater's pin did not go on."
                    return
                self._clock.sleep(min(TICK_S, max(began_s + self.seconds - now_s, 0.01)))
        finally:
            self._outputs.all_off()
            self.heated_s = self._clock.monotonic() - began_s
            self.seen_off = not self._outputs.is_on("heater")

    def _after(self) -> None:
        if self.doubt is not None:
            return
        self._say(f"{self.heated_s:5.0f} s  the heater is off; watching what comes of it")
        began_s = self._clock.monotonic()
        while not self.stopping.is_set():
            watched_s = self._clock.monotonic() - began_s
            if watched_s >= self.watch_s or (watched_s > 30.0 and self._all_clear()):
                return
            self._outputs.apply(self._decision(False))
            self._clock.sleep(TICK_S)
            believed_c, _ = self._look()
            self._note(self.heated_s + self._clock.monotonic() - began_s, believed_c, "off")
            limit = self._past_limit(believed_c)
            if limit is not None:
                self.doubt = f"{limit} with the heater off: pull the plug."
                return
            self.seen_off = self.seen_off and not self._outputs.is_on("heater")

    # ---- a tick --------------------------------------------------------------------------------

    def _decision(self, heat: bool) -> Decision:
        """The fan stirs the air all along, so that what is measured is the oven's."""
        off = all_off(len(self.settings.thermometers))._replace(fan_on=True)
        return off._replace(heater_on=True, contactor_on=True, why_off=None) if heat else off

    def _look(self) -> tuple[tuple[float | None, ...], list[str]]:
        """What is believed of each thermometer (°C), and a sentence for each that is not."""
        now_s = self._clock.monotonic()
        readings = self._reader.latest()
        screened = self._screening.judge(now_s, now_s - self._judged_s, readings, heated=True)
        self._judged_s = now_s
        faults = []
        for t, fault in zip(self.settings.thermometers, screened.faults, strict=True):
            if fault is not None:
                faults.append(f"{t.name} says nothing believable ({fault.value}).")
        return screened.believed_c, faults

    def _doubt(
        self, believed_c: Sequence[float | None], faults: list[str], button: StopButton
    ) -> str | None:
        """Why not to heat now, or None."""
        if self.stopping.is_set():
            return "Told to stop."
        if self._dead_man.fired:
            return STOOD_STILL
        if button.pressed():
            return "The stop button is pressed."
        return faults[0] if faults else self._past_limit(believed_c)

    def _past_limit(self, believed_c: Sequence[float | None], room_k: float = 0.0) -> str | None:
        limits = self.settings.limits
        of = {Role.AIR: limits.air_c, Role.HEATER: limits.heater_c}
        for t, value_c in zip(self.settings.thermometers, believed_c, strict=True):
            limit_c = of.get(t.role, limits.part_c)
            if value_c is not None and t.role is not Role.AMBIENT and value_c > limit_c - room_k:
                units = self.settings.units
                shown = show_temperature(value_c, units)
                near = "is past" if not room_k else "leaves too little room to"
                return (
                    f"{t.name} at {shown} {near} its limit of {show_temperature(limit_c, units)}."
                )
        return None

    def _air_rise_k(self, believed_c: Sequence[float | None]) -> float:
        airs = self.settings.indices(Role.AIR)
        return max(c - self.before_c[i] for i in airs if (c := believed_c[i]) is not None)

    def _note(self, t_s: float, believed_c: tuple[float | None, ...], heater: str) -> None:
        if not self.samples or int(t_s // 10) > int(self.samples[-1].t_s // 10):
            scale = 1.8 if self.settings.units == "F" else 1.0
            rises = "  ".join(
                f"{t.name} ?"
                if c is None
                else f"{t.name} {round(scale * (c - before_c), 1) + 0.0:+.1f}"
                for t, c, before_c in zip(
                    self.settings.thermometers, believed_c, self.before_c, strict=True
                )
            )
            self._say(f"{t_s:5.0f} s  heater {heater}  {rises}")
        self.samples.append(Sample(t_s, believed_c))

    # ---- what it shows -----------------------------------------------------------------------

    def rises_k(self, index: int) -> list[tuple[float, float]]:
        """(s since the heater went on, K above the level before) of one thermometer."""
        before_c = self.before_c[index]
        return [
            (s.t_s, c - before_c) for s in self.samples if (c := s.believed_c[index]) is not None
        ]

    def _means(self, index: int, count: int) -> list[tuple[float, float]]:
        """Running means of `count` samples, each with the time of its middle."""
        rises_k = self.rises_k(index)
        return [
            (rises_k[i + count // 2][0], fmean(k for _, k in rises_k[i : i + count]))
            for i in range(len(rises_k) - count + 1)
        ]

    def rise_k(self, index: int) -> float | None:
        """How far a thermometer rose at most; None if it was hardly read."""
        return max((k for _, k in self._means(index, ANSWER_SAMPLES)), default=None)

    def answered_s(self, index: int) -> float | None:
        """When a thermometer had plainly begun to rise, or None: the dead time."""
        means = self._means(index, ANSWER_SAMPLES)
        return next((t_s for t_s, k in means if k >= ANSWER_K), None)

    def turned(self, index: int) -> bool:
        """Whether a thermometer that had risen is on its way down."""
        means_k = [k for _, k in self._means(index, TURNED_SAMPLES)]
        if not means_k or max(means_k) < ANSWER_K:
            return False
        return max(means_k) - means_k[-1] >= TURNED_K

    def _all_clear(self) -> bool:
        """The air has turned, and everything in the oven has answered."""
        inside = [i for i, t in enumerate(self.settings.thermometers) if t.role is not Role.AMBIENT]
        return all(self.turned(i) for i in self.settings.indices(Role.AIR)) and all(
            self.answered_s(i) is not None for i in inside
        )
