"""`nightcure cure run`: figures a program can read, and what they leave open is said."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from nightcure.profile import load_profile
from nightcure.settings.toml_text import toml_text
from nightcure.simulate.scenario import OVEN_FILE, PROFILES
from tests.nights import COARSE, SHORT
from tests.recording import RecordedOven

from .curing import GOOD, cured, nightcure

UNTIL_DEMOULD = PROFILES / "until-demould.toml"


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


def test_any_profile_rehearses_with_a_card_of_one_s_own(tmp_path: Path) -> None:
    """`--card`: one for all part thermometers, or one for each; a wrong number is told."""
    short = tmp_path / "short.toml"
    short.write_text(toml_text(SHORT.model_dump(mode="json", exclude_none=True)), "utf-8")
    asked = ("rehearse", OVEN_FILE, short, "--card", "polyester-laminating", "--json")
    found = json.loads(nightcure(*asked).stdout)
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
    with RecordedOven(ledger, COARSE) as oven:
        oven.run(4800.0, profile=load_profile(UNTIL_DEMOULD))
        watch = oven.loop.cure.clocks
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
        (("--night", "7"), "holds no night 7"),
        (("--thermometer", "Keel"), "has no thermometer 'Keel'"),
    ):
        result = nightcure("cure", "run", "polyester-laminating", ledger, *more, "--json")
        assert result.exit_code == 2
        assert sentence in " ".join(result.stderr.split())
    gone = nightcure("cure", "run", "polyester-laminating", tmp_path / "gone.ledger", "--json")
    assert (gone.exit_code, gone.stdout) == (2, "")
    assert not (tmp_path / "gone.ledger").exists()
