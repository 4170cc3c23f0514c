"""A profile as the page sends it: its parts name shipped resin cards, and no files."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import WithJsonSchema

from nightcure.cure.card import Card, load_card, shipped
from nightcure.cure.part import with_figures
from nightcure.errors import BadInput
from nightcure.profile import Profile, parse_profile

from .models.oven_models import SOAK

#: What earlier nights have shown of resin, mould and oven is the ledger's to fill in: it is taken
#: from no page, which may send a night's profile again with what was known then.
FILLED_IN = {"Part": ("prior", "law"), "Profile": ("oven",)}
#: What a card is called whose figures came with the part.
OWN_CARD = "its own figures"


#: A profile as JSON; what it must be is told by `profile_schemas`, checked by `profile_from_page`.
ProfileBody = Annotated[dict[str, Any], WithJsonSchema({"type": "object", "x-schema": "Profile"})]


def profile_schemas() -> dict[str, Any]:
    """What a profile from the page may be, by JSON Schema: `Profile` and the tables in it."""
    schema = Profile.model_json_schema(ref_template="#/components/schemas/{model}")
    schemas: dict[str, Any] = {**schema.pop("$defs"), "Profile": schema}
    for segment in ("Ramp", "Soak", "Cool"):
        schemas[segment]["required"].append("kind")
    own = {"required": ["figures"], "properties": {"figures": {"type": "object"}}}
    for name, fields in FILLED_IN.items():
        for field in fields:
            del schemas[name]["properties"][field]
    for name in ("Prior", "MouldLaw", "LearnedOven"):
        del schemas[name]
    schemas["Part"]["anyOf"] = [own, *map(_part_on, usable_cards())]
    schema["examples"] = [SOAK]
    return schemas


def usable_cards() -> list[Card]:
    """The shipped cards that a part may be laid up with; the others are for checking a solver."""
    return [card for card in map(load_card, shipped()) if card.gel]


def shares_pct(card: Card) -> list[float]:
    """The catalyst shares its card has figures for; none where the ratio is fixed."""
    return [row.catalyst_pct for row in card.gel if row.catalyst_pct is not None]


def _part_on(card: Card) -> dict[str, Any]:
    shares = shares_pct(card)
    share = {"type": "number", "minimum": min(shares), "maximum": max(shares)} if shares else None
    return {
        "properties": {"card": {"const": card.name}, "catalyst_pct": share or {"type": "null"}},
        "required": ["card", "catalyst_pct"] if shares else ["card"],
    }


def profile_from_page(data: dict[str, Any], own: Mapping[str, Card] | None = None) -> Profile:
    """The profile, its parts' figures filled in from the shipped cards and from `own` ones.

    Raises:
        BadInput: a sentence per fault. No file of the server is ever looked at for a card.
    """
    parts = data.get("parts")
    data = _without(data, FILLED_IN["Profile"])
    filled = []
    for number, part in enumerate(parts if isinstance(parts, list) else (), 1):
        if isinstance(part, dict):
            part = _without(part, FILLED_IN["Part"])
        card = part.get("card") if isinstance(part, dict) else None
        if isinstance(card, str) and card not in shipped() and not part.get("figures"):
            if own is None or card not in own:
                name = card if len(card) <= 40 else f"{card[:37]}..."
                names = ", ".join([*shipped(), *(own or ())])
                raise BadInput(
                    f"part {number}: there is no resin card {name!r}; take {names}, or send the "
                    f"part's figures."
                )
            part = {**part, "figures": _figures(own[card], part.get("catalyst_pct"), number)}
        filled.append(part)
    return parse_profile(with_figures({**data, "parts": filled} if filled else data))


def _without(table: dict[str, Any], names: tuple[str, ...]) -> dict[str, Any]:
    return {key: value for key, value in table.items() if key not in names}


def _figures(card: Card, share: Any, number: int) -> dict[str, Any]:
    if isinstance(share, bool) or not isinstance(share, int | float | None):
        raise BadInput(f"part {number}: catalyst_pct is {share!r}; it should be a number.")
    try:
        return card.figures(share).model_dump(mode="json")
    except BadInput as error:
        raise BadInput(*(f"part {number}: {s}" for s in error.sentences)) from None


def without_files(profile: Profile) -> Profile:
    """The profile with every card that is not a shipped one renamed, so that none is looked for."""
    parts = tuple(
        p if p.card in shipped() else p.model_copy(update={"card": OWN_CARD}) for p in profile.parts
    )
    return profile.model_copy(update={"parts": parts})
