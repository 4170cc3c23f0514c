"""Why the heater was off, as a person reads it: from the code and fields that a decision carries.

What interlocks, faults and those who gave a command are called is told by `tick`; who reads a
record finds it here, too.

Whether the heater may be on is decided in `loop.why_off`; status, page and morning record take
their words from here.
"""

from __future__ import annotations

from collections.abc import Mapping

from ..tick import FAULT_WORDS, PAGE, OffCode, Phase, asked_by, interlock_words

__all__ = [
    "FAULT_WORDS",
    "HEAT_CHECKS",
    "PAGE",
    "asked_by",
    "at_rest",
    "interlock_words",
    "off_sentence",
]

#: What is being checked about the heat.
HEAT_CHECKS: dict[str, str] = {
    "first-pulse": "A short pulse of heat comes first, to see that the air's thermometer responds.",
    "unanswered": "The air did not respond to heat: the heater pauses, short pulses test it.",
    "unexplained": "The air warmed up with the heater off: no heat until the cause is known.",
    "switch-test": "The switches are being tested, one at a time: the pulse comes, or its answer.",
}


def at_rest(code: str) -> bool:
    """Whether a reason says no more than that no night runs."""
    return code == OffCode.NO_NIGHT


def off_sentence(code: str, fields: Mapping[str, str]) -> str:
    """One sentence for a reason; for a code of a later version, the code itself."""
    match code:
        case OffCode.STARTING:
            return "The controller has just started."
        case OffCode.STOP_PRESSED:
            return "The stop button at the oven is held."
        case OffCode.TRIPPED:
            alarm = interlock_words(fields.get("alarm", "an interlock"))
            return f"The oven has tripped ({alarm}) and stays off until a person resets it."
        case OffCode.NO_NIGHT if fields.get("phase") == Phase.DONE:
            return "The night is done."
        case OffCode.NO_NIGHT:
            return "No night is running."
        case OffCode.RESUMING:
            return "The night was interrupted; whether it may go on is being checked."
        case OffCode.NOT_ARMED:
            return (
                "The trip latch could not be written to the disk yet; if this lasts, look at the "
                "disk's free space and the card."
            )
        case OffCode.BOX_OPEN:
            return "The box is open; the heat goes on by itself once it is shut."
        case OffCode.WET_RESIN:
            return (
                "Wet resin was laid: no heat until somebody confirms that it has gelled with the "
                "box open."
            )
        case OffCode.AIR_DOUBTED:
            return (
                "What is measured may not be the oven's air: is the box open, or a sensor outside? "
                "A short pulse of heat tells."
            )
        case OffCode.NO_AIR:
            fault = fields.get("fault", "")
            return f"No believable air temperature: {FAULT_WORDS.get(fault, fault)}."
        case OffCode.HEAT_CHECK:
            return HEAT_CHECKS.get(fields.get("check", ""), "The heat is being checked.")
        case OffCode.CONTACTOR_OPEN:
            return "The contactor closes first, the heater a tick later."
        case _:
            return f"Heat was not allowed ({code})."
