"""Draws the pictures of hardware-notes: python hardware-notes/draw.py writes them beside itself.

One style, 390 units wide, so that a unit is a pixel on a phone and no text is under 12; dark and
light by the reader's own preference.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from xml.sax.saxutils import escape

HERE = Path(__file__).parent
WIDTH = 390
STYLE = """
    :root { --paper: #fcfbf7; --ink: #1c2126; --soft: #59616a; --part: #ffffff; --hot: #a33a00;
      --cold: #1f5fa8; --earth: #2b7a30; --low: #6b3fa0; --foam: #efe3bd; --air: #4d7fa8 }
    @media screen and (prefers-color-scheme: dark) { :root { --paper: #14181c; --ink: #eceae4;
      --soft: #a9b1b9; --part: #20262c; --hot: #ff9d66; --cold: #7db4f0; --earth: #7fcf84;
      --low: #c3a6f5; --foam: #3d3823; --air: #8fbde0 } }
    .paper { fill: var(--paper) }
    .part { fill: var(--part); stroke: var(--ink); stroke-width: 1.5 }
    .strong { fill: var(--part); stroke: var(--ink); stroke-width: 3 }
    .foam { fill: var(--foam); stroke: var(--ink); stroke-width: 1 }
    .ink { fill: none; stroke: var(--ink); stroke-width: 1.5 }
    .thin { fill: none; stroke: var(--soft); stroke-width: 1 }
    .dash { fill: none; stroke: var(--soft); stroke-width: 1.3; stroke-dasharray: 4 3 }
    .hot { fill: none; stroke: var(--hot); stroke-width: 2.5 }
    .cold { fill: none; stroke: var(--cold); stroke-width: 2.5 }
    .earth { fill: none; stroke: var(--earth); stroke-width: 2.5; stroke-dasharray: 8 4 }
    .low { fill: none; stroke: var(--low); stroke-width: 2 }
    .zero { fill: none; stroke: var(--ink); stroke-width: 2; stroke-dasharray: 2 2 }
    .air { fill: none; stroke: var(--air); stroke-width: 2 }
    .dot { fill: var(--ink) } .heat { fill: var(--hot) } .bulb { fill: var(--low) }
    text { font: 12.5px sans-serif; fill: var(--ink) }
    .b { font-weight: bold } .h { font-weight: bold; font-size: 14px }
    .k { font-size: 12px; fill: var(--soft) } .c { text-anchor: middle } .e { text-anchor: end }
    .lt { fill: var(--hot) } .nt { fill: var(--cold) } .pt { fill: var(--earth) }
    .st { fill: var(--low) }
"""


class Drawing:
    """A picture that grows line by line."""

    def __init__(self, title: str, says: str, height: int) -> None:
        self.height = height
        self.rows = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" role="img" '
            f'aria-labelledby="title desc">',
            f'  <title id="title">{escape(title)}</title>',
            f'  <desc id="desc">{escape(says)}</desc>',
            f"  <style>{STYLE}  </style>",
            f'  <rect class="paper" width="{WIDTH}" height="{height}"/>',
        ]

    def text(self, x: float, y: float, words: str, kind: str = "") -> None:
        """A line of text."""
        marked = f' class="{kind}"' if kind else ""
        self.rows.append(f'  <text{marked} x="{x:g}" y="{y:g}">{escape(words)}</text>')

    def box(
        self, x: float, y: float, wide: float, high: float, *words: str, kind: str = "part",
        round_by: float = 3,
    ) -> None:  # fmt: skip
        """A part, its words in the middle; the first of several is bold."""
        self.rows.append(
            f'  <rect class="{kind}" x="{x:g}" y="{y:g}" width="{wide:g}" height="{high:g}" '
            f'rx="{round_by:g}"/>'
        )
        top = y + high / 2 + 4.5 - 7.5 * (len(words) - 1)
        for i, line in enumerate(words):
            self.text(x + wide / 2, top + 15 * i, line, "c" if i else "c b")

    def line(self, kind: str, *points: tuple[float, float]) -> None:
        """A wire or an edge, corner by corner."""
        path = "M" + " L".join(f"{x:g} {y:g}" for x, y in points)
        self.rows.append(f'  <path class="{kind}" d="{path}"/>')

    def arrow(self, kind: str, *points: tuple[float, float]) -> None:
        """A line with a head at its end."""
        self.line(kind, *points)
        (x0, y0), (x, y) = points[-2:]
        size = max(abs(x - x0), abs(y - y0)) or 1.0
        dx, dy = 6 * (x - x0) / size, 6 * (y - y0) / size
        self.line(kind, (x - dx - dy / 1.5, y - dy + dx / 1.5), (x, y))
        self.line(kind, (x - dx + dy / 1.5, y - dy - dx / 1.5), (x, y))

    def dot(self, x: float, y: float, radius: float = 3, kind: str = "dot") -> None:
        """A joint, a bulb or a probe."""
        self.rows.append(f'  <circle class="{kind}" cx="{x:g}" cy="{y:g}" r="{radius:g}"/>')

    def number(self, x: float, y: float, n: int) -> None:
        """A number that the list below explains."""
        self.rows.append(f'  <circle class="part" cx="{x:g}" cy="{y:g}" r="9"/>')
        self.text(x, y + 4.5, str(n), "c b")

    def earth(self, x: float, y: float) -> None:
        """The sign for earth, its wire coming from above."""
        for i, half in enumerate((9, 6, 3)):
            self.line("ink", (x - half, y + 4 * i), (x + half, y + 4 * i))

    def done(self) -> str:
        """The file."""
        return "\n".join([*self.rows, "</svg>"]) + "\n"


# ---- sheet 1 -----------------------------------------------------------------------------------


def mains() -> str:
    """Mains, in the order of the current."""
    d = Drawing(
        "Circuit, sheet 1: mains",
        "Plug P1, residual-current device RCD1, switch S1 and breaker F1, all in both poles; fan "
        "M1 (mains, or a 12 V fan's own supply) and supply PS1 branch off; cut-outs TC1 and TC2 "
        "and contactor K1 in both poles, relay K2 in one, heater E1. From one bar an earth wire "
        "each goes to heater, foil, moulds, plate, grid, tray, shield, heat sink and fan, and once "
        "to 0 V of PS1.",
        582,
    )
    d.text(12, 22, "Sheet 1: mains, in its own enclosure", "h")
    left, right, x_l, x_n, x_pe = 62, 222, 102, 182, 376
    stages = [
        (36, ("P1  plug",), "part"),
        (86, ("RCD1  30 mA",), "part"),
        (136, ("S1  switch",), "part"),
        (186, ("F1  breaker, 2-pole",), "part"),
        (276, ("TC1  cut-out 65 °C",), "strong"),
        (326, ("TC2  over the heater",), "strong"),
        (376, ("K1  contactor",), "part"),
        (426, ("K2  relay",), "part"),
        (476, ("E1  heater",), "strong"),
    ]
    d.line("hot", (x_l, 64), (x_l, 476))
    d.line("cold", (x_n, 64), (x_n, 476))
    for y, words, kind in stages:
        wide = 80 if words[0].startswith("K2") else right - left
        d.box(left, y, wide, 28, *words, kind=kind)
    d.text(x_l - 14, 80, "L", "b lt")
    d.text(x_n + 6, 80, "N, or second L", "b nt")
    d.text(236, 103, "test it every night", "k")
    d.text(236, 153, "both poles, by the door", "k")
    d.text(236, 196, "fuses: see the words", "k")
    d.text(276, 219, "12 V: by its supply", "k")
    # fan and supply, ahead of the cut-outs
    d.line("hot", (x_l, 232), (246, 232))
    d.line("cold", (x_n, 246), (246, 246))
    d.line("hot", (246, 232), (262, 232), (262, 262), (276, 262))
    d.line("cold", (246, 246), (252, 246), (252, 274), (276, 274))
    d.line("hot", (262, 232), (276, 232))
    d.line("cold", (252, 246), (276, 246))
    for x, y in ((x_l, 232), (262, 232)):
        d.dot(x, y)
    for x, y in ((x_n, 246), (252, 246)):
        d.dot(x, y)
    d.box(276, 224, 84, 28, "M1  fan")
    d.box(276, 256, 84, 28, "PS1  24 V")
    # bulbs and coils
    for y, words in ((294, "bulb, near the top"), (340, "bulb, over E1")):
        d.line("dash", (right, y), (240, y))
        d.dot(246, y, 5, "bulb")
        d.text(256, y + 5, words, "k")
    d.text(230, 387, "both poles; coil: Q1,", "k")
    d.text(230, 402, "GPIO27, header pin 13", "k")
    d.text(230, 437, "input: Q2, GPIO17,", "k")
    d.text(230, 452, "header pin 11", "k")
    # earth, apart: one bar, each thing on a wire of its own
    d.line("earth", (left, 50), (30, 50), (30, 524))
    d.text(12, 44, "PE", "b pt")
    d.box(16, 524, 366, 20, "PE bar, in the enclosure")
    for x, words in ((56, "foil"), (130, "moulds"), (246, "all other metal")):
        d.line("earth", (x, 544), (x, 560))
        d.text(x, 573, words, "c b")
    d.line("earth", (142, 504), (142, 524))
    d.line("earth", (x_pe, 524), (x_pe, 270), (360, 270))
    d.text(368, 484, "0 V to PE,", "e k")
    d.text(368, 499, "here and once", "e k")
    return d.done()


# ---- sheet 2 -----------------------------------------------------------------------------------


def control() -> str:
    """What a person may touch: extra-low voltage."""
    d = Drawing(
        "Circuit, sheet 2: extra-low voltage",
        "Board A1 by GPIO and header pin. GPIO27 with its ground as a pair to driver Q1, GPIO17 "
        "with its ground to driver Q2, a 10 kilohm resistor across each input. 24 V from PS1 "
        "through stop button S2 and Q1 to K1's coil, diode D1 at the coil; 24 V through Q2 to K2's "
        "input; the other end of coil and input on 0 V. S2's second contact on GPIO23. "
        "Thermometers B1 on 3.3 V, GPIO4 and ground, R3 4.7 kilohm. Earth meets 0 V once, at PS1.",
        556,
    )
    d.text(12, 22, "Sheet 2: extra-low voltage, SELV supplies", "h")
    d.box(10, 96, 108, 414, kind="part")
    d.text(64, 114, "A1  board", "c b")
    d.text(64, 129, "GPIO · its pin", "k c")
    rows: list[tuple[float, str, str]] = [
        (160, "GPIO27 · 13", "b"), (180, "ground · 14", ""), (280, "GPIO17 · 11", "b"),
        (300, "ground · 9", ""), (370, "GPIO23 · 16", "b"), (390, "ground · 20", ""),
        (440, "3.3 V · 1", ""), (460, "GPIO4 · 7", "b"), (480, "ground · 6", ""),
    ]  # fmt: skip
    for y, words, weight in rows:
        d.text(113, y + 4, words, f"e {weight}".strip())
    # the 24 V supply, and where 0 V meets earth
    d.box(254, 36, 124, 32, "PS1  24 V DC")
    d.text(330, 84, "+", "b st")
    d.text(276, 84, "0 V", "b")
    d.line("zero", (266, 68), (266, 300))
    d.line("earth", (254, 52), (206, 52), (206, 66))
    d.earth(206, 68)
    d.text(12, 50, "earth meets 0 V here,", "k")
    d.text(12, 65, "once, and nowhere else", "k")
    # K1's coil
    d.line("low", (344, 68), (344, 94))
    d.box(300, 94, 80, 26, "S2  stop")
    d.line("low", (314, 120), (314, 128), (209, 128), (209, 148))
    d.box(322, 148, 44, 26, "K1")
    d.line("low", (232, 160), (274, 160), (274, 138), (344, 138), (344, 148))
    d.line("zero", (344, 174), (344, 180), (266, 180))
    d.line("low", (302, 138), (302, 148))
    d.line("zero", (302, 162), (302, 180))
    d.line("ink", (295, 162), (309, 162), (302, 149), (295, 162))
    d.line("ink", (295, 148), (309, 148))
    d.dot(302, 138)
    d.dot(302, 180)
    d.text(294, 159, "D1", "e k")
    d.text(350, 145, "A1", "k")
    d.text(350, 187, "A2", "k")
    # drivers
    for y, name, resistor in ((160, "Q1", "R1"), (280, "Q2", "R2")):
        d.line("low", (118, y), (186, y))
        d.line("zero", (118, y + 20), (186, y + 20))
        d.box(186, y - 12, 46, 44, name, "driver")
        d.line("zero", (232, y + 20), (266, y + 20))
        d.dot(266, y + 20)
        d.box(142, y + 3, 14, 14)
        d.line("ink", (149, y), (149, y + 3))
        d.line("ink", (149, y + 17), (149, y + 20))
        d.text(149, y + 36, f"{resistor} 10 kΩ", "c k")
    d.line("low", (232, 280), (300, 280))
    d.box(300, 252, 80, 40, "K2", "input")
    d.line("low", (344, 81), (386, 81), (386, 240), (209, 240), (209, 268))
    d.dot(344, 81)
    d.line("zero", (340, 292), (340, 300), (266, 300))
    d.text(286, 275, "+", "b st")
    d.text(346, 306, "−", "b")
    # stop button's second contact
    d.line("low", (118, 370), (200, 370))
    d.line("zero", (118, 390), (200, 390))
    d.box(200, 358, 178, 44, "S2  second contact", "closes; tells the loop")
    # thermometers
    for y, kind in ((440, "low"), (460, "low"), (480, "zero")):
        d.line(kind, (118, y), (378, y))
    d.box(132, 443, 14, 14)
    d.line("ink", (139, 440), (139, 443))
    d.line("ink", (139, 457), (139, 460))
    d.text(154, 500, "R3 4.7 kΩ", "c k")
    for i, name in enumerate(("air", "part", "shield", "shed")):
        d.box(180 + 50 * i, 432, 46, 56, name, round_by=6)
    d.text(376, 505, "B1 …  three wires, in a line", "e k")
    d.text(12, 532, "dotted: 0 V, drawn beside the wire it belongs to;", "k")
    d.text(12, 548, "each pair in one cable. Earth is no 0 V.", "k")
    return d.done()


# ---- the header --------------------------------------------------------------------------------

#: Header pin -> name; GPIO and header numbers are not the same.
HEADER = {
    1: "3.3 V", 2: "5 V", 3: "GPIO2", 4: "5 V", 5: "GPIO3", 6: "ground", 7: "GPIO4", 8: "GPIO14",
    9: "ground", 10: "GPIO15", 11: "GPIO17", 12: "GPIO18", 13: "GPIO27", 14: "ground",
    15: "GPIO22", 16: "GPIO23", 17: "3.3 V", 18: "GPIO24", 19: "GPIO10", 20: "ground",
    21: "GPIO9", 22: "GPIO25", 23: "GPIO11", 24: "GPIO8", 25: "ground", 26: "GPIO7", 27: "GPIO0",
    28: "GPIO1", 29: "GPIO5", 30: "ground", 31: "GPIO6", 32: "GPIO12", 33: "GPIO13", 34: "ground",
    35: "GPIO19", 36: "GPIO16", 37: "GPIO26", 38: "GPIO20", 39: "ground", 40: "GPIO21",
}  # fmt: skip
USED = {
    1: "probes", 6: "probes", 7: "probes", 9: "Q2's pair", 11: "K2 by Q2",
    13: "K1 by Q1", 14: "Q1's pair", 15: "fan, if any", 16: "stop, S2", 20: "S2's pair",
}  # fmt: skip
NEVER = {8: "console: never", 10: "console: never", 17: "not GPIO17!", 27: "not GPIO27!"}


def header() -> str:
    """The board's forty pins, seen from above."""
    d = Drawing(
        "The board's header",
        "; ".join(f"header pin {n}: {HEADER[n]}, {USED[n]}" for n in sorted(USED)),
        532,
    )
    d.text(12, 22, "Header, from above: pin 1 at the card's end", "h")
    d.text(12, 40, "oven.toml has GPIO numbers, not header pins", "k")
    d.box(152, 50, 86, 440, kind="strong")
    for n, name in HEADER.items():
        y = 63 + 21.8 * ((n - 1) // 2)
        odd = n % 2 == 1
        x = 183 if odd else 207
        used, never = USED.get(n), NEVER.get(n)
        d.rows.append(
            f'  <circle class="{"bulb" if used else "part"}" cx="{x}" cy="{y:g}" r="4.5"/>'
        )
        words = name if not (used or never) else f"{name}  {used or never}"
        if odd:
            words = name if not (used or never) else f"{used or never}  {name}"
        kind = "b" if used else "lt" if never else "k"
        d.text(146 if odd else 244, y + 4.5, words, f"{kind} e" if odd else kind)
        d.text(175 if odd else 215, y + 4, str(n), "k e" if odd else "k")
    d.text(12, 508, "Even pins at the board's edge. GPIO0–8 are pulled up", "k")
    d.text(12, 523, "while it boots: never an output. 9–27 are pulled down.", "k")
    return d.done()


# ---- section through the box -------------------------------------------------------------------


def section() -> str:
    """The box, cut along its length."""
    d = Drawing(
        "Section through the box",
        "Heater at one end behind a metal shield and under a drip tray, 100 mm from foam and 200 "
        "mm from the parts; fan above it; air goes up, along under the lid, down and back under "
        "the parts on their grid. Cut-out bulbs near the top and above the heater, their heads "
        "outside. Air sensor among the parts, probe on the shield. Small holes with baffles low "
        "and high at opposite ends. Lid held by weight or magnets. Everything metal earthed.",
        548,
    )
    d.text(12, 22, "Section, not to scale", "h")
    # foam: bottom, ends, lid
    d.box(26, 290, 338, 18, kind="foam", round_by=0)
    d.box(26, 96, 18, 194, kind="foam", round_by=0)
    d.box(346, 96, 18, 194, kind="foam", round_by=0)
    d.box(22, 74, 346, 18, kind="foam", round_by=0)
    d.box(16, 310, 358, 12, kind="part", round_by=0)
    # heater, shield, tray, fan
    d.box(76, 254, 54, 14, kind="heat", round_by=7)
    d.line("ink", (62, 244), (62, 280), (144, 280), (144, 236))
    d.line("ink", (58, 226), (60, 232), (148, 226), (150, 220))
    d.box(84, 176, 38, 14, kind="part", round_by=7)
    d.line("thin", (90, 183), (116, 183))
    # grid and parts
    d.line("ink", (204, 262), (330, 262))
    for x in (210, 324):
        d.line("ink", (x, 262), (x, 290))
    d.line("ink", (212, 258), (222, 238), (312, 238), (322, 258), (212, 258))
    d.line("hot", (222, 236), (312, 236))
    # the air's way
    d.arrow("air", (103, 214), (103, 196))
    d.arrow("air", (103, 170), (103, 122), (240, 122))
    d.arrow("air", (260, 122), (330, 122), (330, 206))
    d.arrow("air", (330, 222), (336, 276), (226, 276))
    d.arrow("air", (200, 276), (160, 276))
    # bulbs, probes, heads
    d.dot(290, 106, 5, "bulb")
    d.line("dash", (290, 106), (376, 106), (376, 55), (352, 55))
    d.box(300, 44, 52, 22, "TC1")
    d.dot(138, 208, 5, "bulb")
    d.line("dash", (138, 208), (132, 150), (14, 150), (14, 55), (38, 55))
    d.box(38, 44, 52, 22, "TC2")
    d.dot(190, 232, 4)
    d.line("dash", (190, 232), (190, 302), (196, 330))
    d.dot(62, 262, 4)
    d.line("dash", (62, 262), (52, 284), (52, 330))
    # holes with baffles
    d.line("paper", (26, 268), (44, 268))
    d.box(26, 262, 18, 10, kind="paper", round_by=0)
    d.line("ink", (50, 256), (50, 276))
    d.box(346, 150, 18, 10, kind="paper", round_by=0)
    d.line("ink", (340, 142), (340, 168))
    # earth
    d.line("earth", (354, 308), (354, 334))
    d.earth(354, 338)
    # distances
    d.arrow("thin", (146, 250), (208, 250))
    d.arrow("thin", (208, 250), (146, 250))
    places = [
        (103, 287, 1), (66, 216, 2), (68, 183, 3), (270, 222, 4), (176, 262, 5), (272, 106, 6),
        (154, 196, 7), (182, 214, 8), (52, 342, 9), (12, 267, 10), (378, 155, 10), (195, 83, 11),
        (380, 344, 12),
    ]  # fmt: skip
    for x, y, n in places:
        d.number(min(max(x, 12), 378), y, n)
    words = [
        "1  heater E1, black heat, behind its shield",
        "2  drip tray; 100 mm from heater to foam",
        "3  fan M1: up, under the lid, back below",
        "4  parts on a grid, 50 mm over the floor",
        "5  heater to parts: 200 mm and more",
        "6  bulb of TC1, near the top; its head is outside",
        "7  bulb of TC2, above the heater; head outside",
        "8  air sensor, among the parts, out of sight of 1",
        "9  probe on the shield (role heater, 110 °C)",
        "10  holes of 20 mm with baffles, for gelled parts",
        "11  lid held by weight or magnets: it lifts",
        "12  foil, tray, shield, moulds: earthed; on tiles",
    ]
    for i, line in enumerate(words):
        d.text(12, 368 + 15.5 * i, line)
    return d.done()


# ---- the whole on one bench --------------------------------------------------------------------


def bench() -> str:
    """The path without mains wiring."""
    d = Drawing(
        "Without mains wiring: the whole on one bench",
        "From one socket, plugged one into the other: residual-current device RCD1, contactor box "
        "K1, contactor box K2, over-temperature limiter TC1, heater E1 in the box. On two other "
        "sockets: supply PS2 of the board A1, and PS3, the fan's, always on. Two pairs of thin "
        "wires, GPIO27 to K1 and GPIO17 to K2, each with a 10 kilohm resistor.",
        552,
    )
    d.text(12, 22, "Everything with mains is bought, and plugged", "h")
    d.box(12, 36, 366, 34, kind="part")
    d.text(85, 57, "socket 1, alone", "c b")
    d.text(250, 57, "socket 2", "c b")
    d.text(334, 57, "socket 3", "c b")
    for x in (85, 250, 330):
        d.dot(x, 70, 4)
    chain: list[tuple[float, Sequence[str]]] = [
        (92, ("RCD1  portable", "30 mA, test button")),
        (160, ("K1  contactor box", "GPIO27 · pin 13")),
        (228, ("K2  contactor box", "GPIO17 · pin 11")),
        (296, ("TC1  limiter", "bulb in the box")),
    ]
    for (y, words), after in zip(chain, [70.0, 134.0, 202.0, 270.0], strict=True):
        d.line("hot", (85, after), (85, y))
        d.box(18, y, 134, 42, *words, kind="strong" if words[0].startswith("TC1") else "part")
    d.text(92, 152, "plug into socket", "k")
    # the box
    d.box(12, 384, 366, 110, kind="foam", round_by=4)
    d.box(26, 398, 338, 82, kind="part", round_by=2)
    d.line("hot", (85, 338), (85, 432))
    d.box(42, 432, 86, 24, "E1  heater", kind="strong")
    d.line("dash", (152, 318), (176, 318), (176, 410))
    d.dot(176, 414, 5, "bulb")
    d.box(232, 404, 104, 26, "parts, probes")
    d.text(200, 470, "the box", "c b")
    # the second socket
    d.line("hot", (250, 70), (250, 92))
    d.line("hot", (330, 70), (330, 92))
    d.box(204, 92, 88, 42, "PS2", "board, SELV")
    d.box(298, 92, 80, 42, "PS3", "fan, 12 V")
    d.line("low", (250, 134), (250, 172))
    d.box(204, 172, 100, 96, "A1", "board, in", "a closed box")
    d.line("low", (344, 134), (344, 446), (330, 446))
    d.box(250, 436, 80, 24, "M1  fan")
    d.text(350, 300, "stays", "k")
    d.text(350, 315, "on", "k")
    # the two pairs, each with its resistor
    for y in (181, 249):
        d.line("low", (152, y - 5), (204, y - 5))
        d.line("zero", (152, y + 5), (204, y + 5))
        d.box(172, y - 5, 10, 10)
        d.text(178, y + 20, "10 kΩ", "c k")
    # thermometers
    d.line("low", (262, 268), (262, 404))
    d.line("low", (270, 268), (270, 404))
    d.line("zero", (278, 268), (278, 404))
    d.text(285, 300, "three", "k")
    d.text(285, 315, "wires", "k")
    d.text(12, 514, "No extension lead, no multi-way block. Watts that,", "k")
    d.text(12, 530, "stuck on, cannot bring the box above 70 °C.", "k")
    d.text(12, 546, "Nobody sleeps in, over or attached to the building.", "k")
    return d.done()


PICTURES: dict[str, Callable[[], str]] = {
    "section.svg": section,
    "header.svg": header,
    "circuit-mains.svg": mains,
    "circuit-control.svg": control,
    "bench.svg": bench,
}

if __name__ == "__main__":
    for name, draw in PICTURES.items():
        (HERE / name).write_text(draw(), encoding="utf-8")
        print(name)
