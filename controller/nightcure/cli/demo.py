"""nightcure demo: a whole night at speed, with the page, and no hardware."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .show import err, out, print_qr, sentences
from .web import own_address, refuse_taken_port

demo_app = typer.Typer()


@demo_app.callback(invoke_without_command=True)
def demo(
    context: typer.Context,
    speed: Annotated[
        float, typer.Option(help="How many times faster than life the night runs.", min=1, max=600)
    ] = 180.0,
    port: Annotated[
        int, typer.Option(help="Of the page, on this machine.", min=1, max=65535)
    ] = 8733,
    night: Annotated[
        Path | None, typer.Option(help="The shed's temperatures: a CSV of time_s,ambient_c.")
    ] = None,
    fault: Annotated[
        list[str] | None,
        typer.Option(help="A fault to switch on, as in 'nightcure rehearse'."),
    ] = None,
    start: Annotated[
        bool, typer.Option(help="Start the shipped night at once, or leave it to the page.")
    ] = True,
    lan: Annotated[
        bool, typer.Option("--lan", help="Let phones on this network open the page, too.")
    ] = False,
) -> None:
    """Watch a night on the virtual oven: the real controller and page, nothing is heated.

    Prints the page's address (with --lan as a QR code, too) and the passphrase that lets you start
    and stop. Ctrl-C ends it; nothing is left behind. 'demo board' plays a board in real time.
    """
    if context.invoked_subcommand is not None:
        return
    with sentences():
        listen = "0.0.0.0" if lan else "127.0.0.1"
        refuse_taken_port(listen, port)
        from ..oven.ambient import read_ambient
        from ..profile import load_profile
        from ..simulate.demo import Demo
        from ..simulate.faults import parse_fault
        from ..simulate.scenario import BOX, GELLED_FILE, ambient_c, scenario

        settings, profile = scenario()
        load = load_profile(GELLED_FILE)
        profile = profile.model_copy(update={"parts": load.parts, "box": load.box})
        night_c = read_ambient(night) if night is not None else ambient_c
        faults = [parse_fault(text) for text in fault or []]
        shown = Demo(settings, profile, BOX, night_c, speed, port, faults, address=listen)
        address = f"http://{own_address()}:{port}/" if lan else shown.address

        def ready() -> None:
            if lan:
                print_qr(address)
            out.print(f"\n  [bold]{address}[/]", highlight=False)
            out.print(f"  passphrase: [bold]{shown.passphrase}[/]", highlight=False)
            out.print(
                f"\n  {settings.name}, '{profile.name}', {speed:g} times faster than life. "
                f"Nothing is heated. Ctrl-C ends it.",
                highlight=False,
            )

        err.print("Starting the virtual oven, the controller and the page ...")
        shown.run(ready, start)
