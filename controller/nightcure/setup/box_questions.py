"""What setup asks of the box and its place, and how oven.toml keeps it."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from ..settings import MARGIN_K, MOST_CUT_OUT_C
from .questions import Asker, number, one_of

UNKNOWN = "unknown"
#: A fan that has a pin: its table tells.
SWITCHED = "switched"
#: Answers that no oven is built with -> why not.
NEVER = {
    "polystyrene": "styrene dissolves polystyrene and XPS gives way at 75 °C; build it of PIR or "
    "phenolic board.",
    "xps": "styrene dissolves it and it gives way at 75 °C; build it of PIR or phenolic board.",
    "eps": "styrene dissolves it and it softens; build it of PIR or phenolic board.",
    "panel": "a panel heater hides a thermostat whose contacts spark in the box; take a tube or "
    "finned heater.",
    "oil": "an oil radiator hides a thermostat that sparks, and stores heat for an hour; take a "
    "tube or finned heater.",
    "infrared": "an infrared heater glows and heats what it sees; take a tube or finned heater.",
    "hot-air": "a hot-air gun glows above what ignites styrene; take a tube or finned heater.",
    "fan heater": "its wire glows above what ignites styrene; take a tube or finned heater.",
}


class BoxGiven(NamedTuple):
    """What the options say; None where the question is still open."""

    wiring: str | None = None
    supply: str | None = None
    foam: str | None = None
    heater: str | None = None
    cut_out: str | None = None
    tolerance: str | None = None
    cut_outs: str | None = None
    warmest: str | None = None
    alarm: str | None = None
    sleep: str | None = None


class BoxAnswers(NamedTuple):
    """As `settings.Installation` and `settings.Limits` keep them; None where not told."""

    wiring: str | None
    supply: str | None
    foam: str | None
    heater: str | None
    fan: str | None
    cut_out_c: float
    cut_out_tolerance_k: float
    cut_outs: int
    warmest_c: float
    alarm: str | None
    people_sleep: str | None

    def text(self) -> str:
        """The table of oven.toml."""
        told = [
            ("wiring", self.wiring, "plug-in, wired"),
            ("supply", self.supply, "eu, uk, us-120, us-240"),
            ("foam", self.foam, "pir, phenolic; never polystyrene"),
            ("heater", self.heater, "tube, finned, other"),
            ("fan", self.fan, "always on, ahead of the heater's switches; none; or [fan] above"),
            ("alarm", self.alarm, "linked, cold-rated, household, none"),
            ("people_sleep", self.people_sleep, "elsewhere, or here: in, over or attached to it"),
        ]
        rows = [
            f'{key} = "{value}"   # {words}' if value else f'# {key} = ""   # not told; {words}'
            for key, value, words in told
            if value != SWITCHED
        ]
        rows.append(f"warmest_c = {self.warmest_c:.1f}   # the shed on the warmest day of use")
        return "[installation]   # what follows from it: nightcure check\n" + "\n".join(rows) + "\n"


def ask_of_the_box(ask: Asker, given: BoxGiven, fan: str | None) -> BoxAnswers:
    """Every answer on the box; `fan` was asked with the pins. Raises as `Asker.ask`."""
    ask.explain("\nThe box and its place. What you do not know: Enter. See hardware-notes.")

    def choose(option: str, question: str, told: str | None, *words: str) -> str | None:
        question = f"{question} ({', '.join(words)})"
        return ask.ask(option, question, _one_of(*words), told, UNKNOWN)

    wiring = choose("wiring", "Boxes plugged together, or wired", given.wiring, "plug-in", "wired")
    supply = choose("supply", "Mains", given.supply, "eu", "uk", "us-120", "us-240")
    foam = choose("foam", "Foam board", given.foam, "pir", "phenolic")
    heater = choose("heater", "Heater", given.heater, "tube", "finned", "other")
    ask.explain(
        "The independent cut-out with manual reset: the air's limit stays 5 K below its\n"
        "setting, the hottest soak 5 K below that."
    )
    cut_out_c = ask.ask(
        "cut-out",
        "What the cut-out is set to, °C",
        number(30, MOST_CUT_OUT_C, "°C"),
        given.cut_out,
    )
    tolerance_k = ask.ask(
        "tolerance",
        "How far from that it may open, K (its data sheet)",
        number(0, MARGIN_K, "K"),
        given.tolerance,
        f"{MARGIN_K:g}",
    )
    cut_outs = ask.ask(
        "cut-outs",
        "How many cut-outs, each with its own sensor and contacts (1, 2)",
        one_of("1", "2"),
        given.cut_outs,
        "1",
    )
    warmest_c = ask.ask(
        "warmest",
        "The shed on the warmest day of use, °C",
        number(-20, 60, "°C"),
        given.warmest,
        "30",
    )
    alarm = choose("alarm", "Smoke alarm", given.alarm, "linked", "cold-rated", "household", "none")
    sleep = choose(
        "sleep",
        "People sleep elsewhere, or here: in, over or attached to its building",
        given.sleep,
        "elsewhere",
        "here",
    )
    return BoxAnswers(
        wiring, supply, foam, heater, fan, cut_out_c, tolerance_k, int(cut_outs), warmest_c, alarm,
        sleep,
    )  # fmt: skip


def _one_of(*words: str) -> Callable[[str], str | None]:
    choose = one_of(*words)

    def parse(text: str) -> str | None:
        if text.lower() == UNKNOWN:
            return None
        why = NEVER.get(text.lower())
        if why is not None:
            raise ValueError(why)
        return choose(text)

    return parse
