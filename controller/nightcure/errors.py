"""The one error a person sees: a sentence that says what is wrong, where, what would be right."""

from __future__ import annotations


class NightcureError(Exception):
    """Something the person can put right. ``str(error)`` is one sentence per fault, a line each."""


class BadInput(NightcureError, ValueError):
    """A file, option or request that cannot be used as it stands."""

    def __init__(self, *sentences: str) -> None:
        super().__init__("\n".join(sentences))
        self.sentences: tuple[str, ...] = sentences
