"""Whether the oven is still the one it was: a night refitted and held against those before it.

Refitting needs numpy and scipy, and a second or more a night; what was found is kept in the ledger,
so that every night is refitted once by each version. A night's own record refits it, so that the
nights before are mostly refitted when one is asked for; the others are left out unless asked for.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from .. import __version__
from ..errors import BadInput
from ..ledger.night_hash import all_events
from ..ledger.reader import LedgerReader

if TYPE_CHECKING:
    from ..survey.drift import Change, Known

#: So many nights before are compared with the one asked for.
NIGHTS_BEFORE = 7
#: A loss that is known less surely (95 % half-width, relative) is not compared.
MOST_HALF = 0.35
#: With resin on cards the oven is refitted from what came so long after the last was cured, s.
LEAST_AFTER_S = 5400.0
#: Keeps what a night's refit found: night and findings.
Keep = Callable[[int, dict[str, Any]], None]


@dataclass(frozen=True)
class OvenDrift:
    """What the comparison says."""

    night_id: int
    found: dict[str, Any]
    """As `nightcure survey --json` has it, and `cooling_per_s`."""
    tonight: Known
    before: list[Known] = field(default_factory=list)
    left_out: list[int] = field(default_factory=list)
    """Nights before of which no survey can be made."""
    not_refitted: int = 0
    """Nights before of which none was made yet."""
    change: Change | None = None

    @property
    def sentence(self) -> str:
        """In words."""
        if not self.before and self.not_refitted:
            return (
                "The nights before were not refitted yet: 'nightcure record "
                f"{self.night_id} --compare' does it, once, in some seconds."
            )
        if not self.before:
            return "Nothing to compare with yet."
        return "The oven is as it was." if self.change is None else self.change.sentence

    def as_json(self) -> dict[str, Any]:
        """What `nightcure survey --drift --json` prints."""
        return {
            "night": self.night_id,
            **self.tonight.as_json(),
            "nights_before": [n.as_json() for n in self.before],
            "nights_left_out": self.left_out,
            "change": None if self.change is None else self.change.kind,
            "ratio": None if self.change is None else round(self.change.ratio, 3),
            "sentence": self.sentence,
        }


def oven_drift(
    reader: LedgerReader, night_id: int, keep: Keep | None = None, refit_before: bool = True
) -> OvenDrift:
    """Refit a night and compare it with those before it.

    Args:
        keep: told every new refit.
        refit_before: refit nights before where none is kept, too.

    Raises:
        BadInput: numpy is not there, or the night cannot be surveyed; the sentence says why.
    """
    try:
        from ..survey.drift import drift
    except ImportError:
        raise BadInput(
            "Whether the oven has changed was not looked at: that needs numpy and scipy, the extra "
            "'planning'."
        ) from None
    night = reader.night(night_id)
    if night is None:
        raise BadInput(f"{reader.path} holds no night {night_id}.")
    found, tonight = _known(reader, night_id, keep)
    before: list[Known] = []
    left_out: list[int] = []
    not_refitted = 0
    for other in reader.nights(limit=-1):
        fits = other["id"] < night_id and other["oven"] == night.oven and other["ended_s"]
        if not fits or len(before) == NIGHTS_BEFORE or len(left_out) > NIGHTS_BEFORE:
            continue
        if not refit_before and _kept(reader, other["id"]) is None:
            not_refitted += 1
            if not_refitted > NIGHTS_BEFORE:
                break
            continue
        try:
            before.append(_known(reader, other["id"], keep)[1])
        except BadInput:  # too short, or never heated
            left_out.append(other["id"])
    change = drift(before, tonight)
    return OvenDrift(night_id, found, tonight, before, left_out, not_refitted, change)


def _kept(reader: LedgerReader, night_id: int) -> dict[str, Any] | None:
    """A refit that still counts: of this version, or of a night that cannot be refitted."""
    kept = reader.refit(night_id)
    if kept is None or "cooling_per_s" not in kept:
        return None
    counts = kept["version"] == __version__ or reader.thinned(night_id) is not None
    return kept if counts else None


def _known(reader: LedgerReader, night_id: int, keep: Keep | None) -> tuple[dict[str, Any], Known]:
    from ..survey.drift import Known, known

    kept = _kept(reader, night_id)
    if kept is not None:
        return kept, Known.from_json(kept)
    if reader.thinned(night_id) is not None:
        raise BadInput(f"Night {night_id} was thinned; what is left of it cannot be refitted.")
    from ..survey.night_log import log_of_night
    from ..survey.survey import survey

    surveyed = survey(log_of_night(reader.path, night_id, from_wall_s=_cured_s(reader, night_id)))
    tonight = known(surveyed)
    half = (tonight.loss_w_per_k.high / tonight.loss_w_per_k.low) ** 0.5 - 1.0
    if half > MOST_HALF:
        raise BadInput(
            f"Night {night_id} tells the oven's loss within ±{100 * half:.0f} % only, too little "
            f"to compare it: it was too short, or was not cooled."
        )
    found = {**surveyed.as_json(), **tonight.as_json()}
    if keep is not None:
        keep(night_id, found)
    return found, tonight


def _cured_s(reader: LedgerReader, night_id: int) -> float | None:
    """From when on no resin's own heat is to be expected, wall s; None where no card is known.

    Raises:
        BadInput: too little of the night is left after that.
    """
    night = reader.night(night_id)
    assert night is not None
    parts = reader.parsed(night.profile).get("parts") or []
    if not parts:
        return None
    cured = [e.wall_s for e in all_events(reader, night_id) if e.name == "demould"]
    left_s = (night.ended_s or 0.0) - max(cured, default=0.0)
    if len(cured) < len(parts) or left_s < LEAST_AFTER_S:
        raise BadInput(
            f"The oven cannot be refitted from night {night_id}: its resin's own heat would pass "
            f"for the heater's, and too little of the night came after it."
        )
    return max(cured)
