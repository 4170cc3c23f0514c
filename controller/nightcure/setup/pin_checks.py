"""Checks of the board's pins. Nothing is switched on."""

from __future__ import annotations

import os

from ..errors import NightcureError
from ..settings import ANNUNCIATOR, Settings, pin_name
from .board_checks import Board
from .finding import Finding, Rating


def look_at_chip(board: Board) -> Finding:
    """Is there a chip with the header's pins, and may this user drive them?"""
    from ..board.lines import BINDING_VARIABLE, LineError, binding, find_chip

    stand_in = os.environ.get(BINDING_VARIABLE)
    if stand_in:
        return Finding("gpio", Rating.OK, f"Stand-in pins ({stand_in}); nothing is switched.")
    chips = sorted(board.dev.glob("gpiochip*"))
    if not chips:
        sentence = f"No gpiochip in {board.dev}: this is not the oven's board."
        return Finding("gpio", Rating.WRONG, sentence)
    if not any(os.access(chip, os.R_OK | os.W_OK) for chip in chips):
        return Finding(
            "gpio",
            Rating.WRONG,
            f"{chips[0]} may not be opened: sudo usermod -aG gpio $USER, then log in again.",
        )
    try:
        path, label = find_chip(binding())
    except LineError as error:
        said = str(error)
        return Finding("gpio", Rating.WRONG, f"{said[0].upper()}{said[1:]}.")
    return Finding(
        "gpio", Rating.OK, f"{path} ({label}) may be used.", {"chip": path, "label": label}
    )


def look_at_pins(settings: Settings) -> list[Finding]:
    """Claim every declared pin at its off level, and give it back off."""
    from ..board.button import PressButton
    from ..board.lines import LineError, idle_level
    from ..board.relay import Switch

    found = []
    declared = {"heater": settings.heater, "contactor": settings.contactor, "fan": settings.fan}
    declared |= settings.annunciator.outputs()
    for what, output in declared.items():
        if output is None:
            continue
        figures = {"pin": output.pin}
        heats = what not in ANNUNCIATOR
        bad = Rating.WRONG if heats else Rating.LOOK
        try:
            switch = Switch(output, what)
            still_on = switch.on
            switch.close()
            idles_on = idle_level(output.pin) is output.active_high
            Switch(output, what).close()
        except (NightcureError, LineError) as error:
            found.append(Finding(what, bad, str(error), figures))
            continue
        if idles_on and heats:
            way = "down" if output.active_high else "up"
            sentence = (
                f"{pin_name(output.pin)} is at its on level while nobody drives it, as at boot and "
                f"after a crash: a 10 kΩ resistor must pull it {way} (hardware-notes/wiring.md)."
            )
            found.append(Finding(what, Rating.WRONG, sentence, figures))
        elif still_on:
            do = ": pull the plug" if heats else ""
            sentence = f"{pin_name(output.pin)} cannot be driven off{do}."
            found.append(Finding(what, bad, sentence, figures))
        else:
            found.append(
                Finding(what, Rating.OK, f"{pin_name(output.pin)} is free and off.", figures)
            )
    if settings.stop_button is not None:
        pin = settings.stop_button.pin
        try:
            button = PressButton(settings.stop_button)
            pressed = button.pressed()
            button.close()
        except Exception as error:  # the pin library's own kinds
            sentence = f"{pin_name(pin)} cannot be read ({error}); is another program using it?"
            return [*found, Finding("stop button", Rating.WRONG, sentence, {"pin": pin})]
        if pressed:
            sentence = (
                f"{pin_name(pin)} is at ground: pressed, or wired to what opens. No night starts."
            )
            found.append(Finding("stop button", Rating.LOOK, sentence, {"pin": pin}))
        else:
            sentence = f"{pin_name(pin)}: not pressed. Press it and check again: does it answer?"
            found.append(Finding("stop button", Rating.OK, sentence, {"pin": pin}))
    return found


def look_at_holder(settings: Settings) -> Finding:
    """A controller runs: does it hold the heater's line?"""
    from ..board.lines import CONSUMER, LineError, holder

    pin = settings.heater.pin
    left = "It runs and holds the pins; they are left alone."
    try:
        who = holder(pin)
    except LineError as error:
        sentence = f"It runs; nobody could say who holds {pin_name(pin)} ({error})."
        return Finding("controller", Rating.LOOK, sentence)
    if who != CONSUMER:
        shown = "nobody" if who is None else f"'{who}'"
        sentence = f"It runs, and {pin_name(pin)} is held by {shown}: of another oven, then?"
        return Finding("controller", Rating.WRONG, sentence, {"holder": who})
    return Finding("controller", Rating.OK, left, {"holder": who})
