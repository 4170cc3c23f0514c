"""The `nightcure` command. Each subcommand imports what it needs only when it runs."""

from __future__ import annotations

import sys
from typing import Any

import typer
from rich.markup import escape

from .. import __version__
from . import (
    adopt,
    box,
    check,
    controller,
    cup,
    cure,
    demo,
    ledger,
    nights,
    notifier,
    off,
    oven,
    passphrase,
    plan,
    record,
    rehearse,
    replay,
    setup,
    survey,
    vapour,
    virtual,
    web,
)
from .show import err

app = typer.Typer(
    name="nightcure",
    help="Regulate a cure oven through the night: demo, rehearse and virtual need no hardware; "
    "setup and check a board, then controller and web on the oven.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"nightcure {__version__}")
        raise typer.Exit


@app.callback()
def main(
    version: bool = typer.Option(
        False, "--version", callback=_version, is_eager=True, help="Say the version and leave."
    ),
) -> None:
    """A closed-loop cure oven controller."""
    del version


app.command("demo")(demo.demo)
app.command("plan")(plan.plan)
app.command("rehearse")(rehearse.rehearse)
app.add_typer(cure.cure, name="cure")
app.add_typer(cup.cup, name="cup")
app.command("vapour")(vapour.vapour)
app.command("virtual")(virtual.virtual)
app.command("setup")(setup.setup)
app.command("check")(check.check)
app.add_typer(nights.nights, name="nights")
app.add_typer(ledger.ledger_app, name="ledger")
app.command("replay")(replay.replay)
app.command("record")(record.record)
app.command("note")(record.note)
app.command("controller")(controller.controller)
app.command("survey")(survey.survey)
app.add_typer(oven.app, name="oven")
app.command("web")(web.web)
app.command("notifier")(notifier.notifier)
app.add_typer(box.box, name="box")
app.command("off")(off.off)
app.command("passphrase")(passphrase.passphrase)
app.command("adopt", hidden=True)(adopt.adopt)


#: What is not on every machine, and the extra it comes with.
EXTRAS = {
    **dict.fromkeys(("numpy", "scipy", "plotext", "matplotlib", "reportlab"), "planning"),
    "distributed": "cluster",
    **dict.fromkeys(("apprise", "paho", "pywebpush"), "notifications"),
}
#: What typer raises for a word it does not know: it shows only this one's descendant.
Misuse: type[Exception] = typer.BadParameter.__mro__[1]


def run() -> None:
    """Entry point: status 2 and one sentence for a command mistyped, or not installed whole."""
    try:
        status = app(standalone_mode=False, prog_name="nightcure")
    except Misuse as error:
        status = 2
        tell(error)
    except typer.Abort:
        status = 1
    except ModuleNotFoundError as error:
        package = (error.name or "").partition(".")[0]
        if package not in EXTRAS:
            raise
        status = 2
        err.print(
            f"[bold red]nightcure:[/] This needs {package}; install nightcure with its extra "
            f"'{EXTRAS[package]}'.",
            soft_wrap=True,
        )
    sys.exit(status)


def tell(error: Any) -> None:
    """A mistyped command's sentence, and where help is; nothing where help was shown already."""
    said = str(error.format_message()).strip().rstrip(".")
    if said:
        where = f" See '{error.ctx.command_path} --help'." if error.ctx is not None else ""
        err.print(f"[bold red]nightcure:[/] {escape(said)}.{where}", soft_wrap=True)
