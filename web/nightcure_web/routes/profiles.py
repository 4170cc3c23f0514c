"""Profiles: those that ship, those people saved, and whether one would run on this oven."""

from __future__ import annotations

import json
import time
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Body, Query
from fastapi import Path as InPath

from nightcure.cure.box_air import moisture_of, vapour_in, vapour_sentence
from nightcure.cure.card import shipped as resin_cards
from nightcure.cure.dew_point import Surface
from nightcure.errors import BadInput
from nightcure.profile import COLD_START_C, Profile, load_profile, parse_profile
from nightcure.settings import Settings

from ..mends import measured_by, mend, on_this_oven, refusals
from ..models import told
from ..models.oven_models import (
    OFFER,
    PROFILE_CHECK,
    SOAK,
    Offer,
    ProfileCheck,
    Remembered,
    Removed,
)
from ..problems import Problem
from ..profile_input import ProfileBody, profile_from_page
from ..services import Services, ServicesOf, Who

router = APIRouter(prefix="/api", tags=["profiles"])

#: Profiles people may keep.
MOST_OWN = 200
#: How many nights back it is looked for parts and box.
REMEMBERED_NIGHTS = 30
REMEMBERED: Any = {
    "parts": [{"name": "Lid", "card": "polyester-laminating", "resin_kg": 0.8, "catalyst_pct": 2}],
    "box": {"volume_m3": 0.43, "wet": "gelled", "breathes": "vent"},
}


@cache
def shipped() -> list[Profile]:
    """Profiles that come with nightcure."""
    folder = Path(str(resources.files("nightcure").joinpath("simulate", "scenario", "profiles")))
    return [load_profile(p) for p in sorted(folder.glob("*.toml"))]


def _offer(services: Services, profile: Profile, own: bool) -> dict[str, Any]:
    placed = on_this_oven(profile, services.settings)
    refused = refusals(placed, services.settings)
    return {"profile": placed.model_dump(mode="json"), "refusals": refused, "own": own}


def _own_offer(services: Services, saved: dict[str, Any]) -> dict[str, Any]:
    try:
        return _offer(services, parse_profile(saved), True)
    except BadInput as error:  # saved by a version that knew other keys
        return {"profile": saved, "refusals": error.sentences, "own": True}


@router.get("/profiles", response_model=list[Offer], responses=told([OFFER], 401, 503))
def profiles(services: ServicesOf) -> Any:
    """Profiles to choose from, each with the sentences for which this oven would refuse it.

    Of those that ship, what starts as it stands and goes with a resin comes first; what is for
    parts that are hard already, last of these.
    """
    saved = services.reader.profiles() if services.settings.ledger.exists() else []
    offered = [_offer(services, p, False) for p in shipped()]

    def last(offer: dict[str, Any]) -> tuple[bool, bool, bool]:
        profile = offer["profile"]
        hard = profile["box"] is not None and profile["box"]["wet"] == "hard"
        return bool(offer["refusals"]), not profile["parts"], hard

    offered.sort(key=last)
    return [
        *offered,
        *(_own_offer(services, row["profile"]) for row in saved),
    ]


@router.get("/remembered", response_model=Remembered, responses=told(REMEMBERED, 401, 503))
def remembered(services: ServicesOf) -> Any:
    """Parts and box of the last night that had parts; none on a new oven."""
    recent = services.reader.nights(REMEMBERED_NIGHTS) if services.settings.ledger.exists() else []
    for row in recent:
        night = services.reader.night(row["id"])
        profile = {} if night is None else services.reader.parsed(night.profile)
        if profile.get("parts"):
            ours = {*resin_cards(), *services.own_cards()}
            parts = [{**p, "figures": None} if p["card"] in ours else p for p in profile["parts"]]
            there = measured_by([p.get("sensor") for p in parts], services.settings)
            parts = [{**p, "sensor": name} for p, name in zip(parts, there, strict=True)]
            return {"parts": parts, "box": profile.get("box")}
    return {"parts": [], "box": None}


@router.post(
    "/profiles",
    response_model=Offer,
    responses=told(OFFER, 400, 401, 403, 409, 411, 413, 422, 503),
)
def save(
    services: ServicesOf,
    who: Who,
    profile: Annotated[
        ProfileBody, Body(embed=True, description="A profile as JSON.", examples=[SOAK])
    ],
    replace: Annotated[bool, Query(description="Overwrite an own one of the same name.")] = False,
) -> Any:
    """Keep a profile under its name; one this oven refuses may be kept, too."""
    checked = profile_from_page(profile, services.own_cards())
    if any(p.name == checked.name for p in shipped()):
        raise Problem(409, f"'{checked.name}' ships with nightcure; give yours another name.")
    own = {row["name"] for row in services.reader.profiles()}
    if checked.name in own and not replace:
        raise Problem(409, f"There is a profile '{checked.name}' already; replace it, or rename.")
    if checked.name not in own and len(own) >= MOST_OWN:
        raise Problem(409, f"{MOST_OWN} profiles are kept, which is the most; remove one first.")
    text = json.dumps(checked.model_dump(mode="json"), ensure_ascii=False, allow_nan=False)
    with services.notes() as notes:
        if not notes.save_profile(checked.name, text, who, time.time(), replace):
            raise Problem(409, f"There is a profile '{checked.name}' already; it was just saved.")
    return _offer(services, checked, True)


@router.delete(
    "/profiles/{name:path}",
    response_model=Removed,
    responses=told({"name": "Warm"}, 400, 401, 403, 404, 409, 411, 413, 422, 503),
)
def remove(
    services: ServicesOf,
    _: Who,
    name: Annotated[str, InPath(max_length=60, description="A saved profile's name.")],
) -> Any:
    """Forget a profile that was saved; nights that ran with it keep their own copy."""
    if any(p.name == name for p in shipped()):
        raise Problem(409, f"'{name}' ships with nightcure and stays.")
    with services.notes() as notes:
        if not notes.remove_profile(name):
            raise Problem(404, "There is no saved profile of this name.")
    return {"name": name}


@router.post(
    "/profiles/check",
    response_model=ProfileCheck,
    responses=told(PROFILE_CHECK, 400, 401, 411, 413, 422, 503),
)
def check(
    services: ServicesOf,
    profile: Annotated[ProfileBody, Body(description="A profile as JSON.", examples=[SOAK])],
) -> Any:
    """What this oven would make of a profile, from the air as it is now. Nothing is kept."""
    checked = profile_from_page(profile, services.own_cards())
    limits = services.settings.limits
    live = services.reader.live() if services.settings.ledger.exists() else None
    now_c = None if live is None else live.get("control_c")
    start_c = COLD_START_C if now_c is None else now_c
    box = checked.box
    vapour = None
    if box is not None:
        asked = box, checked.parts, checked.highest_c
        vapour = {**vapour_in(*asked)._asdict(), "sentence": vapour_sentence(*asked)}
    lifted = mend(checked, services.settings)
    course = checked.course(start_c, limits.ramp_c_per_h)
    return {
        "refusals": refusals(checked, services.settings),
        "mend": lifted and {**lifted._asdict(), "profile": lifted.profile.model_dump(mode="json")},
        "planned_s": course[-1][0],
        "highest_c": checked.highest_c,
        "notes": checked.out_of_reach(limits),
        "vapour": vapour,
        "moisture": _moisture(checked, live, services.settings),
        "course": course,
    }


def _moisture(
    profile: Profile, live: dict[str, Any] | None, settings: Settings
) -> dict[str, Any] | None:
    """Whether it may be laid up as moulds and shed are now; None where nobody knows."""
    shown = [] if live is None else live.get("thermometers") or []
    at = [(t["role"], t["name"], t["value_c"]) for t in shown if t["value_c"] is not None]
    sheds = [c for role, _, c in at if role == "ambient"]
    air_c = sheds[0] if sheds else None if live is None else live.get("control_c")
    if air_c is None:
        return None
    surfaces = [Surface(name, c) for role, name, c in at if role in ("part", "mould")]
    try:
        found = moisture_of(profile.box, profile.parts, air_c, surfaces, settings.units)
    except BadInput:  # a shed beyond the formula
        return None
    return None if found is None else found._asdict()
