"""What tells at the box: `[annunciator]` in oven.toml, and the tables of any output or button."""

from __future__ import annotations

from .section import Pin, Section


class Output(Section):
    """A declared output pin: contactor, fan, siren or lamp."""

    pin: Pin
    active_high: bool = True


class Button(Section):
    """A push button to ground."""

    pin: Pin


class AnnunciatorOutputs(Section):
    """Siren and lamps. None is needed, none switches heat, and one that fails stops nothing."""

    siren: Output | None = None
    """Or buzzer: while an alarm is new and neither acknowledged nor silenced."""
    running: Output | None = None
    """Lamp: a night is under way."""
    waiting: Output | None = None
    """Lamp: it waits, for the oven or for a person."""
    ready: Output | None = None
    """Lamp: at rest, nothing has tripped; a night may be started."""
    alarm: Output | None = None
    """Lamp: flashes for a new alarm, is lit for one that stands."""
    silence_button: Button | None = None
    """Silences the siren. It acknowledges and resets nothing."""
    warnings_sound: bool = True
    """Whether the siren sounds for warnings, too; for a trip it always does."""

    def outputs(self) -> dict[str, Output]:
        """Those declared, by name."""
        named = {name: getattr(self, name) for name in ANNUNCIATOR}
        return {name: output for name, output in named.items() if output is not None}


#: The names of what may be declared as an output here.
ANNUNCIATOR = ("siren", "running", "waiting", "ready", "alarm")
