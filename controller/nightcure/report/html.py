"""The record as one HTML file: no script, no network, prints on A4 and Letter, dark and light."""

from __future__ import annotations

import hashlib
import re
from base64 import b64encode
from collections.abc import Sequence
from html import escape

from .chart import Anchor, Point, draw
from .document import Block, Document, Form, Heading, Pairs, Photo, Picture, Table, Text, tied

#: Stands where the page's own SHA-256 goes while it is taken.
BLANK = "0" * 64

STYLE = """
:root { color-scheme: light dark; --ink: #1f2a33; --paper: #fdfcf9; --quiet: #5b6770;
  --rule: #d9d6cf; --wash: #f3f0e9; --good: #2b6a3f; --fair: #8a5a00; --bad: #a3261c;
  --setpoint: #77808a; --air: #c8501e; --part: #2f7d4f; --ambient: #2f6fa5; --duty: #e9b08f; }
@media (prefers-color-scheme: dark) { :root { --ink: #e6e3dc; --paper: #171b1f;
  --quiet: #9aa5ad; --rule: #39424a; --wash: #20262b; --good: #7ec596; --fair: #e0b25c;
  --bad: #f0897f; --setpoint: #9aa3ab; --air: #f0834f; --part: #6cc08b; --ambient: #7db3e0;
  --duty: #8a5a40; } }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1.2rem 1rem 3rem; max-width: 50rem; background: var(--paper);
  color: var(--ink); font: 16px/1.5 system-ui, sans-serif; overflow-wrap: break-word; }
h1 { font-size: 1.35rem; line-height: 1.25; margin: 0; }
h2 { font-size: 1.05rem; margin: 1.6rem 0 .4rem; border-bottom: 1px solid var(--rule); }
p { margin: .4rem 0; } .quiet, .subtitle { color: var(--quiet); font-size: .875rem; }
.verdict { font-size: 1.1rem; font-weight: 600; padding: .6rem .8rem; margin: .8rem 0;
  border-left: .35rem solid; background: var(--wash); }
.good { border-color: var(--good); } .fair { border-color: var(--fair); }
.bad { border-color: var(--bad); }
table { border-collapse: collapse; width: 100%; font-size: .875rem; }
th, td { text-align: left; vertical-align: top; padding: .3rem .6rem .3rem 0;
  border-bottom: 1px solid var(--rule); }
th { color: var(--quiet); font-weight: 600; } .number { text-align: right; }
dl { display: grid; grid-template-columns: max-content minmax(0, 1fr); gap: .15rem 1rem;
  margin: .6rem 0; font-size: .875rem; }
dt { color: var(--quiet); } dd { margin: 0; overflow-wrap: anywhere; }
.photo { display: block; max-width: 100%; max-height: 30rem; margin: .8rem 0; }
.form dd { border-bottom: 1px solid var(--quiet); min-height: 1.6rem; white-space: pre-wrap; }
svg { display: block; width: 100%; height: auto; } .narrow { display: none; }
svg text { fill: var(--quiet); font: 11px system-ui, sans-serif; }
svg polyline { fill: none; stroke-width: 1.6; stroke-linejoin: round; }
.l-grid { stroke: var(--rule); stroke-width: 1 !important; }
.l-axis { stroke: var(--quiet); stroke-width: 1 !important; }
.l-setpoint { stroke: var(--setpoint); stroke-dasharray: 5 3; }
.l-air { stroke: var(--air); } .l-part, .l-mould { stroke: var(--part); }
.l-ambient { stroke: var(--ambient); } .l-heater { stroke: var(--bad); }
.l-milestone { stroke: var(--part); stroke-dasharray: 1 3; } .l-alarm { stroke: var(--fair); }
.l-trip { stroke: var(--bad); stroke-width: 2 !important; } .a-duty { fill: var(--duty); }
.n1 { stroke-dasharray: 7 2; } .n2 { stroke-dasharray: 2 2; } .n3 { stroke-dasharray: 9 2 2 2; }
@media (max-width: 600px) {
  .wide { display: none; } .narrow { display: block; }
  .stack thead { display: none; } .stack tr { display: block; padding: .4rem 0;
    border-bottom: 1px solid var(--rule); }
  .stack td { display: block; border: 0; padding: .05rem 0; text-align: left; }
  .stack td[data-h]:not([data-h=""])::before { content: attr(data-h) ": "; color: var(--quiet); }
}
@media print {
  :root { color-scheme: light; --ink: #000; --paper: #fff; --quiet: #444; --rule: #bbb;
    --wash: #f4f4f4; --setpoint: #666; --air: #b8430f; --part: #1f6b3f; --ambient: #1f5f95;
    --duty: #e9b08f; --good: #2b6a3f; --fair: #8a5a00; --bad: #a3261c; }
  @page { margin: 14mm; } body { max-width: none; padding: 0; font-size: 10pt; }
  .wide { display: block; } .narrow { display: none; }
  h2 { break-after: avoid; } tr, svg, .verdict { break-inside: avoid; }
}
"""


class SvgPen:
    """Draws inline SVG; colours come from the page's style."""

    def __init__(self, width: float, height: float) -> None:
        self._size = width, height
        self._out: list[str] = []

    def line(self, points: Sequence[Point], style: str, number: int = 0) -> None:
        """A line through points."""
        more = f" n{min(number, 3)}" if number else ""
        self._out.append(f'<polyline class="l-{style}{more}" points="{_points(points)}"/>')

    def area(self, points: Sequence[Point], style: str) -> None:
        """A filled outline."""
        self._out.append(f'<polygon class="a-{style}" points="{_points(points)}"/>')

    def text(self, x: float, y: float, text: str, anchor: Anchor, style: str) -> None:
        """One line of text."""
        del style
        place = "" if anchor == "start" else f' text-anchor="{anchor}"'
        self._out.append(f'<text x="{x:.1f}" y="{y:.1f}"{place}>{escape(text)}</text>')

    def svg(self, kind: str, told: str) -> str:
        """The drawing."""
        width, height = self._size
        return (
            f'<svg class="{kind}" viewBox="0 0 {width:g} {height:g}" role="img" '
            f'aria-label="{escape(told)}">{"".join(self._out)}</svg>'
        )


def _points(points: Sequence[Point]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)


def page(document: Document) -> str:
    """The whole file. Its head has the night's seal and the page's own SHA-256."""
    body = "\n".join(_block(block) for block in document.blocks)
    text = f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="nightcure-seal" content="{document.night_hash}">
<meta name="nightcure-notes" content="{document.notes_hash}">
<meta name="nightcure-page" content="{BLANK}">
<title>{escape(document.title)}</title>
<style>{STYLE}</style>
</head>
<body>
<h1>{escape(document.title)}</h1>
<p class="subtitle">{escape(document.subtitle)}</p>
<p class="verdict {document.tone}">{_said(document.verdict)}</p>
{body}
</body>
</html>
"""
    return text.replace(f'content="{BLANK}"', f'content="{page_hash(text)}"', 1)


_PAGE = re.compile(r'(<meta name="nightcure-page" content=")([0-9a-f]{64})(">)')


def page_hash(text: str) -> str:
    """SHA-256 of a record's page, reckoned with the hash's own place in it left blank."""
    blank = _PAGE.sub(rf"\g<1>{BLANK}\g<3>", text, count=1)
    return hashlib.sha256(blank.encode()).hexdigest()


def page_hash_stated(text: str) -> str | None:
    """The page's own SHA-256 as it says it."""
    found = _PAGE.search(text)
    return found.group(2) if found else None


def _said(text: str) -> str:
    """Text for the page; a number is kept together with its unit."""
    return escape(tied(text))


def _block(block: Block) -> str:
    match block:
        case Heading():
            return f"<h2>{_said(block.text)}</h2>"
        case Text():
            kind = ' class="quiet"' if block.quiet else ""
            return f"<p{kind}>{_said(block.text)}</p>"
        case Pairs():
            return f"<dl>{_rows(block.rows)}</dl>"
        case Form():
            return f'<dl class="form">{_rows(block.rows)}</dl>'
        case Table():
            return _table(block)
        case Picture():
            return _picture(block)
        case Photo():
            data = b64encode(block.jpeg).decode()
            told = escape(block.told)
            return f'<img class="photo" alt="{told}" src="data:image/jpeg;base64,{data}">'


def _rows(rows: tuple[tuple[str, str], ...]) -> str:
    return "".join(f"<dt>{escape(k)}</dt><dd>{_said(v)}</dd>" for k, v in rows)


def _table(table: Table) -> str:
    def kind(i: int) -> str:
        return ' class="number"' if i in table.numeric else ""

    head = "".join(f"<th{kind(i)}>{escape(h)}</th>" for i, h in enumerate(table.head))
    rows = "".join(
        "<tr>"
        + "".join(
            f'<td data-h="{escape(table.head[i])}"{kind(i)}>{_said(cell)}</td>'
            for i, cell in enumerate(row)
        )
        + "</tr>"
        for row in table.rows
    )
    stack = ' class="stack"' if len(table.head) > 2 else ""
    return f"<table{stack}><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"


def _picture(picture: Picture) -> str:
    drawn = []
    for kind, width, height in (("wide", 720.0, 380.0), ("narrow", 350.0, 360.0)):
        pen = SvgPen(width, height)
        draw(picture.chart, pen, width, height)
        drawn.append(pen.svg(kind, picture.told))
    return "\n".join(drawn)
