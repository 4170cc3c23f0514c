"""A profile as the page sends it: its parts name shipped resin cards, and no files."""

from __future__ import annotations

from typing import Any

from nightcure.cure.card import shipped
from nightcure.cure.part import with_figures
from nightcure.errors import BadInput
from nightcure.profile import Profile, parse_profile

#: What a card is called whose figures came with the part.
OWN_CARD = "its own figures"


def profile_from_page(data: dict[str, Any]) -> Profile:
    """The profile, its parts' figures filled in from the shipped cards.

    Raises:
        BadInput: a sentence per fault. No file of the server is ever looked at for a card.
    """
    parts = data.get("parts")
    for number, part in enumerate(parts if isinstance(parts, list) else (), 1):
        if not isinstance(part, dict) or part.get("figures"):
            continue
        card = part.get("card")
        if isinstance(card, str) and card not in shipped():
            name = card if len(card) <= 40 else f"{card[:37]}..."
            raise BadInput(
                f"part {number}: there is no shipped resin card {name!r}; take "
                f"{', '.join(shipped())}, or send the part's figures."
            )
    return parse_profile(with_figures(data))


def without_files(profile: Profile) -> Profile:
    """The profile with every card that is not a shipped one renamed, so that none is looked for."""
    parts = tuple(
        p if p.card in shipped() else p.model_copy(update={"card": OWN_CARD}) for p in profile.parts
    )
    return profile.model_copy(update={"parts": parts})
