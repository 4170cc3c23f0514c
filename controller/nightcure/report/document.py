"""The record's content, block by block, for whatever prints it."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import datetime

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


@dataclass(frozen=True)
class Photo:
    """A JPEG of the part."""

    jpeg: bytes
    told: str


Block = Heading | Text | Pairs | Table | Form | Picture | Photo


@dataclass(frozen=True)
class Document:
    """A night's record."""

    title: str
    subtitle: str
    verdict: str
    tone: Tone
    night_hash: str
    notes_hash: str = ""
    blocks: tuple[Block, ...] = field(default=())


def clock(wall_s: float, form: str = "%H:%M") -> str:
    """A wall time on the local clock."""
    return datetime.fromtimestamp(wall_s).astimezone().strftime(form)


_UNIT = re.compile(r"(?<=\d) (?=(h|min|s|K|W|kg|g|%|°[CF]|kWh)\b|%|h \d)")


def tied(text: str) -> str:
    """The text with a no-break space between a number and its unit."""
    return _UNIT.sub("\u00a0", text).replace("\u00a0h ", "\u00a0h\u00a0")
