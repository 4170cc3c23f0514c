"""How much heat, and whether now: regulator, feed-forward and modulator as one."""

from __future__ import annotations

import math
from typing import Any

from ..profile import Profile
from ..settings import Settings
from ..settings.oven_evidence import OvenEvidence
from .feedforward import FeedForward
from .learned_need import LearnedNeed
from .modulator import Modulator
from .pid import PidRegulator
from .regulators import regulator_for


class Heating:
    """What the heater is asked for, and the pulses that give it."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._regulator = regulator_for(settings)
        self._feed_forward = FeedForward(settings)
        self._learned = LearnedNeed(settings)
        self._tonight: LearnedNeed | None = None
        """The same from the model's figures on, where the night started from learned ones."""
        self._modulator = Modulator(settings.heater)
        self._held = False
        self._seen_c: tuple[float, float] | None = None
        self.duty = 0.0
        """The share of the heater's power that is asked for, 0 to 1."""

    @property
    def _follows_model(self) -> bool:
        """Bang-bang has no use for watts, and switches by the setpoint itself."""
        pid = isinstance(self._regulator, PidRegulator)
        return pid and self._settings.regulator.feed_forward

    @property
    def on(self) -> bool:
        """What the relay was told last."""
        return self._modulator.on

    @property
    def switchings(self) -> int:
        """How often the relay has been told to change."""
        return self._modulator.switchings

    def start(self, profile: Profile, control_c: float) -> None:
        """A new night, by the regulator its profile asks for, from the air as it is."""
        self._held = True
        oven = profile.oven
        self._feed_forward.start()
        self._learned.start(oven)
        self._tonight = None
        if oven is not None and oven.nights:
            self._feed_forward.shares = self._learned.shares
            self._tonight = LearnedNeed(self._settings)
        self._regulator = regulator_for(self._settings, profile)
        self._regulator.start(control_c, control_c, 0.0)

    def ask_nothing(self) -> None:
        """There is no setpoint, or nothing to believe."""
        self.duty = 0.0
        self._seen_c = None

    def ask_all(self) -> None:
        """A pulse of heat: full power, whatever the regulator would ask."""
        self.duty = 1.0
        self._seen_c = None

    def ask(
        self, dt_s: float, setpoint_c: float, ahead_c: float, control_c: float, ambient_c: float
    ) -> None:
        """Reckon the duty for a setpoint now, and in `model.lead_s`."""
        feed_forward_w = 0.0
        self._seen_c = control_c, ambient_c
        if self._follows_model:
            feed_forward_w, setpoint_c = self._feed_forward.ask(
                dt_s, setpoint_c, ahead_c, ambient_c
            )
        watts = self._regulator.watts(dt_s, setpoint_c, control_c, feed_forward_w, self._held)
        self.duty = round(watts / self._settings.heater.power_w, 4)

    def tick(self, mono_s: float, dt_s: float, allowed: bool) -> bool:
        """Whether the heater is on until the next tick; off at once where it is not allowed."""
        self._held = not allowed
        if not allowed:
            self._feed_forward.held_off(dt_s)
        self._learn(dt_s, allowed)
        return self._modulator.tick(mono_s, dt_s, self.duty, allowed)

    def _learn(self, dt_s: float, allowed: bool) -> None:
        """Hold the heat that is given against what the air makes of it, where both are known."""
        regulator = self._regulator
        if not allowed or self._seen_c is None or not isinstance(regulator, PidRegulator):
            self._learned.held_off(dt_s)
            if self._tonight is not None:
                self._tonight.held_off(dt_s)
            return
        air_c, ambient_c = self._seen_c
        asked_w = self.duty * self._settings.heater.power_w
        if self._tonight is not None:
            self._tonight.went_on(dt_s, asked_w, air_c, ambient_c)
        if self._learned.went_on(dt_s, asked_w, air_c, ambient_c) and self._follows_model:
            regulator.hand_over(self._feed_forward.take(self._learned.shares, ambient_c))

    def evidence(self) -> OvenEvidence | None:
        """What the night has shown of the oven; None where that is nothing."""
        need = self._learned if self._tonight is None else self._tonight
        return OvenEvidence.of(need.shares, need.covariance, self._settings.model)

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready."""
        return {
            "regulator": self._regulator.snapshot(),
            "feed_forward": self._feed_forward.snapshot(),
            "learned_need": self._learned.snapshot(),
            "tonights_need": None if self._tonight is None else self._tonight.snapshot(),
            "modulator": self._modulator.snapshot(),
            "duty": self.duty,
            "held": self._held,
        }

    def restore(self, state: dict[str, Any], profile: Profile | None) -> None:
        """Go on from a snapshot of a night with `profile`; None: no night is under way.

        Without a night the regulator is the settings' own. Where the last night used the other
        kind, its state does not fit and is left out; the next night starts a new one anyway.
        """
        self._regulator = regulator_for(self._settings, profile)
        told = state["regulator"]
        if profile is not None or told.keys() == self._regulator.snapshot().keys():
            self._regulator.restore(told)
        self._feed_forward.restore(state["feed_forward"])
        if not self._learned.restore(state.get("learned_need", {})):
            self._feed_forward.shares = self._learned.shares
        self._tonight = None
        if tonight := state.get("tonights_need"):
            self._tonight = LearnedNeed(self._settings)
            self._tonight.restore(tonight)
        self._modulator.restore(state["modulator"])
        self.duty, self._held = state["duty"], state["held"]

    def resume(self) -> None:
        """Restart: relay off, on-time account cleared."""
        switchings = self._modulator.switchings
        self._modulator = Modulator(self._settings.heater)
        self._modulator.switchings = switchings
        self.duty, self._held = 0.0, True
        self._feed_forward.held_off(math.inf)
        self._learned.held_off(math.inf)
        if self._tonight is not None:
            self._tonight.held_off(math.inf)
