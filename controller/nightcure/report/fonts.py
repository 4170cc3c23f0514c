"""Letters for the PDF: a font with as many of them as this machine has."""

from __future__ import annotations

import importlib.util
from functools import lru_cache
from pathlib import Path

#: Where a font with many letters may lie, besides matplotlib's own folder.
PLACES = (Path("/usr/share/fonts/truetype/dejavu"), Path("/usr/share/fonts/TTF"))
FILES = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")
NAMES = ("Record", "Record-Bold")


def _folder() -> Path | None:
    spec = importlib.util.find_spec("matplotlib")
    own = [] if spec is None or spec.origin is None else [
        Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf"
    ]  # fmt: skip
    return next((p for p in (*own, *PLACES) if all((p / f).is_file() for f in FILES)), None)


@lru_cache(maxsize=1)
def register() -> frozenset[int]:
    """Make the fonts `NAMES` known to reportlab; the letters (code points) they have."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    folder = _folder()
    files = FILES if folder is not None else ("Vera.ttf", "VeraBd.ttf")
    known: frozenset[int] = frozenset()
    for name, file in zip(NAMES, files, strict=True):
        font = TTFont(name, file if folder is None else str(folder / file))
        pdfmetrics.registerFont(font)
        known = known or frozenset(font.face.charToGlyph)
    pdfmetrics.registerFontFamily(NAMES[0], normal=NAMES[0], bold=NAMES[1],
                                  italic=NAMES[0], boldItalic=NAMES[1])  # fmt: skip
    return known


def printable(text: str) -> str:
    """The text with every letter the font lacks told by its number, so that none goes missing."""
    known = register()
    return "".join(c if ord(c) in known or c in "\n\t" else f"[U+{ord(c):04X}]" for c in text)
