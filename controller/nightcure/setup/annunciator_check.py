"""Siren and lamps tried at the oven. Nothing that heats is switched."""

from __future__ import annotations

import time
from collections.abc import Callable

from ..board.relay import Switch
from ..settings import Settings, pin_name
from .board_checks import controller_runs
from .finding import Finding, Rating

#: Each is on for so long, s.
TRIED_S = 2.0


def try_annunciator(settings: Settings, say: Callable[[str], None]) -> list[Finding]:
    """Siren and lamps one after the other, two seconds each; heater, contactor and fan stay off."""
    if controller_runs(settings.ledger):
        sentence = "Not tried: the controller runs and holds the pins; stop it first."
        return [Finding("siren", Rating.LOOK, sentence)]
    found = []
    for what, output in settings.annunciator.outputs().items():
        named = what if what == "siren" else f"lamp '{what}'"
        say(f"Now: {named}, {pin_name(output.pin)}.")
        figures = {"pin": output.pin}
        try:
            switch = Switch(output, what)
            try:
                switch.set(True)
                time.sleep(TRIED_S)
            finally:  # a person's Ctrl-C, too: the kernel may keep a dead process's line driven
                switch.close()
        except Exception as error:  # the pin library has kinds of its own
            found.append(Finding(what, Rating.LOOK, f"Not tried: {error}", figures))
            continue
        sentence = f"It was on for {TRIED_S:g} s. Did you notice it from where you sleep?"
        found.append(Finding(what, Rating.OK, sentence, figures))
    if not found:
        sentence = "None is declared ([annunciator] in oven.toml)."
        found.append(Finding("siren", Rating.LOOK, sentence))
    return found
