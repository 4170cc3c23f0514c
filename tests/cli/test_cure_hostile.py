"""Cards and histories that are wrong: each a sentence, nothing half done."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from nightcure.cure.card import SHIPPED

from .curing import GOOD, nightcure


def csv(*rows: str) -> Callable[[Path], list[str]]:
    """A history of these rows on a good card."""

    def make(folder: Path) -> list[str]:
        (folder / "h.csv").write_text("time_s,part_c\n" + "".join(f"{r}\n" for r in rows))
        return ["polyester-laminating", str(folder / "h.csv")]

    return make


def card(old: str, new: str) -> Callable[[Path], list[str]]:
    """A good history on a card with one thing changed."""

    def make(folder: Path) -> list[str]:
        text = (SHIPPED / "polyester-laminating.toml").read_text()
        assert old in text
        (folder / "c.toml").write_text(text.replace(old, new, 1))
        (folder / "h.csv").write_text(GOOD)
        return [str(folder / "c.toml"), str(folder / "h.csv")]

    return make


def option(*more: str) -> Callable[[Path], list[str]]:
    def make(folder: Path) -> list[str]:
        (folder / "h.csv").write_text(GOOD)
        return ["polyester-laminating", str(folder / "h.csv"), *more]

    return make


def raw(content: bytes) -> Callable[[Path], list[str]]:
    def make(folder: Path) -> list[str]:
        (folder / "h.csv").write_bytes(content)
        return ["polyester-laminating", str(folder / "h.csv")]

    return make


def broken_card(folder: Path) -> list[str]:
    (folder / "c.toml").write_text("name = [")
    (folder / "h.csv").write_text(GOOD)
    return [str(folder / "c.toml"), str(folder / "h.csv")]


def no_history(folder: Path) -> list[str]:
    return ["polyester-laminating", str(folder / "absent.csv")]


def no_card(folder: Path) -> list[str]:
    (folder / "h.csv").write_text(GOOD)
    return ["unobtainium", str(folder / "h.csv")]


HOSTILE: dict[str, tuple[Callable[[Path], list[str]], str]] = {
    "nan temperature": (csv("0,20", "60,nan", "120,20"), "line 3: part_c is 'nan'"),
    "infinite time": (csv("0,20", "inf,20"), "time_s is 'inf'"),
    "words": (csv("0,20", "60,warm"), "part_c is 'warm'; it must be a number"),
    "a column short": (csv("0,20", "60"), "part_c is ''"),
    "empty file": (raw(b""), "must name the columns time_s,part_c"),
    "header alone": (csv(), "has 0 rows"),
    "one row": (csv("0,20"), "needs at least two"),
    "other columns": (raw(b"t,temp\n0,20\n60,20\n"), "the first line is 't,temp'"),
    "binary": (raw(b"\xff\xfe\x00time_s"), "cannot be read"),
    "no such file": (no_history, "cannot be read"),
    "negative time": (csv("-60,20", "0,20", "60,20"), "it counts from the mixing"),
    "-40 degrees": (csv("0,20", "60,-40", "120,20"), "part_c is -40"),
    "400 degrees": (csv("0,20", "60,400", "120,20"), "part_c is 400"),
    "a gap of hours": (csv("0,20", "60,20", "120,20", "18120,20"), "nothing is known for 5 h"),
    "duplicate": (csv("0,20", "60,20", "60,21"), "stands there twice"),
    "unsorted": (csv("0,20", "120,20", "60,20"), "sort the rows"),
    "clock of an epoch": (csv("1700000000,20", "1700000300,20"), "begins at 1700000000; it counts"),
    "half a year": (csv("0,20", "16000000,20"), "more than 60 days"),
    "no catalyst": (option("--catalyst-pct", "0"), "none for 0 %"),
    "12 % catalyst": (option("--catalyst-pct", "12"), "none for 12 %"),
    "nan catalyst": (option("--catalyst-pct", "nan"), "none for nan %"),
    "no such card": (no_card, "there is no resin card 'unobtainium'"),
    "no TOML": (broken_card, "is not TOML"),
    "card with 12 %": (card("catalyst_pct = 1.0", "catalyst_pct = 12.0"), "at most 5"),
    "negative density": (card("value = 1130.0", "value = -1130.0"), "800 to 2500"),
    "nan in a card": (card("value = 1130.0", "value = nan"), "finite"),
    "negative gel time": (card("minutes = 110.0", "minutes = -110.0"), "above 0"),
    "gel after demould": (card("\nlow_minutes = 120.0", "\nlow_minutes = 15.0"), "before the gel"),
    "slower when warm": (card("minutes = 110.0", "minutes = 11.0"), "slower when warmer"),
    "-40 in a card": (card("temp_c = 15.0", "temp_c = -40.0"), "at least -10"),
    "400 in a card": (card("temp_c = 15.0", "temp_c = 400.0"), "at most 250"),
    "a source missing": (
        card(', source = "common practice, no source" }', " }"),
        "source is missing",
    ),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_cards_and_histories(name: str, tmp_path: Path) -> None:
    """Each a sentence and exit 2, on standard error alone, nothing written."""
    make, sentence = HOSTILE[name]
    arguments = make(tmp_path)
    before = sorted((p.name, p.read_bytes()) for p in tmp_path.iterdir())
    result = nightcure("cure", "run", *arguments, "--json")
    assert result.exit_code == 2, result.stdout
    assert sentence in " ".join(result.stderr.split())
    assert "Traceback" not in result.stderr
    assert result.stdout == ""
    assert sorted((p.name, p.read_bytes()) for p in tmp_path.iterdir()) == before


def test_there_are_twenty_and_more() -> None:
    assert len(HOSTILE) >= 20
