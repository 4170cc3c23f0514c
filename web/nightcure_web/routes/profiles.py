"""Profiles: those that ship, and whether one would run on this oven."""

from __future__ import annotations

from functools import cache
from importlib import resources
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Body

from nightcure.profile import Profile, load_profile, parse_profile

from ..problems import responses
from ..store import StoreOf

router = APIRouter(prefix="/api", tags=["profiles"])


@cache
def shipped() -> list[Profile]:
    """Profiles that come with nightcure."""
    folder = Path(str(resources.files("nightcure").joinpath("scenario", "profiles")))
    return [load_profile(p) for p in sorted(folder.glob("*.toml"))]


@router.get("/profiles")
def profiles(store: StoreOf) -> list[dict[str, Any]]:
    """Profiles to choose from, each with the sentences for which this oven would refuse it."""
    limits = store.settings.limits
    return [
        {"profile": p.model_dump(mode="json"), "refusals": p.refusals(limits)} for p in shipped()
    ]


@router.post("/profiles/check", responses=responses(400, 411, 413, 422))
def check(
    store: StoreOf, profile: Annotated[dict[str, Any], Body(description="A profile as JSON.")]
) -> dict[str, Any]:
    """Whether this oven would run a profile; sentences if not. Nothing is kept."""
    return {"refusals": parse_profile(profile).refusals(store.settings.limits)}
