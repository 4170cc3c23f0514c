"""nightcure setup: an oven.toml by a few questions."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from .show import err, out, sentences

if TYPE_CHECKING:
    from ..setup.questions import Asker

OVEN = "Thermometers and heater"
PINS = "Pins (GPIO numbers, 9 to 27)"
TELLS = "Siren and lamps (GPIO numbers)"
BOX = "The box"
PAGE = "The page"

Sensor = Annotated[
    list[str] | None,
    typer.Option(help="One thermometer, as 28-0000000000a1=air:Air.", rich_help_panel=OVEN),
]


def _option(text: str, panel: str) -> typer.models.OptionInfo:
    found: typer.models.OptionInfo = typer.Option(help=text, rich_help_panel=panel)
    return found


setup_app = typer.Typer()


@setup_app.callback(invoke_without_command=True)
def setup(
    context: typer.Context,
    out_file: Annotated[
        Path | None,
        typer.Option(
            "--out",
            help="The file to write: oven.toml, or the service's where the package is installed.",
        ),
    ] = None,
    bus: Annotated[
        Path | None, typer.Option(help="Another 1-Wire tree than /sys/bus/w1/devices.")
    ] = None,
    yes: Annotated[
        bool, typer.Option("--yes", help="Take the defaults that are safe instead of asking.")
    ] = False,
    replace: Annotated[
        bool, typer.Option("--replace", help="Replace the file if it is there.")
    ] = False,
    service: Annotated[
        bool | None,
        typer.Option(
            "--service/--by-hand", help="Started by systemd, or by hand: where the ledger is."
        ),
    ] = None,
    name: Annotated[str | None, typer.Option(help="Of the oven.")] = None,
    units: Annotated[str | None, typer.Option(help="C or F, for people.")] = None,
    sensor: Sensor = None,
    power: Annotated[str | None, _option("Of the heater, W.", OVEN)] = None,
    relay: Annotated[str | None, _option("solid-state or contactor.", OVEN)] = None,
    pin: Annotated[str | None, _option("Of the heater's relay.", PINS)] = None,
    contactor: Annotated[str | None, _option("Of the contactor in series, or none.", PINS)] = None,
    fan: Annotated[str | None, _option("Of the fan; or always, or none.", PINS)] = None,
    stop_button: Annotated[str | None, _option("Of a button to ground, or none.", PINS)] = None,
    active_high: Annotated[
        bool | None,
        typer.Option(
            "--active-high/--active-low", help="What the relays close on.", rich_help_panel=PINS
        ),
    ] = None,
    siren: Annotated[str | None, _option("Of a siren or buzzer, or none.", TELLS)] = None,
    lamps: Annotated[str | None, _option("As alarm=26,running=20, or none.", TELLS)] = None,
    siren_active_high: Annotated[
        bool | None,
        typer.Option(
            "--siren-active-high/--siren-active-low",
            help="What siren and lamps are on with.",
            rich_help_panel=TELLS,
        ),
    ] = None,
    silence_button: Annotated[str | None, _option("Of a button to ground, or none.", TELLS)] = None,
    inside: Annotated[str | None, _option("Its inner sizes, m: 1.2x0.6x0.6.", BOX)] = None,
    board: Annotated[str | None, _option("Thickness of its foam board, mm.", BOX)] = None,
    moulds: Annotated[str | None, _option("What lies in it, kg.", BOX)] = None,
    loss: Annotated[str | None, _option("What it loses, W/K, in place of sizes.", BOX)] = None,
    wiring: Annotated[str | None, _option("plug-in or wired.", BOX)] = None,
    supply: Annotated[str | None, _option("Mains: eu, uk, us-120 or us-240.", BOX)] = None,
    foam: Annotated[str | None, _option("pir or phenolic.", BOX)] = None,
    heater: Annotated[str | None, _option("tube, finned or other.", BOX)] = None,
    cut_out: Annotated[str | None, _option("What the cut-out is set to, °C.", BOX)] = None,
    tolerance: Annotated[str | None, _option("How far off it may open, K.", BOX)] = None,
    cut_outs: Annotated[str | None, _option("Independent cut-outs: 1 or 2.", BOX)] = None,
    warmest: Annotated[str | None, _option("The shed's warmest day of use, °C.", BOX)] = None,
    alarm: Annotated[str | None, _option("linked, cold-rated, household or none.", BOX)] = None,
    sleep: Annotated[str | None, _option("Where people sleep: elsewhere or here.", BOX)] = None,
    page: Annotated[str | None, _option("Seen from this machine or the network.", PAGE)] = None,
    port: Annotated[
        int, typer.Option(help="Of the page.", min=1, max=65535, rich_help_panel=PAGE)
    ] = 8733,
    passphrase_file: Annotated[
        Path | None, _option("A file whose first line is the passphrase.", PAGE)
    ] = None,
    passphrase_hash: Annotated[
        str | None, _option("What nightcure setup passphrase prints, without the key.", PAGE)
    ] = None,
    no_passphrase: Annotated[
        bool,
        typer.Option("--no-passphrase", help="The page takes no commands.", rich_help_panel=PAGE),
    ] = False,
) -> None:
    """Write an oven.toml by a few questions; nothing is heated.

    It lists the thermometers on the bus and finds out which is which while
    you warm them in your hand, asks for heater, relay and pins, sets the
    page's passphrase, and tries siren and lamps if you have some. Every
    question has an option that answers it beforehand; Enter takes what stands
    in brackets.

    The file is checked and then written in one step. Ctrl-C at any question
    leaves nothing. To try it without a board: nightcure demo board.
    """
    if context.invoked_subcommand is not None:
        return
    with sentences():
        from ..setup.box_questions import BoxGiven
        from ..setup.interview import Given, interview
        from ..setup.oven_file import text_of, write_checked
        from ..setup.package import SERVICE_OVEN, installer, put_in_place
        from ..setup.pin_questions import PinsGiven
        from ..setup.questions import Asker, Stopped

        ask = Asker(out, yes)
        file = out_file or (SERVICE_OVEN if installer() else Path("oven.toml"))
        of_service = file == SERVICE_OVEN and installer() is not None
        if of_service:
            service = True
        given = Given(
            name, units, sensor or (), bus, power, relay,
            BoxGiven(
                wiring, supply, foam, heater, cut_out, tolerance, cut_outs, warmest, alarm, sleep
            ),
            PinsGiven(
                pin, active_high, contactor, fan, stop_button, siren, lamps, siren_active_high,
                silence_button,
            ),
            inside, board, moulds, loss, service, page, port, passphrase_hash, passphrase_file,
            no_passphrase,
        )  # fmt: skip
        try:
            there = _may_be_written(file, replace, ask)
            answers = interview(ask, given)
            ask.say()
            if not ask.yes_no("yes", f"Write {file}?"):
                raise Stopped
            write_checked(file, text_of(answers), there)
            _tell_consequences(file, ask)
        except (Stopped, KeyboardInterrupt):
            err.print("\nStopped; nothing was written.")
            raise typer.Exit(130) from None
        if answers.tells.outputs and not yes:
            _try_siren(file, ask)
        if of_service:
            ask.say(f"\nWritten: {file}. For the service:")
            if not put_in_place(yes):
                raise typer.Exit(1)
            ask.say("\nIt runs. Next:\n  sudo nightcure check   (--switches tests each switch)")
            return
        ask.say(
            f"\nWritten: {file}. Next:\n"
            f"  nightcure check {file}\n"
            f"      looks at everything, heats nothing; --switches tests each switch\n"
            f"  nightcure controller {file}\n"
            f"      regulates; nightcure web in another terminal shows the page"
        )


def _tell_consequences(file: Path, ask: Asker) -> None:
    """What the answers mean for box and place."""
    from ..oven.installation import Rating, consequences
    from ..settings import load_settings

    ask.say("\nWhat follows from your answers:")
    for rating, sentence in consequences(load_settings(file)):
        ask.say(f"  {'WRONG: ' if rating is Rating.WRONG else ''}{sentence}")


def _try_siren(file: Path, ask: Asker) -> None:
    """Siren and lamps one after the other, if the person wants it."""
    from ..settings import load_settings
    from ..setup.annunciator_check import try_annunciator
    from ..setup.questions import Stopped

    question = "\nTry siren and lamps now, two seconds each? Nothing that heats is switched"
    try:
        if ask.yes_no("yes", question):
            for finding in try_annunciator(load_settings(file), ask.say):
                ask.say(f"  {finding.check}: {finding.sentence}")
    except (Stopped, KeyboardInterrupt):
        ask.say(f"\nNot tried further; {file} is written. Later: nightcure check --siren.")


def _may_be_written(file: Path, replace: bool, ask: Asker) -> bool:
    """Whether a file there is to be replaced; raises before the first question if it cannot be."""
    import os

    from ..errors import BadInput
    from ..setup.questions import Stopped

    folder = file.resolve().parent
    if not folder.is_dir():
        raise BadInput(f"{file}: there is no folder {folder}; make it first, or choose another.")
    if not os.access(folder, os.W_OK):
        raise BadInput(
            f"{file}: you may not write in {folder}; run it with sudo, or choose another place "
            f"with --out."
        )
    if file.is_dir():
        raise BadInput(f"{file} is a folder; name a file with --out.")
    if not (file.exists() or file.is_symlink()):
        return False
    if replace:
        return True
    if ask.yes:
        raise BadInput(f"{file} is there already; add --replace, or choose another with --out.")
    if not ask.yes_no("replace", f"{file} is there already. Replace it?", default=False):
        raise Stopped
    return True
