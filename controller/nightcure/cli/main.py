"""The `nightcure` command. Each subcommand imports what it needs only when it runs."""

from __future__ import annotations

import sys
from collections.abc import Callable
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
    cure_cards,
    demo,
    dew_point,
    ledger,
    ledger_log,
    nights,
    notifier,
    off,
    oven,
    passphrase,
    plan,
    post_cure,
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
    help="Regulate a cure oven through the night.",
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


def _group(group: typer.Typer, name: str, panel: str, **more: Callable[..., None]) -> None:
    """A command that has commands of its own."""
    for word, command in more.items():
        group.command(word.rstrip("_"))(command)
    app.add_typer(group, name=name, rich_help_panel=panel)


TRY, SET_UP, RUN, TONIGHT, AFTERWARDS = (
    *("Try it, without hardware", "Set it up", "Run it", "Tonight", "Afterwards"),
)
_group(demo.demo_app, "demo", TRY, board=virtual.virtual)
app.command("rehearse", rich_help_panel=TRY)(rehearse.rehearse)
_group(setup.setup_app, "setup", SET_UP, passphrase=passphrase.passphrase)
app.command("check", rich_help_panel=SET_UP)(check.check)
_group(oven.app, "oven", SET_UP, open_=box.open_, shut=box.shut)
app.command("survey", rich_help_panel=SET_UP)(survey.survey)
cure.cure.add_typer(cup.cup, name="cup")
cure.cure.command("list")(cure_cards.list_cards)
cure.cure.command("check")(cure_cards.check)
cure.cure.command("new")(cure_cards.new)
cure.cure.command("post-cure")(post_cure.post_cure)
cure.cure.command("dew-point")(dew_point.dew_point)
_group(cure.cure, "cure", SET_UP, vapour=vapour.vapour)
app.command("controller", rich_help_panel=RUN)(controller.controller)
app.command("web", rich_help_panel=RUN)(web.web)
app.command("notifier", rich_help_panel=RUN)(notifier.notifier)
app.command("off", rich_help_panel=RUN)(off.off)
app.command("plan", rich_help_panel=TONIGHT)(plan.plan)
app.command("record", rich_help_panel=AFTERWARDS)(record.record)
_group(
    nights.nights, "nights", AFTERWARDS, replay=replay.replay, check=ledger.check,
    backup=ledger.backup, keep=ledger.keep, export=ledger.export, import_=ledger.import_,
    log=ledger_log.log,
)  # fmt: skip
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
