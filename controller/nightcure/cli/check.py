"""nightcure check: is this board and this oven ready for a night?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from .controller import find_oven
from .show import AsJson, err, out, print_json, sentences

if TYPE_CHECKING:
    from ..settings import Settings
    from ..setup.finding import Finding

WORD = "heat"
COLOURS = {"ok": "green", "look at": "yellow", "wrong": "bold red"}


def check(
    oven: Annotated[
        Path | None, typer.Argument(help="The oven.toml, as for the controller.")
    ] = None,
    switches: Annotated[
        bool,
        typer.Option("--switches", help="Then test each switch, and see what answers to heat."),
    ] = False,
    yes_heat: Annotated[
        bool,
        typer.Option(
            "--yes-heat", help="Confirms --switches where there is no terminal to ask at."
        ),
    ] = False,
    siren: Annotated[
        bool, typer.Option("--siren", help="Then try siren and lamps, one after the other.")
    ] = False,
    message: Annotated[
        bool, typer.Option("--message", help="Then send one message to every declared service.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Look at settings, thermometers, pins, disk, ledger, clock and watchdog.

    One line each: ok, look at, or wrong, and what to do. Status 0 if nothing
    is wrong, 1 if something is, 2 if the oven.toml cannot be used.

    Nothing is heated but by --switches, after a typed confirmation: the
    controller closes the contactor alone for a short pulse, then the relay
    alone, and no heat may come of either; then both, and it must. Every
    interlock looks on, and a weld trips the oven. About half an hour, in an
    empty box that rests. Stand by the plug, with a power meter on it if you
    have one. A controller that runs is asked for it; where none does, this
    command is the controller meanwhile.
    """
    with sentences():
        from ..settings import load_settings
        from ..setup.board_checks import controller_runs
        from ..setup.finding import Rating

        path = find_oven(oven)
        settings = load_settings(path)
        if switches:
            _ask_for_a_terminal(yes_heat)
        found = _look(path, settings, as_json)
        if message:
            found += _message(settings, as_json)
        if siren:
            found += _siren(settings, as_json)
        if switches:
            runs = controller_runs(settings.ledger)
            found += _switches(path, settings, found, runs, as_json)
        wrong = any(f.rating is Rating.WRONG for f in found)
        if as_json:
            print_json({"oven": str(path), "ok": not wrong, "checks": [f.as_json() for f in found]})
        if wrong:
            raise typer.Exit(1)


def _ask_for_a_terminal(yes_heat: bool) -> None:
    import sys

    from ..errors import BadInput

    if not sys.stdin.isatty() and not yes_heat:
        raise BadInput("--switches heats, and there is no terminal to confirm at; add --yes-heat.")


def _look(path: Path, settings: Settings, as_json: bool) -> list[Finding]:
    """Every check, each shown as it is made."""
    from ..setup.all_checks import all_checks

    found = []
    for finding in all_checks(path, settings):
        found.append(finding)
        if not as_json:
            _show([finding])
    return found


def _message(settings: Settings, as_json: bool) -> list[Finding]:
    from ..notifier.notifier import nobody
    from ..notifier.secrets_file import load_secrets
    from ..notifier.trial_message import send_test_message
    from ..setup.finding import Finding, Rating

    secrets = load_secrets(settings.notifications)
    nobody(settings, secrets)
    found = [
        Finding("message", Rating.OK if t.taken else Rating.WRONG, f"{t.service}: {t.sentence}")
        for t in send_test_message(settings, secrets)
    ]
    if not as_json:
        _show(found)
    return found


def _siren(settings: Settings, as_json: bool) -> list[Finding]:
    from ..setup.annunciator_check import try_annunciator

    found = try_annunciator(settings, lambda line: err.print(line, highlight=False))
    if not as_json:
        _show(found)
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


def _switches(
    path: Path, settings: Settings, before: list[Finding], runs: bool, as_json: bool
) -> list[Finding]:
    """The test's findings; with a controller of its own everything is off when this returns."""
    from ..daemon.daemon import Daemon
    from ..daemon.stop_signals import StopSignals
    from ..setup.finding import Finding, Rating
    from ..setup.pulse_supervisor import PulseSupervisor
    from .check_switches import OwnController, follow_test, refuse_anothers_ledger

    def say(line: str) -> None:
        err.print(line, highlight=False, markup=False, soft_wrap=True)

    if any(f.rating is Rating.WRONG and f.check != "box" for f in before):
        sentence = "Not tested: put right what is wrong first."
        found = [Finding("switches", Rating.WRONG, sentence, {"heated_s": 0.0})]
    else:
        if not runs:
            refuse_anothers_ledger(settings.ledger)
        _confirm(settings)
        if runs:
            found = follow_test(settings, say)
        else:
            with PulseSupervisor(path):
                own = OwnController(Daemon(settings))
                with StopSignals(lambda _: own.stop()):
                    found = own.test(say)
    if not as_json:
        out.print()
        _show(found)
    return found


def _confirm(settings: Settings) -> None:
    import sys

    from ..errors import BadInput
    from ..settings import pin_name

    if not sys.stdin.isatty():
        return  # --yes-heat was given
    err.print(
        f"\nThe heater ({settings.heater.power_w:g} W, {pin_name(settings.heater.pin)}) will be "
        f"given short pulses, each of some minutes at the most. You confirm: the cautions "
        f"(hardware-notes/cautions.md) are read and accepted, the cut-out is in the heater's "
        f"circuit and was tested with the plug out, the box is empty and shut, nothing that burns "
        f"is near, and you stand by the plug.",
        highlight=False,
    )
    err.print(f"Type {WORD} and Enter to begin: ", end="", highlight=False)
    if sys.stdin.readline().strip().lower() != WORD:
        raise BadInput("Not confirmed; nothing was heated.")
