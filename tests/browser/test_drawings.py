"""The drawings of hardware-notes as a phone shows them, 390 px wide: measured in the browser.

Text of 11 px and more, inside the picture and its box, clear of other text and of every wire that
is not hidden behind its box; in both looks, whose colours differ.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

NOTES = Path(__file__).parents[2] / "hardware-notes"
DRAWINGS = sorted(p.name for p in NOTES.glob("*.svg"))
#: Everything in the page's own pixels.
MEASURE = """() => {
  const svg = document.querySelector('svg'), edge = svg.getBoundingClientRect();
  const all = [...svg.querySelectorAll('text, path, rect, circle')];
  const scale = edge.width / svg.viewBox.baseVal.width;
  const box = e => { const r = e.getBoundingClientRect();
    return {x: r.left, y: r.top, right: r.right, bottom: r.bottom}; };
  const texts = all.filter(e => e.tagName === 'text').map(e => ({
    words: e.textContent, size: parseFloat(getComputedStyle(e).fontSize) * scale,
    fill: getComputedStyle(e).fill, at: all.indexOf(e), ...box(e)}));
  const rects = all.filter(e => e.tagName === 'rect' && !e.classList.contains('paper')).map(e => ({
    at: all.indexOf(e), foam: e.classList.contains('foam'), ...box(e)}));
  const wires = all.filter(e => e.tagName === 'path').map(e => {
    const points = [], long = e.getTotalLength();
    for (let s = 0; s <= long; s += 1.5) {
      const p = e.getPointAtLength(s);
      points.push([edge.left + p.x * scale, edge.top + p.y * scale]);
    }
    return {at: all.indexOf(e), points};
  });
  return {edge: box(svg), texts, rects, wires,
          paper: getComputedStyle(svg.querySelector('.paper')).fill};
}"""


def measured(page: Page, name: str) -> dict[str, Any]:
    """The drawing as the page shows it."""
    text = (NOTES / name).read_text(encoding="utf-8")
    page.set_content(f'<body style="margin:0"><div style="width:390px">{text}</div>')
    found: dict[str, Any] = page.evaluate(MEASURE)
    return found


def overlap_px(a: dict[str, float], b: dict[str, float]) -> float:
    """The smaller side of what two boxes share; 0 or less where they share nothing."""
    wide = min(a["right"], b["right"]) - max(a["x"], b["x"])
    high = min(a["bottom"], b["bottom"]) - max(a["y"], b["y"])
    return min(wide, high)


def holds(outer: dict[str, float], x: float, y: float) -> bool:
    """Whether a point lies in a box."""
    return outer["x"] <= x <= outer["right"] and outer["y"] <= y <= outer["bottom"]


@pytest.mark.parametrize("name", DRAWINGS)
def test_text_can_be_read(page: Page, name: str) -> None:
    found = measured(page, name)
    edge = found["edge"]
    assert edge["right"] - edge["x"] == pytest.approx(390.0)
    for t in found["texts"]:
        assert t["size"] >= 11.0, t["words"]
        assert t["x"] >= edge["x"] + 2.0, f"cut at the left: {t['words']}"
        assert t["right"] <= edge["right"] - 2.0, f"cut at the right: {t['words']}"
        assert t["bottom"] <= edge["bottom"], f"cut at the foot: {t['words']}"


@pytest.mark.parametrize("name", DRAWINGS)
def test_text_is_clear_of_text_wires_and_edges(page: Page, name: str) -> None:
    found = measured(page, name)
    texts = found["texts"]
    for i, a in enumerate(texts):
        for b in texts[i + 1 :]:
            assert overlap_px(a, b) <= 4.0, f"'{a['words']}' lies on '{b['words']}'"
        middle = (a["x"] + a["right"]) / 2, (a["y"] + a["bottom"]) / 2
        around = [r for r in found["rects"] if holds(r, *middle) and r["at"] < a["at"]]
        for r in around:
            words = a["words"]
            assert a["x"] >= r["x"] + 1.0, f"'{words}' leaves its box"
            assert a["right"] <= r["right"] - 1.0, f"'{words}' leaves its box"
        for wire in found["wires"]:
            struck = [p for p in wire["points"] if inside(a, p)]
            hidden = [r for r in around if r["at"] > wire["at"]]
            seen = [p for p in struck if not any(holds(r, *p) for r in hidden)]
            assert not seen, f"a line strikes '{a['words']}'"


def inside(text: dict[str, float], point: list[float]) -> bool:
    """Whether a point lies among a text's letters: ascenders and descenders are spared."""
    x, y = point
    return text["x"] + 0.5 < x < text["right"] - 0.5 and text["y"] + 3.5 < y < text["bottom"] - 3.5


@pytest.mark.parametrize("name", DRAWINGS)
def test_both_looks_have_letters_that_stand_out(page: Page, name: str) -> None:
    """Contrast of 4.5 to 1 and more (WCAG 2.2, success criterion 1.4.3)."""
    papers = []
    for look in ("light", "dark"):
        page.emulate_media(color_scheme=look)  # type: ignore[arg-type]
        found = measured(page, name)
        papers.append(found["paper"])
        for t in found["texts"]:
            assert contrast(t["fill"], found["paper"]) >= 4.5, f"{t['words']} ({look})"
    assert papers[0] != papers[1]


def contrast(a: str, b: str) -> float:
    """By WCAG's relative luminance; colours as the browser writes them, rgb(1, 2, 3)."""

    def luminance(colour: str) -> float:
        parts = [int(n) / 255.0 for n in colour[4:-1].split(",")]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    light, dark = sorted((luminance(a), luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)
