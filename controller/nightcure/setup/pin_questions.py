"""The setup's questions on pins: what switches, the buttons, siren and lamps."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from ..settings import no_console_pin, pin_name
from ..settings.annunciator_outputs import ANNUNCIATOR
from .box_questions import SWITCHED, UNKNOWN
from .questions import Asker

NONE = ("none", "no", "n")
#: All of ANNUNCIATOR but the siren.
LAMPS = ANNUNCIATOR[1:]


class PinsGiven(NamedTuple):
    """What the options say; None where the question is still open."""

    pin: str | None = None
    active_high: bool | None = None
    contactor: str | None = None
    fan: str | None = None
    stop_button: str | None = None
    siren: str | None = None
    lamps: str | None = None
    siren_active_high: bool | None = None
    silence_button: str | None = None


class Tells(NamedTuple):
    """Siren and lamps, by BCM number; nothing where there is none."""

    outputs: dict[str, int]
    """By the names of `settings.annunciator_outputs.ANNUNCIATOR`."""
    active_high: bool
    silence_button: int | None

    def text(self) -> str:
        """The table of oven.toml."""
        if not self.outputs:
            return (
                "# [annunciator]   # none; siren, lamps, button: hardware-notes/telling.md\n"
                "# siren = { pin = 16 }\n"
            )
        high = str(self.active_high).lower()
        rows = [
            f"{name} = {{ pin = {pin}, active_high = {high} }}   # {pin_name(pin)}"
            for name, pin in self.outputs.items()
        ]
        if self.silence_button is not None:
            where = pin_name(self.silence_button)
            rows.append(f"silence_button = {{ pin = {self.silence_button} }}   # {where} to ground")
        return "[annunciator]   # hardware-notes/telling.md\n" + "\n".join(rows) + "\n"


class Pins(NamedTuple):
    """BCM numbers."""

    heater: int
    contactor: int | None
    fan: int | None
    stop_button: int | None
    active_high: bool
    fan_told: str | None
    """Whether there is a fan: always on, switched by its pin, none; None where not told."""
    tells: Tells


def _pin(job: str, taken: dict[int, str]) -> Callable[[str], int]:
    """A parser for a pin that nothing else has; it is `job`'s from then on."""

    def parse(text: str) -> int:
        try:
            chosen = int(text.lower().removeprefix("gpio"))
        except ValueError:
            raise ValueError(f"'{text}' is not a pin; write its BCM number, 9 to 27.") from None
        if 0 <= chosen <= 8:
            raise ValueError(
                f"{chosen} is pulled up at boot, which may switch the {job} on; take 9 to 27."
            )
        if not 9 <= chosen <= 27:
            raise ValueError(f"there is no GPIO{chosen} to use; take 9 to 27.")
        no_console_pin(chosen)
        if chosen in taken:
            raise ValueError(f"GPIO{chosen} is the {taken[chosen]}'s; give each its own.")
        taken[chosen] = job
        return chosen

    return parse


def _pin_or_none(job: str, taken: dict[int, str]) -> Callable[[str], int | None]:
    return lambda text: None if text.lower() in NONE else _pin(job, taken)(text)


def ask_for_pins(ask: Asker, given: PinsGiven) -> Pins:
    """Every pin; no two have the same. Raises as `Asker.ask`."""
    taken: dict[int, str] = {}

    ask.explain(
        "\nPins, by GPIO (BCM) number, not by their place on the header: GPIO17 is header\n"
        "pin 11, GPIO27 13, GPIO22 15. Take 9 to 27, pulled down while the board boots. 0\n"
        "to 8 are pulled up, 14 and 15 the serial console's: they may switch a heater on\n"
        "and are refused. Put 10 kΩ from each driver's input to ground."
    )
    heater = ask.ask("pin", "GPIO of the heater's relay", _pin("heater", taken), given.pin, "17")
    high = ask.yes_no(
        "active-high", "Do the relays close on a high pin (active-high)?", given.active_high
    )
    if not high:
        ask.say("  An active-low relay board may be ON while the board boots: read wiring.md.")
    contactor = ask.ask(
        "contactor",
        "GPIO of the contactor in series, or none (a relay can fail closed)",
        _pin_or_none("contactor", taken),
        given.contactor,
        "27" if 27 not in taken else "none",
    )

    def fan_of(text: str) -> int | str | None:
        word = text.lower()
        return word if word in ("always", UNKNOWN) else _pin_or_none("fan", taken)(text)

    ask.explain(
        "A fan is best fed ahead of the heater's switches and always on: then it cools a\n"
        "heater that has just been cut off."
    )
    question = "The fan: always (on with the mains), none, or the GPIO that switches it"
    fan_answer = ask.ask("fan", question, fan_of, given.fan, UNKNOWN)
    fan = fan_answer if isinstance(fan_answer, int) else None
    fan_told = SWITCHED if fan is not None else fan_answer or "none"
    stop = ask.ask(
        "stop-button",
        "GPIO of a stop button to ground, or none",
        _pin_or_none("stop button", taken),
        given.stop_button,
        "none",
    )
    tells = _tells(ask, given, taken)
    for chosen, job in taken.items():
        ask.say(f"  {job}: {pin_name(chosen)}")
    return Pins(
        heater, contactor, fan, stop, high, None if fan_told == UNKNOWN else str(fan_told), tells
    )


def _tells(ask: Asker, given: PinsGiven, taken: dict[int, str]) -> Tells:
    """Siren, lamps and the button that silences."""

    def lamps_of(text: str) -> dict[str, int]:
        if text.lower() in NONE:
            return {}
        told = dict(word.partition("=")[::2] for word in text.lower().replace(",", " ").split())
        for name in told:
            if name not in LAMPS:
                raise ValueError(
                    f"'{name}' is no lamp; write as alarm=26 running=20, of {', '.join(LAMPS)}."
                )
        found: dict[str, int] = {}
        try:
            for name, text in told.items():
                found[name] = _pin(f"{name} lamp", taken)(text)
        except ValueError:
            for chosen in found.values():
                del taken[chosen]
            raise
        return found

    ask.explain(
        "\nA siren or buzzer that wakes you, and lamps: running, waiting, ready, alarm. They\n"
        "hang on a driver, never on the heater's relay; a pin by itself drives one LED."
    )
    siren = ask.ask(
        "siren",
        "GPIO of a siren or buzzer, or none",
        _pin_or_none("siren", taken),
        given.siren,
        "none",
    )
    lamps = ask.ask("lamps", "Lamps, as alarm=26, or none", lamps_of, given.lamps, "none")
    outputs = ({} if siren is None else {"siren": siren}) | lamps
    if not outputs:
        return Tells({}, True, None)
    high = ask.yes_no(
        "siren-active-high", "Are they on with a high pin (active-high)?", given.siren_active_high
    )
    button = ask.ask(
        "silence-button",
        "GPIO of a button to ground that silences, or none",
        _pin_or_none("silence button", taken),
        given.silence_button,
        "none",
    )
    return Tells(outputs, high, button)
