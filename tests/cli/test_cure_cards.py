"""`nightcure cure list`, `check` and `new`: cards from data sheets, their gaps told."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from nightcure.cure.card import SHIPPED, load_card, shipped

from .curing import nightcure


@pytest.mark.parametrize("name", shipped())
def test_every_shipped_card_checks(name: str) -> None:
    result = nightcure("cure", "check", name, "--json")
    assert result.exit_code == 0
    found = json.loads(result.stdout)
    assert found["card"] == name
    assert found["sources"]
    assert nightcure("cure", "check", name).exit_code == 0


def test_check_says_what_is_missing(tmp_path: Path) -> None:
    text = (SHIPPED / "polyester-laminating.toml").read_text()
    path = tmp_path / "mine.toml"
    path.write_text(text[: text.index("[demould]")] + text[text.index("[full_cure]") :])
    found = json.loads(nightcure("cure", "check", path, "--json").stdout)
    assert any("leaves the mould" in s for s in found["unanswered"])


def test_list_names_them_all() -> None:
    result = nightcure("cure", "list")
    assert all(name in result.stdout for name in shipped())


ANSWERS = "shed-resin\nShed resin\n10\n\n\n\n240\n20\n2\n20 2 25\n15 2 45\n10 2 95\n\n"


def test_new_asks_and_writes_a_card_that_checks(tmp_path: Path) -> None:
    path = tmp_path / "shed.toml"
    result = nightcure("cure", "new", path, typed=ANSWERS)
    assert result.exit_code == 0, result.stderr
    card = load_card(path)
    assert card.name == "shed-resin"
    assert [r.minutes for r in card.gel] == [25.0, 45.0, 95.0]
    assert card.demould is not None
    assert card.demould.minutes == 240.0
    again = nightcure("cure", "new", path, typed=ANSWERS)
    assert again.exit_code == 2
    assert "exists already" in again.stderr


def test_new_writes_nothing_that_cannot_be_true(tmp_path: Path) -> None:
    path = tmp_path / "shed.toml"
    for typed, sentence in (
        (ANSWERS.replace("20 2 25", "20 2 60"), "does not gel slower when warmer"),
        (ANSWERS.replace("\n240\n", "\n20\n"), "before the gel"),
    ):
        result = nightcure("cure", "new", path, typed=typed)
        assert result.exit_code == 2, typed
        assert sentence in " ".join(result.stderr.split())
        assert not path.exists()


def test_new_asks_again_for_a_row_that_cannot_be(tmp_path: Path) -> None:
    """Fails before this: a catalyst of 12 % was refused at the very end, and all was lost."""
    path = tmp_path / "shed.toml"
    result = nightcure("cure", "new", path, typed=ANSWERS.replace("20 2 25", "20 12 25\n20 2 25"))
    assert result.exit_code == 0, result.stderr
    assert "the catalyst is 12 %; it should be 0.1 to 5 %." in " ".join(result.stderr.split())
    assert [r.minutes for r in load_card(path).gel] == [25.0, 45.0, 95.0]


@pytest.mark.parametrize(
    ("like", "rows", "at_c", "share", "minutes"),
    [
        # The card's 24 h are 72 of its gel times of 20 min, so 72 of the sheet's 15 and 30 min.
        ("polyester-laminating", "25 2 15", 25.0, 2.0, 72 * 15.0),
        ("polyester-laminating", "20 1.5 30\n25 1.5 18", 20.0, 1.5, 72 * 30.0),
        ("epoxy-slow", "25 240", 25.0, None, 24 * 240.0),
    ],
)
def test_a_data_sheet_that_gives_its_gel_at_25_degrees_alone_makes_a_card(
    tmp_path: Path, like: str, rows: str, at_c: float, share: float | None, minutes: float
) -> None:
    """The usual data sheet: one gel time at 25 °C; no demould and no full cure in it."""
    path = tmp_path / "own.toml"
    empty = "\n" * (8 if share is None else 9)
    result = nightcure("cure", "new", path, "--like", like, typed=f"{empty}{rows}\n\n")
    assert result.exit_code == 0, result.stderr
    full = load_card(path).full_cure
    assert full is not None
    assert (full.at_c, full.catalyst_pct) == (at_c, share)
    assert full.minutes == pytest.approx(minutes, abs=0.1)
    assert "gel times" in full.source


def test_a_name_that_cannot_be_says_what_can(tmp_path: Path) -> None:
    typed = ANSWERS.replace("shed-resin", "My Resin\nshed-resin")
    result = nightcure("cure", "new", tmp_path / "own.toml", typed=typed)
    assert result.exit_code == 0
    assert "small letters, digits and dashes" in " ".join(result.stderr.split())
    assert "pattern" not in result.stderr


def test_a_wrong_answer_is_asked_again_and_the_others_are_kept(tmp_path: Path) -> None:
    """Fails before this: one wrong answer threw all away, and 1.1 for a density was refused."""
    typed = (
        "shed-resin\nShed resin\ncold\n10\n900\n\n120\n42\n3\n1,1\n"
        "soon\n240\n20\n2\n20 2\n20 2 25\n15 2 45\n10 2 95\n\n"
    )
    path = tmp_path / "own.toml"
    result = nightcure("cure", "new", path, typed=typed)
    assert result.exit_code == 0, result.stderr
    told = " ".join(result.stderr.split())
    for sentence in (
        "The lowest working temperature is 'cold'; it should be a number, -10 °C to 200 °C.",
        "The highest temperature is 900 °C; it should be 20 °C to 250 °C.",
        "The styrene share is 120 %; it should be 0 to 70 %.",
        "The density is 3 kg/m³; it should be 800 to 2500 kg/m³.",
        "The time to demould is 'soon'; it should be a number, 1 to 100000 minutes.",
        "gel row '20 2' has 2 numbers; like polyester-laminating's it should have three",
    ):
        assert sentence in told
    card = load_card(path)
    assert card.density_kg_per_m3 is not None
    assert card.density_kg_per_m3.value == 1100.0
    assert [r.minutes for r in card.gel] == [25.0, 45.0, 95.0]


def test_a_demould_before_the_gel_is_said_once(tmp_path: Path) -> None:
    typed = ANSWERS.replace("\n240\n", "\n10\n")
    result = nightcure("cure", "new", tmp_path / "own.toml", typed=typed)
    assert result.exit_code == 2
    assert "comes before mixing" not in " ".join(result.stderr.split())


# ---- laminate: what is not seen to the end is not promised -----------------------------------


@pytest.mark.parametrize(
    ("was", "bad", "right"),
    [
        ("value = 0.7,", "value = 0.0,", "it should be 0.05 to 1"),
        ("value = 0.7,", "value = -1.0,", "it should be 0.05 to 1"),
        ("value = 1.4,", "value = 1e300,", "it should be 1 to 20"),
        ("value = 1.4,", "value = 0.9,", "it should be 1 to 20"),
        ("generic = true", "generic = " + 5000 * "[", "nested too deeply"),
    ],
)
def test_a_card_that_cannot_be_read_or_be_true_is_one_sentence(
    tmp_path: Path, was: str, bad: str, right: str
) -> None:
    path = tmp_path / "card.toml"
    text = (SHIPPED / "polyester-laminating.toml").read_text()
    assert was in text
    path.write_text(text.replace(was, bad, 1))
    result = nightcure("cure", "check", path)
    assert result.exit_code == 2
    assert right in " ".join(result.stderr.split())


def test_a_generic_card_says_that_makers_differ(tmp_path: Path) -> None:
    """Common practice, no source."""
    path = tmp_path / "even.csv"
    path.write_text("time_s,part_c\n0,20\n7200,20\n")
    own = tmp_path / "own.toml"
    assert nightcure("cure", "new", own, typed=ANSWERS).exit_code == 0
    for name in shipped():
        generic = "generic" in load_card(name).title
        for command in (("check", name), ("run", name, path)):
            said = " ".join(nightcure("cure", *command).stdout.split())
            assert ("threefold in gel time" in said and "a gel cup" in said) is generic, command
    for command in (("check", own), ("run", own, path)):
        assert "threefold" not in nightcure("cure", *command).stdout, "its gel times are its own"


def test_a_card_that_keeps_the_generic_gel_times_stays_generic(tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    assert nightcure("cure", "new", own, typed="\n" * 10).exit_code == 0
    assert load_card(own).generic


@pytest.mark.parametrize(
    ("like", "row", "right"),
    [
        ("polyester-laminating", "25 15", "it should have three: temperature °C, catalyst %"),
        ("epoxy-slow", "25 2 240", "it should have two: temperature °C, minutes"),
    ],
)
def test_a_gel_row_with_too_few_or_too_many_numbers(
    tmp_path: Path, like: str, row: str, right: str
) -> None:
    typed = "\n" * (9 if like == "polyester-laminating" else 8) + f"{row}\n\n"
    result = nightcure("cure", "new", tmp_path / "own.toml", "--like", like, typed=typed)
    assert result.exit_code == 0, "it is asked again, and the row left out"
    assert right in " ".join(result.stderr.split())
