"""nightcure setup passphrase: the line for oven.toml that lets the page take commands."""

from __future__ import annotations

from typing import Annotated

import typer

from .show import sentences


def passphrase(
    phrase: Annotated[
        str,
        typer.Option(
            prompt="Passphrase",
            hide_input=True,
            confirmation_prompt=True,
            help="Asked for if left out, so that it does not stay in the shell's history.",
        ),
    ],
) -> None:
    """Hash a passphrase and print the line for oven.toml: the web section's passphrase_hash."""
    with sentences():
        from ..setup.passphrase import hashed

        typer.echo(f"passphrase_hash = '{hashed(phrase, '--phrase')}'")
