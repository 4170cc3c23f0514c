"""The page's passphrase: how long it must be, and its hash for oven.toml."""

from __future__ import annotations

from ..errors import BadInput

SHORTEST = 8


def hashed(phrase: str, what: str) -> str:
    """The argon2id hash. Raises BadInput, with `what` as the phrase's place, if it is too short."""
    if len(phrase) < SHORTEST:
        raise BadInput(f"{what} has {len(phrase)} characters; it must have at least {SHORTEST}.")
    from argon2 import PasswordHasher

    return PasswordHasher().hash(phrase)
