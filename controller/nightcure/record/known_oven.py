"""What earlier nights have shown of the oven, for the next one: read from the ledger."""

from __future__ import annotations

from ..ledger.reader import LedgerReader
from ..profile import Profile
from ..settings import Settings
from ..settings.learned_oven import LearnedOven
from ..settings.oven_evidence import Learned, OvenEvidence, learned
from .batches import known_parts


def known_night(
    profile: Profile, settings: Settings, reader: LedgerReader, learned: bool = True
) -> Profile:
    """The profile as its night begins with it: with what is known of resins, moulds and oven.

    Args:
        learned: start from what earlier nights have shown; else from cards and oven.toml alone.
    """
    oven = known_oven(settings, reader) if learned else Learned(settings.model).oven()
    parts = known_parts(profile.parts, reader, learned)
    return profile.model_copy(update={"parts": parts, "oven": oven})


def known_oven(
    settings: Settings, reader: LedgerReader, before_s: float | None = None
) -> LearnedOven:
    """The oven by all its nights, beside the model that a person has written.

    Args:
        before_s: of those that ended before this wall time only.
    """
    return oven_by_nights(settings, reader, before_s).oven()


def oven_by_nights(
    settings: Settings, reader: LedgerReader, before_s: float | None = None
) -> Learned:
    """As `known_oven`, with how sure it is and whether the last night's loss has jumped."""
    ovens = {row["id"]: row["oven"] for row in reader.nights(limit=-1)}
    nights = [
        (row.wall_s, OvenEvidence.from_json(row.found))
        for row in reader.evidence()
        if row.kind == "oven"
        and row.night_id is not None
        and ovens.get(row.night_id) == settings.name
        and (before_s is None or row.wall_s < before_s)
    ]
    return learned(settings.model, nights)
