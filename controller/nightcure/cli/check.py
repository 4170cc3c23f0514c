"""nightcure check: is this board and this oven ready for a night?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from .controller import find_oven
from .show import err, out, print_json, sentences

if TYPE_CHECKING:
    from ..settings import Settings
    from ..setup.finding import Finding

WORD = "heat"
#: With --pulse, s: of heat, of rest before it, and to look on.
HEAT_S, REST_S, WATCH_S = 60, 60, 300
COLOURS = {"ok": "green", "look at": "yellow", "wrong": "bold red"}


def check(
    oven: Annotated[
        Path | None, typer.Argument(help="The oven.toml, as for the controller.")
    ] = None,
    pulse: Annotated[
        bool, typer.Option("--pulse", help="Then heat for a moment and see what answers.")
    ] = False,
    seconds: Annotated[
        float | None, typer.Option(help=f"Of heat, with --pulse; {HEAT_S}.", min=5, max=300)
    ] = None,
    settle: Annotated[
        float | None,
        typer.Option(help=f"Seconds of rest before the pulse; {REST_S}.", min=5, max=300),
    ] = None,
    watch: Annotated[
        float | None,
        typer.Option(help=f"Seconds to look on after the pulse; {WATCH_S}.", min=5, max=900),
    ] = None,
    yes_heat: Annotated[
        bool,
        typer.Option("--yes-heat", help="Confirms --pulse where there is no terminal to ask at."),
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """Look at settings, thermometers, pins, disk, ledger, clock and watchdog.

    One line each: ok, look at, or wrong, and what to do. Status 0 if nothing
    is wrong, 1 if something is, 2 if the oven.toml cannot be used.

    Nothing is heated but by --pulse, after a typed confirmation: then the
    heater is on for --seconds, off at once at any doubt or Ctrl-C, and it is
    told which thermometers answered, how far and how late. It waits first
    until no thermometer moves, so that a hand's warmth is not taken for the
    heater's. Stand by the plug. It is refused while a controller runs.
    """
    with sentences():
        from ..errors import BadInput
        from ..settings import load_settings
        from ..setup.finding import Rating

        if not pulse and (seconds, settle, watch) != (None, None, None):
            raise BadInput("--seconds, --settle and --watch belong to --pulse; add it.")
        path = find_oven(oven)
        settings = load_settings(path)
        lengths_s = (seconds or HEAT_S, watch or WATCH_S, settle or REST_S)
        if pulse:
            _refuse_pulse(settings, yes_heat)
        found = _look(path, settings, as_json)
        if pulse:
            found += _pulse(path, settings, found, lengths_s, as_json)
        wrong = any(f.rating is Rating.WRONG for f in found)
        if as_json:
            print_json({"oven": str(path), "ok": not wrong, "checks": [f.as_json() for f in found]})
        if wrong:
            raise typer.Exit(1)


def _refuse_pulse(settings: Settings, yes_heat: bool) -> None:
    import sys

    from ..errors import BadInput
    from ..setup.board_checks import controller_runs

    if controller_runs(settings.ledger):
        raise BadInput(
            "A controller runs on this oven: no pulse. Stop it first (sudo systemctl stop "
            "nightcure-controller, or Ctrl-C where it runs)."
        )
    if not sys.stdin.isatty() and not yes_heat:
        raise BadInput("--pulse heats, and there is no terminal to confirm at; add --yes-heat.")


def _look(path: Path, settings: Settings, as_json: bool) -> list[Finding]:
    """Every check, each shown as it is made."""
    from ..setup.all_checks import all_checks

    found = []
    for finding in all_checks(path, settings):
        found.append(finding)
        if not as_json:
            _show([finding])
    return found


def _show(findings: list[Finding]) -> None:
    from rich.table import Table
    from rich.text import Text

    table = Table.grid(padding=(0, 1, 0, 0))
    table.add_column(width=7)
    table.add_column(width=13)
    table.add_column()
    for f in findings:
        table.add_row(
            Text(f.rating.value, COLOURS[f.rating.value]), Text(f.check), Text(f.sentence)
        )
    out.print(table)


def _pulse(
    path: Path,
    settings: Settings,
    before: list[Finding],
    lengths_s: tuple[float, float, float],
    as_json: bool,
) -> list[Finding]:
    """The pulse's findings; everything is off when this returns or raises."""
    from ..board.ds18b20 import bus_root
    from ..board.relay import Outputs
    from ..clock import MachineClock
    from ..daemon.stop_signals import StopSignals
    from ..setup.board_checks import ledger_held
    from ..setup.finding import Finding, Rating
    from ..setup.pulse import Pulse
    from ..setup.pulse_results import pulse_findings
    from ..setup.pulse_supervisor import PulseSupervisor

    if any(f.rating is Rating.WRONG and f.check != "box" for f in before):
        sentence = "Not given: put right what is wrong first."
        found = [Finding("pulse", Rating.WRONG, sentence, {"heated_s": 0.0})]
    else:
        _confirm(settings, lengths_s[0])
        clock = MachineClock()
        with ledger_held(settings.ledger), PulseSupervisor(path):
            outputs = Outputs(settings, clock)

            def say(line: str) -> None:
                err.print(line, highlight=False, markup=False, soft_wrap=True)

            try:
                given = Pulse(settings, outputs, clock, bus_root(), *lengths_s, say)
                with StopSignals(lambda _: given.stop()):
                    given.run()
            finally:
                outputs.close()
        found = pulse_findings(settings, given)
    if not as_json:
        out.print()
        _show(found)
    return found


def _confirm(settings: Settings, seconds: float) -> None:
    import sys

    from ..errors import BadInput
    from ..settings import pin_name

    if not sys.stdin.isatty():
        return  # --yes-heat was given
    err.print(
        f"\nThe heater ({settings.heater.power_w:g} W, {pin_name(settings.heater.pin)}) will be on "
        f"for {seconds:g} s. Nothing that burns is in or near the oven, its lid is shut, and you "
        f"stand by the plug.",
        highlight=False,
    )
    err.print(f"Type {WORD} and Enter to switch it on: ", end="", highlight=False)
    if sys.stdin.readline().strip().lower() != WORD:
        raise BadInput("Not confirmed; nothing was heated.")
