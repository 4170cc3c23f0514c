"""The pages and pictures of hardware-notes, as tests read them."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from types import ModuleType

NOTES = Path(__file__).parents[2] / "hardware-notes"
PAGES = {p.name: p.read_text(encoding="utf-8") for p in sorted(NOTES.glob("*.md"))}
EVERYTHING = "\n".join(PAGES.values())


def pictures() -> ModuleType:
    """hardware-notes/draw.py."""
    spec = importlib.util.spec_from_file_location("draw", NOTES / "draw.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def rows(page: str, heading: str) -> list[list[str]]:
    """The cells of the first table under a heading, its head left out."""
    text = PAGES[page].split(f"## {heading}", 1)[1]
    lines = [line for line in text.split("\n## ")[0].splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[2:]]


def anchors(page: str) -> set[str]:
    """What the headings of a page can be linked by."""
    found = re.findall(r"^#+ (.+)$", PAGES[page], flags=re.M)
    return {re.sub(r"[^a-z0-9 -]", "", h.lower()).replace(" ", "-") for h in found}
