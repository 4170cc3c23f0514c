"""nightcure notifier: tell people and machines what the oven does."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .controller import find_oven
from .show import err, sentences


def notifier(
    oven: Annotated[
        Path | None, typer.Argument(help="The oven.toml, as for the controller.")
    ] = None,
) -> None:
    """Tell what the oven does: trips, warnings, milestones, a controller that is silent.

    A process of its own that reads the ledger; it owns no pin and posts no command. Services and
    broker are declared in oven.toml, [notifications]; their addresses and passwords stand in a
    file of their own. Needs the extra 'notifications'. `nightcure check --message` sends one.
    """
    import logging
    import signal

    logging.basicConfig(level=logging.INFO, format="%(levelname)s %(message)s")
    with sentences():
        from ..notifier.notifier import Notifier, nobody
        from ..notifier.secrets_file import load_secrets
        from ..settings import load_settings

        settings = load_settings(find_oven(oven))
        secrets = load_secrets(settings.notifications)
        nobody(settings, secrets)
        running = Notifier(settings, secrets)
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: running.stopping.set())
        names = ", ".join(service.name for service in running.services) or "the heartbeat alone"
        err.print(f"Telling of {settings.name}: {names}.", highlight=False, markup=False)
        running.run()
