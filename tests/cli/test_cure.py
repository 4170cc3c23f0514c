"""`nightcure cure`: figures a program can read, mistakes told in a sentence, nothing half done."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from nightcure.cli.main import app
from nightcure.cure.card import SHIPPED, load_card, shipped
from nightcure.profile import load_profile
from nightcure.scenario import OVEN_FILE, PROFILES
from tests.recording import RecordedOven

UNTIL_DEMOULD = PROFILES / "until-demould.toml"
GOOD = "time_s,part_c\n0,20\n3600,20\n7200,20\n10800,20\n14400,20\n"


def nightcure(*arguments: str | Path, typed: str | None = None) -> Result:
    return CliRunner().invoke(app, [str(a) for a in arguments], input=typed)


def cured(card: str | Path, history: Path, *more: str) -> dict[str, Any]:
    result = nightcure("cure", "run", card, history, "--json", *more)
    assert result.exit_code == 0, result.stderr
    found: dict[str, Any] = json.loads(result.stdout)
    return found


@pytest.fixture
def history(tmp_path: Path) -> Path:
    path = tmp_path / "history.csv"
    path.write_text(GOOD)
    return path


def test_a_generic_card_tells_milestones_degree_and_glass(history: Path) -> None:
    found = cured("polyester-laminating", history)
    assert {"degree_of_cure", "tg_c", "equivalent_min", "milestones"} <= found.keys()
    assert found["equivalent_min"] == pytest.approx(240.0)
    assert found["reference_c"] == 20.0
    by_name = {m["name"]: m for m in found["milestones"]}
    assert by_name["gelled"]["at_s"] == 1200.0
    assert by_name["demould"]["at_s"] == 10800.0
    assert by_name["demould"]["low_s"] == 6840.0
    assert by_name["demould"]["high_s"] is None, "the latest is not over yet"
    assert by_name["full"]["at_s"] is None
    assert 0.7 < found["degree_of_cure"] < 0.9
    assert 15.0 < found["tg_c"] < 50.0


@pytest.mark.parametrize(
    ("card", "temp_c", "minutes", "degree", "close"),
    [
        ("bogetti-gillespie-1991", 90, 60, 0.437526, 1e-4),  # closed form, m + n = 2
        ("lee-loos-springer-1982", 150, 120, 0.9243, 0.005 * 0.9243),  # published set, evaluated
    ],
)
def test_reference_cards_by_name(
    tmp_path: Path, card: str, temp_c: int, minutes: int, degree: float, close: float
) -> None:
    path = tmp_path / "held.csv"
    path.write_text(f"time_s,part_c\n0,{temp_c}\n{60 * minutes},{temp_c}\n")
    found = cured(card, path)
    assert found["degree_of_cure"] == pytest.approx(degree, abs=close)
    assert found["milestones"] == []


def test_more_catalyst_gels_sooner(history: Path) -> None:
    times = [
        cured("polyester-gelcoat", history, "--catalyst-pct", share)["milestones"][0]["at_s"]
        for share in ("1", "2", "3")
    ]
    assert times == sorted(times, reverse=True)
    assert times[0] == 45 * 60


def test_the_plot_and_the_words(history: Path) -> None:
    result = nightcure("cure", "run", "polyester-laminating", history)
    assert result.exit_code == 0
    for words in ("demould", "3 h 00 min", "degree of cure", "glass transition", "hours"):
        assert words in result.stdout


def test_a_cold_spell_is_spoken_of(tmp_path: Path) -> None:
    path = tmp_path / "cold.csv"
    path.write_text("time_s,part_c\n0,5\n3600,5\n7200,5\n")
    result = nightcure("cure", "run", "polyester-laminating", path)
    assert "no data" in result.stdout
    assert "do not expect a cure" in " ".join(result.stdout.split())


def said_of(tmp_path: Path, rows: str) -> str:
    path = tmp_path / "told.csv"
    path.write_text("time_s,part_c\n" + rows)
    return " ".join(nightcure("cure", "run", "polyester-laminating", path).stdout.split())


def test_what_lies_outside_the_card_is_told_as_it_was(tmp_path: Path) -> None:
    """2 %: gel rows from 10 °C up, to be worked from 5 to 60 °C; it gels in 20 min at 20 °C."""
    after = said_of(tmp_path, "0,20\n7200,20\n10800,7\n14400,7\n")
    assert "stood still" not in after, "7 °C after the gel is within the card"
    assert "as much as" in after
    frosty = said_of(tmp_path, "0,20\n7200,20\n10800,2\n14400,2\n")
    assert "colder than 5 °C after it gelled" in frosty
    assert "gel clock" not in frosty
    liquid = said_of(tmp_path, "0,8\n43200,8\n")
    assert "not gelled" in liquid
    assert "as much as" not in liquid
    assert "70 °C, hotter than the 60 °C its card allows" in said_of(tmp_path, "0,68\n3600,70\n")


def test_a_first_row_a_little_after_the_mixing_counts_from_the_mixing(tmp_path: Path) -> None:
    path = tmp_path / "late.csv"
    path.write_text("time_s,part_c\n600,20\n1800,20\n3600,20\n")
    assert cured("polyester-laminating", path)["milestones"][0]["at_s"] == 1200.0


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
        (ANSWERS.replace("\n240\n", "\nsoon\n"), "it should be a number"),
        (ANSWERS.replace("20 2 25", "20 12 25"), "at most 5"),
    ):
        result = nightcure("cure", "new", path, typed=typed)
        assert result.exit_code == 2, typed
        assert sentence in " ".join(result.stderr.split())
        assert not path.exists()


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
    typed = ANSWERS.replace("shed-resin", "My Resin")
    result = nightcure("cure", "new", tmp_path / "own.toml", typed=typed)
    assert result.exit_code == 2
    assert "small letters, digits and dashes" in " ".join(result.stderr.split())
    assert "pattern" not in result.stderr


def test_a_demould_before_the_gel_is_said_once(tmp_path: Path) -> None:
    typed = ANSWERS.replace("\n240\n", "\n10\n")
    result = nightcure("cure", "new", tmp_path / "own.toml", typed=typed)
    assert result.exit_code == 2
    assert "comes before mixing" not in " ".join(result.stderr.split())


# ---- laminate: what is not seen to the end is not promised -----------------------------------


def laminated(*arguments: object) -> Any:
    return nightcure("cure", "laminate", "polyester-laminating", *arguments)


def test_a_profile_that_ends_before_the_exotherm_does_not_hide_it(tmp_path: Path) -> None:
    """An hour at 12 °C; the card's gel alone takes longer, and its heat comes after that."""
    profile = tmp_path / "short.toml"
    profile.write_text('name = "short"\n[[segments]]\nkind = "soak"\nat_c = 12\nhours = 1\n')
    given = ("--thickness-mm", 20, "--profile", profile, "--air-c", 12, "--json")
    short = json.loads(laminated(*given).stdout)
    steady = json.loads(laminated("--thickness-mm", 20, "--air-c", 12, "--json").stdout)
    assert short["exotherm_over"]
    assert short["layers"] == steady["layers"] > 1
    assert short["peak_c"] == pytest.approx(steady["peak_c"], abs=1.0)


def test_what_never_cures_is_not_called_thin_enough() -> None:
    """The hot-cure set of Bogetti and Gillespie at 20 °C: nothing happens for days."""
    result = nightcure("cure", "laminate", "bogetti-gillespie-1991", "--thickness-mm", 20)
    assert "hardly cures" in " ".join(result.stdout.split())
    assert "in one go" not in result.stdout


def test_a_limit_that_is_no_temperature() -> None:
    result = laminated("--thickness-mm", 5, "--limit-c", "nan")
    assert result.exit_code == 2
    assert "limit_c is nan" in result.stderr


# ---- what a card or a history leaves open is said ---------------------------------------------


def rows_with(odd: dict[int, float], step_s: int = 60, rows: int = 120) -> str:
    return "".join(f"{step_s * i},{odd.get(i, 20.0)}\n" for i in range(rows))


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        (rows_with({40: 85.0}), "at 2400 s says 85 °C and its neighbours do not; it was counted"),
        (rows_with({0: 85.0}), "at 0 s says 85 °C"),
        (rows_with({119: 85.0}), "at 7140 s says 85 °C"),
        (rows_with({40: -20.0, 60: 85.0}), "-20 °C and its neighbours do not; it, and 1 more"),
        # A fast bulk polyester: 20 to 162 °C in 34 min (Polymers 2024, 16(17), 2391), then slower.
        ("0,20\n780,40\n1440,90\n2040,162\n3240,110\n4440,70\n", None),
        # An air's steps, every half hour a row.
        (rows_with({4: 60.0, 5: 60.0}, step_s=1800), None),
        (rows_with({4: 60.0}, step_s=1800), None),
        ("0,20\n3600,85\n", None),
    ],
)
def test_one_row_that_leaps_is_said_to_be_the_sensors(
    tmp_path: Path, rows: str, told: str | None
) -> None:
    """85 °C is what a DS18B20 says that has lost its supply (its data sheet)."""
    said = said_of(tmp_path, rows)
    assert (told in said) if told else ("glitch" not in said)
    path = tmp_path / "told.csv"
    kinetic = nightcure("cure", "run", "bogetti-gillespie-1991", path, "--json")
    assert ("glitch" in str(json.loads(kinetic.stdout)["warnings"])) is (told is not None)


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
    assert result.exit_code == 2
    assert right in " ".join(result.stderr.split())


# ---- twenty hostile cards and histories ------------------------------------------------------


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


def test_a_night_with_cards_and_a_cold_file_prints_its_milestones(tmp_path: Path) -> None:
    """`rehearse OVEN PROFILE --night CSV`: milestones in the table, and in the JSON object."""
    night = tmp_path / "cold.csv"
    night.write_text("time_s,ambient_c\n0,1\n36000,-6\n")
    arguments = ("rehearse", OVEN_FILE, UNTIL_DEMOULD, "--night", night)
    found = json.loads(nightcure(*arguments, "--json").stdout)
    assert found["outcome"] == "done"
    told = {(m["part"], m["name"]): m["at_s"] for m in found["milestones"]}
    assert told["Lid", "demould"] > told["Lid", "gelled"] > 0.0
    shown = nightcure(*arguments).stdout
    for words in ("demould", "gelled", "not tonight", "Rim is ready to leave its mould"):
        assert words in shown


def test_any_profile_rehearses_with_a_card_of_one_s_own() -> None:
    """`--card`: one for all part thermometers, or one for each; a wrong number is told."""
    found = json.loads(nightcure("rehearse", "--card", "polyester-laminating", "--json").stdout)
    assert {m["part"] for m in found["milestones"]} == {"Lid", "Rim"}
    assert found["outcome"] == "done"
    two = ("--card", "polyester-laminating", "--card", "vinyl-ester")
    told = json.loads(nightcure("rehearse", *two, "--json").stdout)["milestones"]
    gelled = {m["part"]: m["at_s"] for m in told if m["name"] == "gelled"}
    assert gelled["Rim"] > gelled["Lid"], "vinyl ester has no data until it is at 15 °C"
    for wrong, sentence in (
        ((*two, "--card", "epoxy-slow"), "3 cards for 2 parts"),
        (("--card", "nothing"), "there is no resin card"),
        (("--card", "epoxy-slow", "--catalyst-pct", "2"), "one fixed ratio"),
        (("--card", "vinyl-ester", "--resin-kg", "-2"), "it should be above 0"),
    ):
        result = nightcure("rehearse", *wrong, "--json")
        assert result.exit_code == 2
        assert sentence in " ".join(result.stderr.split())
        assert result.stdout == ""


def test_a_night_in_the_ledger_and_a_profile_are_histories_too(tmp_path: Path) -> None:
    """The clock run over the recorded lid is the loop's own; a profile is its setpoints."""
    ledger = tmp_path / "night.ledger"
    with RecordedOven(ledger) as oven:
        oven.run(4800.0, profile=load_profile(UNTIL_DEMOULD))
        watch = oven.loop.cure.watch
        assert watch is not None
        lid = watch.parts()[0]
    found = cured("polyester-laminating", ledger)
    assert found["equivalent_min"] == pytest.approx(lid.equivalent_min, rel=0.01)
    gelled_s = next(m["at_s"] for m in found["milestones"] if m["name"] == "gelled")
    assert gelled_s == pytest.approx(lid.milestones[0].at_s, abs=15.0)
    air = cured("polyester-laminating", ledger, "--thermometer", "Air")
    assert air["equivalent_min"] > found["equivalent_min"]
    planned = cured("polyester-laminating", PROFILES / "lid-and-rim.toml", "--start-c", "8")
    assert planned["milestones"][3]["name"] == "demould"
    assert planned["milestones"][3]["at_s"] < 4 * 3600.0
    for more, sentence in (
        (("--night", "7"), "has no night 7"),
        (("--thermometer", "Keel"), "has no thermometer 'Keel'"),
    ):
        result = nightcure("cure", "run", "polyester-laminating", ledger, *more, "--json")
        assert result.exit_code == 2
        assert sentence in " ".join(result.stderr.split())
    gone = nightcure("cure", "run", "polyester-laminating", tmp_path / "gone.ledger", "--json")
    assert (gone.exit_code, gone.stdout) == (2, "")
    assert not (tmp_path / "gone.ledger").exists()


def test_there_are_twenty_and_more() -> None:
    assert len(HOSTILE) >= 20
