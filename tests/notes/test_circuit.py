"""The circuit's list of connections against itself, the drawings, the text and the parts.

The order of the mains side and what each part opens: an excess-temperature limit that works by
itself (NFPA 86's idea), both poles on a plug that can be turned, a diode at the coil, earth and 0 V
joined once. Header pins: the board's own numbering (Raspberry Pi documentation).
"""

from __future__ import annotations

import re

import pytest

from nightcure.settings import HEADER_PINS

from .pages import NOTES, PAGES, pictures, rows

DRAW = pictures()
MAINS, LOW = (rows("netlist.md", f"Sheet {n}") for n in ("1, mains", "2, extra-low voltage"))
#: The order in which the current meets them.
CHAIN = ("P1", "RCD1", "S1", "F1", "TC1", "TC2", "K1", "K2", "E1")
#: Of each two-pole part: in -> out.
POLES = {"1": "2", "3": "4"}
#: GPIO -> header pin, by the board's documentation.
PINS = {4: 7, 17: 11, 22: 15, 23: 16, 27: 13}
GROUNDS = {6, 9, 14, 20, 25, 30, 34, 39}


def part(terminal: str) -> str:
    return terminal.split(".")[0]


def joined(nets: list[list[str]]) -> dict[str, set[str]]:
    """Terminal -> all that a wire joins to it."""
    groups: list[set[str]] = []
    for _, a, b in nets:
        touching = [g for g in groups if g & {a, b}]
        groups = [g for g in groups if not g & {a, b}]
        groups.append(set().union(*touching, {a, b}))
    return {terminal: group for group in groups for terminal in group}


def way(start: str) -> list[str]:
    """The parts that one conductor passes from the plug to the heater."""
    wires = joined([n for n in MAINS if n[0] in ("L", "N")])
    passed, here = [part(start)], start
    while part(here) != "E1":
        onward = [t for t in wires[here] if part(t) != part(here) and part(t) not in ("M1", "PS1")]
        (here,) = onward
        passed.append(part(here))
        if part(here) == "E1":
            break
        here = f"{part(here)}.{POLES[here.split('.')[1]]}"
    return passed


def test_both_conductors_pass_what_opens_without_the_board() -> None:
    """Fails before this: fuse and cut-out stood in one conductor of a plug that can be turned."""
    assert way("P1.L") == list(CHAIN)
    assert way("P1.N") == [p for p in CHAIN if p != "K2"]


def test_the_fan_is_fed_ahead_of_all_that_cuts_the_heater() -> None:
    """Fails before this: it stopped with the heater still hot."""
    for pole, terminal in (("L", "F1.2"), ("N", "F1.4")):
        assert [pole, terminal, f"M1.{pole}"] in MAINS
        assert [pole, terminal, f"PS1.{pole}"] in MAINS


def test_earth_is_joined_to_0_v_once_and_to_no_other_wire() -> None:
    earth = joined([n for n in MAINS if n[0] == "PE"])["PE.bar"]
    live = {t for n in MAINS if n[0] in ("L", "N") for t in n[1:]}
    assert not earth & live
    assert [t for t in earth if part(t) == "PS1"] == ["PS1.minus"]
    assert {"E1.PE", "BOX.foil", "BOX.moulds", "BOX.plate"} <= earth
    zero = joined([n for n in LOW if n[0] == "0V"])["PS1.minus"]
    assert zero & earth == {"PS1.minus"}
    assert not any("PE" in n[0] for n in LOW)


def test_nothing_of_the_low_side_touches_the_mains() -> None:
    mains = {t for n in MAINS if n[0] in ("L", "N") for t in n[1:]}
    assert not mains & {t for n in LOW for t in n[1:]}


def test_the_diode_is_at_the_coil_behind_the_stop_contact() -> None:
    """Fails before this: it was drawn at the driver, ahead of the stop button's contact."""
    wires = joined(LOW)
    assert {"D1.K", "Q1.out"} <= wires["K1.A1"]
    assert "D1.A" in wires["K1.A2"]
    assert "S2.1" in wires["PS1.plus"]
    assert "Q1.plus" in wires["S2.2"]
    assert not {"K1.A1", "Q1.plus"} & wires["PS1.plus"]


def test_a_wire_that_touches_earth_closes_nothing() -> None:
    """Fails before this: coil and input were switched in the minus side, and 0 V is earthed.

    IEC 60204-1, 9.4.3 (from memory): coils on the earthed side, contacts in the other.
    """
    wires = joined(LOW)
    assert {"K1.A2", "K2.minus"} <= wires["PS1.minus"]
    assert not {"K1.A1", "K2.plus"} & (wires["PS1.minus"] | wires["PS1.plus"])
    assert "Q2.out" in wires["K2.plus"]
    assert "Q2.plus" in wires["PS1.plus"]


def test_each_resistor_is_at_its_drivers_input() -> None:
    wires = joined(LOW)
    for resistor, driver, gpio in (("R1", "Q1", 27), ("R2", "Q2", 17)):
        assert {f"{resistor}.1", f"A1.{PINS[gpio]}"} <= wires[f"{driver}.in"]
        assert f"{resistor}.2" in wires[f"{driver}.0V"]
        assert wires[f"{driver}.in"] & wires[f"{driver}.0V"] == set()


def test_every_signal_has_its_own_ground_beside_it() -> None:
    """Pairs: each board pin that leaves for a part has a ground pin that goes to the same part."""
    for gpio, to in ((27, "Q1"), (17, "Q2"), (23, "S2"), (4, "B1")):
        assert any(n[0] == f"GPIO{gpio}" and n[1] == f"A1.{PINS[gpio]}" for n in LOW)
        (ground,) = [n for n in LOW if n[0] == "0V" and part(n[1]) == "A1" and part(n[2]) == to]
        assert int(ground[1].split(".")[1]) in GROUNDS


def test_gpio_numbers_and_header_pins_agree_everywhere() -> None:
    """Fails before this: 'pin 17' could be read as the header's 3.3 V, 'pin 27' as GPIO0."""
    assert {n: DRAW.HEADER[p] for n, p in PINS.items()} == {n: f"GPIO{n}" for n in PINS}
    assert {HEADER_PINS[n] for n in PINS if n in HEADER_PINS} <= set(PINS.values())
    for gpio, pin in HEADER_PINS.items():
        assert DRAW.HEADER[pin] == f"GPIO{gpio}"
    assert {p for p, name in DRAW.HEADER.items() if name == "ground"} == GROUNDS
    for net, a, _ in LOW:
        if net.startswith("GPIO") and part(a) == "A1":
            assert int(a.split(".")[1]) == PINS[int(net[4:])]
    pairs = r"GPIO(\d+)(?: \(header pin| is header pin| is| · pin| ·|, header pin) (\d+)"
    texts = [*PAGES.values(), *(draw() for draw in DRAW.PICTURES.values())]
    found = [pair for text in texts for pair in re.findall(pairs, text)]
    assert len(found) > 15
    for gpio, pin in found:
        assert PINS[int(gpio)] == int(pin), f"GPIO{gpio} and header pin {pin}"
    for name, text in PAGES.items():
        bare = re.findall(r"(?<!header )(?<!\*Header\* )(?<!\*header\* )\bpin (?:4|17|22|23|27)\b",
                          text)  # fmt: skip
        assert bare == [], name


@pytest.mark.parametrize("sheet", [MAINS, LOW], ids=["mains", "low"])
def test_every_part_is_in_the_list_of_parts_the_text_and_the_drawing(
    sheet: list[list[str]],
) -> None:
    drawn = DRAW.mains() if sheet is MAINS else DRAW.control()
    names = {part(t) for n in sheet for t in n[1:]} - {"BOX", "PE"}
    for name in sorted(names):
        word = rf"\b{name}\b"
        assert re.search(word, PAGES["bill-of-materials.md"]), f"{name} is no part"
        assert re.search(word, PAGES["wiring.md"] + PAGES["netlist.md"]), f"{name} is not told"
        assert re.search(word, drawn), f"{name} is not drawn"


def test_the_text_follows_the_order_of_the_list() -> None:
    told = [row[0] for row in _first_table("wiring.md")]
    assert [p for p in told if p in CHAIN or p == "TC1, TC2"] == [
        "RCD1", "S1", "F1", "TC1, TC2", "K1", "K2", "E1",
    ]  # fmt: skip


def _first_table(page: str) -> list[list[str]]:
    lines = PAGES[page].splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("|"))
    out = []
    for line in lines[start + 2 :]:
        if not line.startswith("|"):
            break
        out.append([cell.strip() for cell in line.strip("|").split("|")])
    return out


# ---- drawings ----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", sorted(DRAW.PICTURES))
def test_a_drawing_is_as_it_is_drawn(name: str) -> None:
    drawn = DRAW.PICTURES[name]()
    assert (NOTES / name).read_text(encoding="utf-8") == drawn, "python hardware-notes/draw.py"
    assert any(f"]({name})" in text for text in PAGES.values()), "it is on no page"


@pytest.mark.parametrize("name", sorted(DRAW.PICTURES))
def test_a_drawing_can_be_read_on_a_phone_and_in_the_dark(name: str) -> None:
    """390 px wide: a unit is a pixel, and no text is under 11 px."""
    text = DRAW.PICTURES[name]()
    wide, high = re.findall(r'viewBox="0 0 (\d+) (\d+)"', text)[0]
    assert wide == "390"
    assert int(high) <= 1.5 * 390, "on paper 170 mm wide it has to fit a page"
    sizes = [float(s) for s in re.findall(r"(?:font:|font-size:) ?([\d.]+)px", text)]
    assert min(sizes) >= 11.0
    assert "prefers-color-scheme: dark" in text
    assert "<title" in text
    assert "<desc" in text
