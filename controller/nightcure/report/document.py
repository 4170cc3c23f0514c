"""The record's content, block by block, for whatever prints it."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from .chart import Chart
from .verdict import Tone


@dataclass(frozen=True)
class Heading:
    """Of a section."""

    text: str


@dataclass(frozen=True)
class Text:
    """A paragraph; `quiet`: small print."""

    text: str
    quiet: bool = False


@dataclass(frozen=True)
class Pairs:
    """What and how much."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Table:
    """Columns with headings; those named in `numeric` stand to the right."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: tuple[int, ...] = ()


@dataclass(frozen=True)
class Form:
    """Fields a person fills; an empty one is printed as a line to write on."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Picture:
    """The chart."""

    chart: Chart
    told: str
    """The same for one who cannot see it."""


Block = Heading | Text | Pairs | Table | Form | Picture


@dataclass(frozen=True)
class Document:
    """A night's record."""

    title: str
    subtitle: str
    verdict: str
    tone: Tone
    night_hash: str
    blocks: tuple[Block, ...] = field(default=())


_UNIT = re.compile(r"(?<=\d) (?=(h|min|s|K|W|kg|g|%|°[CF]|kWh)\b|%|h \d)")


def tied(text: str) -> str:
    """The text with a no-break space between a number and its unit."""
    return _UNIT.sub("\u00a0", text).replace("\u00a0h ", "\u00a0h\u00a0")
