"""The record as a PDF, on A4 or Letter; made with reportlab, without a browser."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from typing import Any
from xml.sax.saxutils import escape

from ..errors import BadInput
from .chart import Anchor, Point, draw
from .document import Block, Document, Form, Heading, Pairs, Photo, Picture, Table, Text, tied

MARGIN = 34.0
#: What reportlab leaves free inside its frame.
PADDING = 6.0
INK, QUIET, RULE, WASH = "#1f2a33", "#5b6770", "#c9c6bf", "#f3f0e9"
TONES = {"good": "#2b6a3f", "fair": "#8a5a00", "bad": "#a3261c"}
COLOURS = {
    "grid": "#dddad3", "axis": QUIET, "setpoint": "#77808a", "air": "#c8501e", "part": "#2f7d4f",
    "mould": "#2f7d4f", "ambient": "#2f6fa5", "heater": "#a3261c", "milestone": "#2f7d4f",
    "alarm": "#8a5a00", "trip": "#a3261c", "duty": "#e9b08f",
}  # fmt: skip
DASHES: dict[str, list[float]] = {"setpoint": [4, 2.5], "milestone": [1, 2.5]}
NUMBERED: list[list[float] | None] = [None, [6, 2], [2, 2], [8, 2, 2, 2]]


def pdf(document: Document, paper: str = "a4") -> bytes:
    """The file's bytes.

    Raises:
        BadInput: reportlab is not installed.
    """
    try:
        from reportlab.lib import pagesizes
        from reportlab.platypus import SimpleDocTemplate
    except ImportError:
        raise BadInput(
            "A PDF needs reportlab; install nightcure with its extra 'planning', or write an .html "
            "and print that."
        ) from None
    from .fonts import printable, register

    register()
    size = pagesizes.A4 if paper == "a4" else pagesizes.LETTER
    out = BytesIO()
    template = SimpleDocTemplate(
        out, pagesize=size, leftMargin=MARGIN, rightMargin=MARGIN, topMargin=MARGIN,
        bottomMargin=MARGIN + 12.0, title=printable(document.title), author="nightcure",
        subject=printable(document.verdict),
        keywords=f"nightcure-seal:{document.night_hash} nightcure-notes:{document.notes_hash}",
    )  # fmt: skip
    width = size[0] - 2 * MARGIN - 2 * PADDING
    writer = _Writer(width)
    story = writer.head(document)
    for block in document.blocks:
        story += writer.block(block)

    def foot(canvas: Any, _template: Any) -> None:
        canvas.setFont("Record", 7)
        canvas.setFillColor(QUIET)
        canvas.drawString(MARGIN + PADDING, MARGIN - 4, printable(document.title)[:90])
        canvas.drawRightString(size[0] - MARGIN - PADDING, MARGIN - 4, f"{canvas.getPageNumber()}")

    template.build(story, onFirstPage=foot, onLaterPages=foot)
    return out.getvalue()


class _Writer:
    """Turns blocks into reportlab's flowables."""

    def __init__(self, width: float) -> None:
        from reportlab.lib.styles import ParagraphStyle

        self._width = width
        plain = ParagraphStyle("plain", fontName="Record", fontSize=8.5, leading=11.5,
                               textColor=INK, splitLongWords=1)  # fmt: skip
        self._styles = {
            "plain": plain,
            "quiet": ParagraphStyle("quiet", plain, textColor=QUIET, fontSize=7.5, leading=10),
            "title": ParagraphStyle("title", plain, fontName="Record-Bold", fontSize=14,
                                    leading=18),
            "heading": ParagraphStyle("heading", plain, fontName="Record-Bold", fontSize=10,
                                      leading=13, spaceBefore=10, spaceAfter=3, keepWithNext=1),
            "cell": ParagraphStyle("cell", plain, fontSize=7.5, leading=9.8),
            "head": ParagraphStyle("head", plain, fontSize=7.5, leading=9.8, textColor=QUIET),
            "number": ParagraphStyle("number", plain, fontSize=7.5, leading=9.8, alignment=2),
            "head-number": ParagraphStyle("head-number", plain, fontSize=7.5, leading=9.8,
                                          textColor=QUIET, alignment=2),
            "verdict": ParagraphStyle("verdict", plain, fontName="Record-Bold", fontSize=10.5,
                                      leading=14),
        }  # fmt: skip

    def _said(self, text: str, style: str) -> Any:
        from reportlab.platypus import Paragraph

        from .fonts import printable

        words = escape(printable(tied(text))).replace("\n", "<br/>")
        return Paragraph(words, self._styles[style])

    def head(self, document: Document) -> list[Any]:
        """Title and verdict."""
        from reportlab.platypus import Spacer, TableStyle
        from reportlab.platypus import Table as Grid

        box = Grid([[self._said(document.verdict, "verdict")]], colWidths=[self._width])
        box.setStyle(
            TableStyle(
                [
                    ("BACKGROUND", (0, 0), (-1, -1), WASH),
                    ("LINEBEFORE", (0, 0), (0, -1), 4, TONES[document.tone]),
                    ("LEFTPADDING", (0, 0), (-1, -1), 10),
                    ("TOPPADDING", (0, 0), (-1, -1), 6),
                    ("BOTTOMPADDING", (0, 0), (-1, -1), 7),
                ]
            )
        )
        return [
            self._said(document.title, "title"),
            self._said(document.subtitle, "quiet"),
            Spacer(1, 6),
            box,
            Spacer(1, 8),
        ]

    def block(self, block: Block) -> list[Any]:
        """One block."""
        match block:
            case Heading():
                return [self._said(block.text, "heading")]
            case Text():
                return [self._said(block.text, "quiet" if block.quiet else "plain")]
            case Pairs():
                return [self._pairs(block.rows, ruled=False)]
            case Form():
                return [self._pairs(block.rows, ruled=True)]
            case Table():
                return [self._table(block)]
            case Picture():
                return [_drawing(block, self._width)]
            case Photo():
                return [self._photo(block)]

    def _photo(self, photo: Photo) -> Any:
        from reportlab.platypus import Image

        try:
            width = self._width / 2.0
            return Image(BytesIO(photo.jpeg), width=width, height=width, kind="proportional")
        except Exception:  # whatever a decoder makes of a damaged file: the record is printed
            return self._said("There is a photo, which could not be printed.", "quiet")

    def _pairs(self, rows: tuple[tuple[str, str], ...], ruled: bool) -> Any:
        from reportlab.platypus import Table as Grid
        from reportlab.platypus import TableStyle

        cells = [[self._said(k, "head"), self._said(v, "cell")] for k, v in rows]
        grid = Grid(cells, colWidths=[130.0, self._width - 130.0])
        style: list[Any] = [
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("TOPPADDING", (0, 0), (-1, -1), 5 if ruled else 1),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
        ]
        if ruled:
            style.append(("LINEBELOW", (1, 0), (1, -1), 0.6, QUIET))
        grid.setStyle(TableStyle(style))
        return grid

    def _table(self, table: Table) -> Any:
        from reportlab.platypus import Table as Grid
        from reportlab.platypus import TableStyle

        cells = [
            [self._said(h, "head-number" if i in table.numeric else "head")
             for i, h in enumerate(table.head)]
        ]  # fmt: skip
        cells += [
            [self._said(c, "number" if i in table.numeric else "cell") for i, c in enumerate(row)]
            for row in table.rows
        ]
        grid = Grid(cells, colWidths=self._widths(table), repeatRows=1)
        grid.setStyle(
            TableStyle(
                [
                    ("VALIGN", (0, 0), (-1, -1), "TOP"),
                    ("LINEBELOW", (0, 0), (-1, -1), 0.4, RULE),
                    ("LEFTPADDING", (0, 0), (-1, -1), 0),
                    ("RIGHTPADDING", (0, 0), (-1, -1), 6),
                    ("TOPPADDING", (0, 0), (-1, -1), 2),
                    ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
                ]
            )
        )
        return grid

    def _widths(self, table: Table) -> list[float]:
        """Columns by what they hold: a word, or a figure with its unit, never breaks; long texts
        share the rest, and what is over goes to the last column of words."""
        from reportlab.pdfbase.pdfmetrics import stringWidth

        def wide(text: str) -> float:
            return float(stringWidth(text, "Record", 7.5)) + 8.0

        columns = [[h, *(row[i] for row in table.rows)] for i, h in enumerate(table.head)]
        least = [max(wide(w) for text in c for w in tied(text).split(" ")) for c in columns]
        most = [max(wide(text) for text in c) for c in columns]
        least = [min(value, self._width / len(columns)) for value in least]
        spare, wish = self._width - sum(least), sum(m - n for m, n in zip(most, least, strict=True))
        share = min(spare / wish, 1.0) if wish > 0 else 0.0
        widths = [n + share * (m - n) for n, m in zip(least, most, strict=True)]
        words = [i for i in range(len(widths)) if i not in table.numeric]
        widths[words[-1] if words else 0] += self._width - sum(widths)
        return widths


def _drawing(picture: Picture, width: float) -> Any:
    from reportlab.graphics.shapes import Drawing

    height = 250.0
    drawing = Drawing(width, height)
    draw(picture.chart, _PdfPen(drawing, height), width, height, letter=7.5)
    return drawing


class _PdfPen:
    """Draws into a reportlab drawing, whose origin is its lower left corner."""

    def __init__(self, drawing: Any, height: float) -> None:
        self._drawing, self._height = drawing, height

    def _flat(self, points: Sequence[Point]) -> list[float]:
        return [value for x, y in points for value in (x, self._height - y)]

    def line(self, points: Sequence[Point], style: str, number: int = 0) -> None:
        """A line through points."""
        from reportlab.graphics.shapes import PolyLine
        from reportlab.lib.colors import HexColor

        thin = style in ("grid", "axis")
        self._drawing.add(
            PolyLine(
                self._flat(points), strokeColor=HexColor(COLOURS[style]),
                strokeWidth=0.5 if thin else 1.0, strokeLineJoin=1,
                strokeDashArray=DASHES.get(style) or NUMBERED[min(number, 3)],
            )
        )  # fmt: skip

    def area(self, points: Sequence[Point], style: str) -> None:
        """A filled outline."""
        from reportlab.graphics.shapes import Polygon
        from reportlab.lib.colors import HexColor

        fill = HexColor(COLOURS[style])
        self._drawing.add(Polygon(self._flat(points), fillColor=fill, strokeColor=None))

    def text(self, x: float, y: float, text: str, anchor: Anchor, style: str) -> None:
        """One line of text."""
        from reportlab.graphics.shapes import String
        from reportlab.lib.colors import HexColor

        from .fonts import printable

        del style
        self._drawing.add(
            String(x, self._height - y, printable(text), textAnchor=anchor, fontName="Record",
                   fontSize=7, fillColor=HexColor(QUIET))
        )  # fmt: skip
