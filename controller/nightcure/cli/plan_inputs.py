"""What `nightcure plan` is asked, made into a night to plan."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from ..cure.box_air import Box
    from ..plan.sampling import Spreads
    from ..plan.tonight import Tonight
    from ..profile import Profile


def of_day(text: str, option: str) -> float:
    """Seconds after midnight of h:mm."""
    from ..errors import BadInput

    match = re.fullmatch(r"(\d{1,2}):([0-5]\d)", text.strip())
    if match is None or int(match[1]) > 23:
        raise BadInput(f"{option} is '{text}'; it must be a time of day such as 7:30 or 20:00.")
    return int(match[1]) * 3600.0 + int(match[2]) * 60.0


def parts_of(
    oven: Path | None,
    file: Path | None,
    cards: list[str] | None,
    catalyst_pct: float | None,
    resin_kg: float | None,
    mould_kg: float | None,
) -> tuple[Profile | None, tuple[object, ...], Box | None]:
    """The profile to judge, if any, the planned parts, and the box."""
    from ..cure.card import shipped
    from ..errors import BadInput
    from ..plan.tonight import planned
    from ..profile import load_profile
    from ..settings import load_settings
    from ..simulate.scenario import PARTS_FILE, scenario
    from .rehearse import with_cards

    for option, value in (
        ("--catalyst-pct", catalyst_pct), ("--resin-kg", resin_kg), ("--mould-kg", mould_kg),
    ):  # fmt: skip
        if value is not None and not cards:
            raise BadInput(f"{option} goes with --card; a profile's parts say it themselves.")
    settings = scenario()[0] if oven is None else load_settings(oven)
    chosen = None if file is None else load_profile(file)
    source, folder = chosen, None if file is None else file.parent
    if source is None and oven is None:
        source, folder = load_profile(PARTS_FILE), PARTS_FILE.parent
    if cards:
        from ..profile import Profile, Soak

        resin_kg = 0.5 if resin_kg is None else resin_kg
        if not 0.0 < resin_kg <= 100.0:
            raise BadInput(f"--resin-kg is {resin_kg:g}; it should be above 0, up to 100.")
        if mould_kg is not None and not 0.05 <= mould_kg <= 2000.0:
            raise BadInput(f"--mould-kg is {mould_kg:g}; it should be 0.05 to 2000.")
        plain = Profile(name="parts", segments=(Soak(at_c=10.0, hours=1.0),))
        source = with_cards(
            settings, plain, cards, catalyst_pct, resin_kg,
            None if mould_kg is None else MOULD_J_PER_KG_K * mould_kg,
        )  # fmt: skip
        folder = None
    if source is None or not source.parts:
        raise BadInput(
            "no part with a resin card is known, so nothing cures; give a profile with [[parts]], "
            "or --card."
        )
    parts = []
    for p in source.parts:
        if folder is not None and p.card not in shipped():
            p = p.model_copy(update={"card": str((folder / p.card).resolve())})
        parts.append(planned(p))
    box = None if cards and chosen is None else source.box
    return chosen, tuple(parts), box


#: Glass/polyester of hand lay-up (from memory).
MOULD_J_PER_KG_K = 1400.0


def shed_of(
    oven: Path | None,
    night: Path | None,
    lowest_c: float | None,
    lowest_at: str,
    evening_c: float | None,
    start_s: float,
) -> tuple[Callable[[float], float], tuple[str, ...]]:
    """The shed over the night, and what had to be assumed of it."""
    from ..errors import BadInput
    from ..oven.ambient import COLDEST_C, WARMEST_C, read_ambient
    from ..plan.tonight import falling_to
    from ..settings import load_settings
    from ..simulate.scenario import ambient_c, scenario

    if night is not None:
        if lowest_c is not None or evening_c is not None:
            raise BadInput("--night has the whole shed; leave --lowest and --evening out.")
        return read_ambient(night), ()
    for name, value in (("--lowest", lowest_c), ("--evening", evening_c)):
        if value is not None and not COLDEST_C <= value <= WARMEST_C:
            raise BadInput(f"{name} is {value:g}; it must be °C between -60 and 60.")
    if lowest_c is not None:
        at_s = (of_day(lowest_at, "--lowest-at") - start_s) % 86400.0
        first_c = lowest_c + 7.0 if evening_c is None else evening_c
        if first_c < lowest_c:
            raise BadInput(
                f"--evening is {first_c:g} °C and --lowest {lowest_c:g} °C; the lowest should not "
                f"be above it."
            )
        return falling_to(lowest_c, at_s, first_c), ()
    if evening_c is not None:
        raise BadInput("--evening needs --lowest: how cold the night gets.")
    if oven is None:
        return ambient_c, ()
    settings = load_settings(oven) if oven is not None else scenario()[0]
    assumed_c = settings.model.assumed_ambient_c
    note = (
        f"No forecast was given: the shed is taken to be at {assumed_c:g} °C all night "
        f"(assumed_ambient_c); say --lowest or --night."
    )
    return (lambda _: assumed_c), (note,)


def tonight_of(
    oven: Path | None,
    profile: Profile | None,
    parts: tuple[object, ...],
    shed: Callable[[float], float],
    goal: str,
    start_s: float,
    deadline_s: float,
    survey: Path | None,
    learned: bool = True,
) -> tuple[Tonight, Spreads]:
    """Everything a plan starts from; `learned`: what earlier nights in the oven's ledger showed."""
    from ..ledger.reader import LedgerReader
    from ..plan.from_nights import as_started, from_nights
    from ..plan.sampling import Spreads, from_survey
    from ..plan.tonight import PlannedPart, facts_of, tonight
    from ..record.batches import learned_parts
    from ..record.known_oven import known_oven
    from ..report.standing import standing_sentences
    from ..settings import load_settings
    from ..simulate.scenario import scenario

    settings = scenario()[0] if oven is None else load_settings(oven)
    if profile is not None:
        from ..errors import BadInput

        refusals = profile.refusals(settings.limits, to_start=False)
        if refusals:
            raise BadInput(*refusals)
    facts, spreads = facts_of(settings), Spreads()
    if survey is not None:
        facts, spreads = from_survey(_json_of(survey), facts, spreads)
    ready = [p for p in parts if isinstance(p, PlannedPart)]
    shown, standing = None, []
    if learned and oven is not None and settings.ledger.exists():
        reader = LedgerReader(settings.ledger)
        standing = standing_sentences(
            reader, settings.name, [p.part for p in ready], settings.units
        )
        known = learned_parts(tuple(p.part for p in ready), reader)
        ready = [replace(p, part=part) for p, part in zip(ready, known, strict=True)]
        if survey is None:
            shown = known_oven(settings, reader)
            facts, spreads = from_nights(shown, facts, spreads)
    night = tonight(settings, ready, shed, goal, deadline_s, start_s, facts)
    return as_started(night, shown, standing), spreads


def priced(night: Tonight, price_per_kwh: float | None, currency: str | None) -> Tonight:
    """The night with the price of electricity that was typed, or that of oven.toml.

    Raises:
        BadInput: not a price.
    """

    from ..errors import BadInput
    from ..settings import Electricity

    own = night.settings.electricity
    price = own.price_per_kwh if price_per_kwh is None else price_per_kwh
    money = own.currency if currency is None else currency.strip()
    if price is not None and not 0.0 <= price <= 1000.0:
        raise BadInput(f"--price-per-kwh is {price:g}; it should be 0 to 1000.")
    if price is None and money != own.currency:
        raise BadInput("--currency goes with a price; say --price-per-kwh, too.")
    try:
        paid = Electricity(price_per_kwh=price, currency=money)
    except ValueError:
        raise BadInput(
            f"--currency is '{money}'; it should be a word of eight letters at the most, such as "
            f"EUR."
        ) from None
    settings = night.settings.model_copy(update={"electricity": paid})
    return replace(night, settings=settings)


def _json_of(path: Path) -> object:
    import json

    from ..errors import BadInput

    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise BadInput(f"{path} cannot be read: {error}.") from None
    except json.JSONDecodeError as error:
        raise BadInput(
            f"{path} is not JSON ({error}); let 'nightcure survey --json' write it."
        ) from None
