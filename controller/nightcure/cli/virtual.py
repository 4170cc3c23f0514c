"""nightcure demo board: a board, a bus and an oven that are not there, for trying everything."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from .show import err, out, sentences


def virtual(
    folder: Annotated[Path, typer.Argument(help="Where it stands; made if it is not there.")],
    sensors: Annotated[
        int, typer.Option(help="How many thermometers are plugged in.", min=1, max=4)
    ] = 4,
    contactor: Annotated[
        bool, typer.Option(help="A contactor in series on GPIO27, which must close as well.")
    ] = False,
    ambient: Annotated[float, typer.Option(help="The shed, °C.", min=-40, max=45)] = 9.0,
    fault: Annotated[
        list[str] | None,
        typer.Option(help="A fault to switch on, as in 'nightcure rehearse'."),
    ] = None,
) -> None:
    """Keep a virtual oven in FOLDER, in real time, in place of the board.

    In another terminal '. FOLDER/env', and setup, check, controller, off and
    web run there as on a Raspberry Pi: FOLDER/w1 is the 1-Wire bus,
    FOLDER/pins are the pins. Nothing is heated.

    Type a number and Enter to take that thermometer in your hand (or write
    it to FOLDER/hand), 0 to let go. Ctrl-C ends it and unplugs the
    thermometers; the folder stays.
    """
    with sentences():
        import threading

        from ..daemon.stop_signals import StopSignals
        from ..errors import BadInput
        from ..settings import pin_name

        try:
            from ..simulate.faults import parse_fault
            from ..simulate.virtual_board import VirtualBoard
        except ModuleNotFoundError as error:
            raise BadInput(
                f"The virtual oven needs {error.name}: install nightcure with its extra 'planning'."
            ) from None

        def switched(on: bool) -> None:
            out.print(f"  the heater {'draws power' if on else 'is off'}")

        faults = tuple(parse_fault(text) for text in fault or [])
        bench = VirtualBoard(folder, sensors, contactor, ambient, faults, switched)

        def listen() -> None:
            for line in sys.stdin:
                bench.take(line.strip())

        threading.Thread(target=listen, name="hand", daemon=True).start()
        said = "\n".join(
            [
                f"The virtual oven stands in {folder}, {ambient:g} °C; nothing is heated.",
                "In another terminal:\n",
                f"  . {folder}/env",
                f"  nightcure setup --out {folder}/oven.toml",
                f"  nightcure check {folder}/oven.toml --switches",
                f"  nightcure controller {folder}/oven.toml\n",
                f"Heater: 300 W on {pin_name(bench.heater_pin)}. Contactor in series: "
                + ("none." if bench.contactor_pin is None else f"{pin_name(bench.contactor_pin)}."),
                "A number and Enter takes that thermometer in your hand, 0 lets go:\n",
                *(
                    f"  {i}  {t.id}  {t.role.value} ({t.name})"
                    for i, t in enumerate(bench.thermometers, 1)
                ),
                "\nCtrl-C ends it.",
            ]
        )
        with StopSignals(lambda _: bench.stopping.set()):
            out.print(said, highlight=False, markup=False, soft_wrap=True)
            bench.run()
        err.print("The virtual oven has ended; its thermometers are unplugged.")
