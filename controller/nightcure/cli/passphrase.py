"""nightcure passphrase: the line for oven.toml that lets the page take commands."""

from __future__ import annotations

from typing import Annotated

import typer

from ..errors import BadInput
from .show import sentences

SHORTEST = 8


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
        if len(phrase) < SHORTEST:
            raise BadInput(
                f"--phrase has {len(phrase)} characters; it must have at least {SHORTEST}."
            )
        from argon2 import PasswordHasher

        typer.echo(f"passphrase_hash = '{PasswordHasher().hash(phrase)}'")
