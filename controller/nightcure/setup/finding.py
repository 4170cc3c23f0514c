"""What a check found: one rating, one sentence that says what to do."""

from __future__ import annotations

from typing import Any, NamedTuple

from ..oven.installation import Rating

__all__ = ["Finding", "Rating"]


class Finding(NamedTuple):
    """One line of a check."""

    check: str
    rating: Rating
    sentence: str
    figures: dict[str, Any] = {}  # noqa: RUF012 (never written to)
    """Values behind it, units in the keys."""

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        told = {"check": self.check, "verdict": self.rating.value, "sentence": self.sentence}
        return {**told, **self.figures}
