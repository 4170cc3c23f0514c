"""nightcure demo: a whole night at speed, with the page, and no hardware."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .show import err, out, sentences
from .web import refuse_taken_port


def demo(
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
) -> None:
    """Watch a night on the virtual oven: the real controller and page, nothing is heated.

    Prints the page's address, a QR code for it, and the passphrase that lets you start and stop.
    Ctrl-C ends it; nothing is left behind.
    """
    with sentences():
        refuse_taken_port("127.0.0.1", port)
        from ..oven.ambient import read_ambient
        from ..scenario import BOX, ambient_c, scenario
        from ..simulate.demo import Demo
        from ..simulate.faults import parse_fault

        settings, profile = scenario()
        night_c = read_ambient(night) if night is not None else ambient_c
        faults = [parse_fault(text) for text in fault or []]
        shown = Demo(settings, profile, BOX, night_c, speed, port, faults)

        def ready() -> None:
            import segno

            segno.make(shown.address, error="l").terminal(compact=True)
            out.print(f"\n  [bold]{shown.address}[/]", highlight=False)
            out.print(f"  passphrase: [bold]{shown.passphrase}[/]", highlight=False)
            out.print(
                f"\n  {settings.name}, '{profile.name}', {speed:g} times faster than life. "
                f"Nothing is heated. Ctrl-C ends it.",
                highlight=False,
            )

        err.print("Starting the virtual oven, the controller and the page ...")
        shown.run(ready, start)
