"""The page's numbers: in °F, by the functions themselves, and on one line with their unit."""

from __future__ import annotations

import json
import re
import subprocess
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.__main__ import PAGE, node

from .conftest import RunningDemo
from .hands import see
from .test_oven import unfolded

ASKED = """
const [page, outfile, source, asked] = process.argv.slice(1);
require(page + "/node_modules/esbuild").buildSync({
  entryPoints: [page + "/src/" + source], bundle: true, format: "cjs", platform: "node", outfile,
  jsx: "automatic", jsxImportSource: "preact",
});
const w = require(outfile);
console.log(JSON.stringify(eval(asked)));
"""


def said_by(source: str, asked: str, folder: Path) -> list[float | None]:
    """What the page's own functions `w` of one of its files say."""
    command = [str(node()[0]), "-e", ASKED, str(PAGE), str(folder / "of-page.cjs"), source, asked]
    done = subprocess.run(command, check=True, timeout=60, capture_output=True, text=True)
    found: list[float | None] = json.loads(done.stdout)
    return found


def test_a_temperature_has_a_zero_to_shift_and_a_difference_has_none(tmp_path: Path) -> None:
    """NIST special publication 811, appendix B.8: t/°F = 1.8 t/°C + 32, and 1 K is 1.8 °F."""
    asked = """[
      w.degrees(-40, "F"), w.degrees(100, "F"), w.degrees(21.5, "C"), w.celsius(212, "F"),
      w.steps(5, "F"), w.steps(0, "F"), w.steps(5, "C"),
    ]"""
    found = said_by("words.ts", asked, tmp_path)
    assert found == pytest.approx([-40.0, 212.0, 21.5, 100.0, 9.0, 0.0, 5.0])


TYPED: dict[str, float | None] = {
    "16,5": 16.5, " 16,5 ": 16.5, "16,5 °C": 16.5, "16,5\u00a0°C": 16.5, "16.5C": 16.5, ",5": 0.5,
    "+0,3": 0.3, "−5": -5.0, "–5": -5.0, "-5": -5.0,
    "1.234,5": None, "16,5,": None, "16 5": None, "+": None, "1e3": None, "🙂": None, "": None,
}  # fmt: skip


def test_a_number_is_read_as_people_write_it(tmp_path: Path) -> None:
    """With a comma, spaces, its unit, a sign. Fails before this: a plus, and a dash for a minus,
    though the field itself says "from −5 K to +5 K"."""
    asked = f"{json.dumps(list(TYPED))}.map(text => w.read(text, '°C'))"
    assert dict(zip(TYPED, said_by("fields.tsx", asked, tmp_path), strict=True)) == TYPED


UNITS = "°|%|K|W|kWh?|kJ|h|min|s|m²|m³|mm|kg|g"


def test_a_number_and_its_unit_stay_on_one_line(page: Page, archive: RunningDemo) -> None:
    """A no-break space between them (SI brochure, 9th edition, 5.4.3: one space, always), whether
    the page wrote the sentence or the controller. Fails before this."""
    loose, tied = set[str](), 0
    screens = (
        "now",
        "start",
        "nights",
        "nights/2",
        "nights/2+3",
        "oven",
        "oven/ruler",
        "oven/cards",
    )
    for screen in screens:
        see(page, archive, screen)
        expect(page.locator("main h2").first).to_be_visible()
        if screen == "start":
            page.get_by_role("button", name="Change it").click()
            expect(page.get_by_role("slider")).to_have_count(3)
        text = unfolded(page)
        loose |= set(re.findall(rf"\d (?:{UNITS})(?!\w)", text, re.ASCII))
        tied += len(re.findall(rf"\d\u00a0(?:{UNITS})(?!\w)", text, re.ASCII))
    assert loose == set()
    assert tied > 60, "there are such numbers"
