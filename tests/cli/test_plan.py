"""`nightcure plan`: an answer first, JSON for programs, sentences for mistakes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from nightcure.cli.main import app
from nightcure.ledger.notes import NotesWriter
from nightcure.ledger.rows import EvidenceRow
from nightcure.plan.plan import profile_json
from nightcure.profile import load_profile
from nightcure.settings import load_settings
from nightcure.settings.oven_evidence import OvenEvidence
from nightcure.settings.toml_text import toml_text
from nightcure.simulate.scenario import OVEN_FILE, PARTS_FILE
from tests.nights import SHORT
from tests.recording import RecordedOven


@pytest.fixture(autouse=True)
def _one_core(monkeypatch: pytest.MonkeyPatch) -> None:
    """No worker processes for a handful of nights."""
    monkeypatch.setattr("os.sched_getaffinity", lambda _: {0}, raising=False)


@pytest.fixture
def brief(tmp_path: Path) -> tuple[str | Path, ...]:
    """Options for a short night with the shipped parts, soon reckoned."""
    file, parts = tmp_path / "brief.toml", load_profile(PARTS_FILE).parts
    file.write_text(toml_text(profile_json(SHORT.model_copy(update={"parts": parts}))), "utf-8")
    return "--profile", file, "--goal", "gelled", "--by", "0:00", "--nights", "20", "--json"


def plan(*arguments: str | Path) -> Result:
    return CliRunner().invoke(app, ["plan", *map(str, arguments)], env={"COLUMNS": "100"})


def test_an_answer_first_then_curves_and_the_rest() -> None:
    result = plan("--profile", PARTS_FILE, "--nights", "40", "--price-per-kwh", "0.3",
                  "--lowest", "2", "--lowest-at", "6:00")  # fmt: skip
    assert result.exit_code == 0, result.stderr
    text = result.stdout
    assert text.startswith(
        "Very probably: with 32 °C for 7 h 00 min at most every part is hard by 08:00"
    )
    for words in ("standard error", "Lid", "laminate-ready", "Energy", "cost", "To know",
                  "What would raise the odds", "% of the way to demould"):  # fmt: skip
        assert words in text


def test_one_json_object_and_files_that_run(tmp_path: Path) -> None:
    picture = tmp_path / "night.svg"
    result = plan("--nights", "20", "--goal", "laminate-ready", "--by", "0:00", "--json",
                  "--save", tmp_path, "--plot", picture)  # fmt: skip
    assert result.exit_code == 0, result.stderr
    data = json.loads(result.stdout)
    assert data["goal"] == "laminate-opens"
    assert data["deadline_s"] == 4 * 3600
    assert 0.0 <= data["probability"] <= 1.0
    assert isinstance(data["possible"], bool)
    saved = load_profile(tmp_path / "plan.toml")
    assert saved.refusals(load_settings(OVEN_FILE).limits) == ()
    assert [s.model_dump(exclude_none=True) for s in saved.segments] == data["profile"]["segments"]
    assert "<svg" in picture.read_text()


def test_it_starts_from_what_the_ovens_ledger_has_seen_and_can_be_told_not_to(
    tmp_path: Path, brief: tuple[str | Path, ...]
) -> None:
    """Fails before this: the command knew of no earlier night and no gel cup, as the page does."""
    oven = tmp_path / "oven.toml"
    oven.write_text(OVEN_FILE.read_text(encoding="utf-8"), encoding="utf-8")
    settings = load_settings(oven)
    with RecordedOven(settings.ledger, settings) as recorded:
        recorded.run(4.0)
    model = settings.model
    lossy = OvenEvidence(
        (model.loss_w_per_k, model.air_capacity_j_per_k, model.mould_capacity_j_per_k),
        ((400.0, 0.0, 0.0), (0.0, 50.0, 0.0), (0.0, 0.0, 50.0)), (520.0, 50.0, 50.0),
    )  # fmt: skip
    cup = {"card": "polyester-laminating", "gel": [0.3, 0.12]}
    with NotesWriter(settings.ledger) as notes:
        notes.evidence(EvidenceRow("", "oven", lossy._asdict(), 1, 1.7e9))
        notes.evidence(EvidenceRow("polyester-laminating", "cup", cup, None, 1.7e9))
    asked = (*brief, "--lowest", "2")
    found = [json.loads(plan(oven, *asked, *more).stdout) for more in ((), ("--not-learned",))]
    said = [" ".join(f["warnings"]) for f in found]
    assert "The oven is taken as one earlier night has shown it: it loses" in said[0]
    assert "is taken as earlier nights, or a gel cup, have shown it" in said[0]
    assert "earlier night" not in said[1]
    assert found[0]["energy_kwh"]["p50"] > 1.1 * found[1]["energy_kwh"]["p50"]
    assert found[0]["spreads"]["oven_log_covariance"] is not None


@pytest.mark.parametrize("name", ["until-demould", "lid-and-rim", "gel-then-laminate"])
def test_a_written_profile_reads_back_the_same(name: str, tmp_path: Path) -> None:
    profile = load_profile(PARTS_FILE.parent / f"{name}.toml")
    path = tmp_path / "again.toml"
    path.write_text(toml_text(profile_json(profile)), encoding="utf-8")
    assert load_profile(path) == profile


def test_cards_moulds_and_an_oven_of_ones_own() -> None:
    result = plan(OVEN_FILE, "--card", "vinyl-ester", "--resin-kg", "0.4", "--mould-kg", "5",
                  "--nights", "20", "--json", "--by", "6:00")  # fmt: skip
    assert result.exit_code == 0, result.stderr
    data = json.loads(result.stdout)
    assert [p["mould_j_per_k"] for p in data["profile"]["parts"]] == [7000.0, 7000.0]
    assert any("No forecast was given" in w for w in data["warnings"])


def test_an_improbable_night_is_an_answer() -> None:
    result = plan("--profile", PARTS_FILE, "--by", "22:00", "--nights", "40", "--json")
    assert result.exit_code == 0, result.stderr
    data = json.loads(result.stdout)
    assert data["possible"] is False
    assert data["probability"] < 0.2
    assert data["answer"].startswith(("No:", "Hardly:"))


def test_nothing_is_listed_that_was_not_asked_for_or_does_not_help() -> None:
    result = plan("--profile", PARTS_FILE, "--nights", "40", "--lowest", "2")
    assert result.exit_code == 0, result.stderr
    assert "Nothing is needed." in result.stdout
    assert "post-cured" not in result.stdout, "at 32 °C it never comes"
    assert "Lid and Rim: no gel is known below 10.0 °C" in result.stdout
    assert plan("--nights", "19").stderr.startswith("nightcure: --nights is 19; it should be 20 to")


def test_advice_is_three_courses_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("nightcure.plan.advise.SEARCH_NIGHTS", 8)
    result = plan("--advise", "--nights", "20", "--by", "23:30", "--lowest", "2")
    assert result.exit_code == 0, result.stderr
    text = " ".join(result.stdout.split())
    for kind in (
        "Least stress (the mildest soak and the slowest ramp): up at ",
        "Least energy (the fewest kWh): up at ",
        "Earliest (hard as soon as can be): up at ",
    ):
        assert kind in text
    assert "held 30 min" in text, "no soak of minutes"
    weak = plan("--advise", "--nights", "20", "--by", "21:20", "--lowest", "-8")
    assert weak.exit_code == 0, weak.stderr
    assert "this is the likeliest. Likeliest: up at 20 °C/h to" in " ".join(weak.stdout.split())
    assert weak.stdout.count("held ") == 1


def test_a_survey_narrows_the_oven(tmp_path: Path, brief: tuple[str | Path, ...]) -> None:
    from tests.plan.test_spread import SURVEY

    file = tmp_path / "survey.json"
    file.write_text(json.dumps(SURVEY))
    result = plan(*brief, "--survey", file)
    assert result.exit_code == 0, result.stderr
    assert json.loads(result.stdout)["spreads"]["loss"] == pytest.approx(0.0378, abs=2e-4)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--by", "20:40"), "The deadline is impossible: even at 55 °C"),
        (("--by", "20:00"), "which is the start"),
        (("--by", "8 o'clock"), "must be a time of day"),
        (("--start", "24:00"), "must be a time of day"),
        (("--goal", "done"), "the goal is 'done'; it should be laminate-ready"),
        (("--card", "unobtainium"), "there is no resin card 'unobtainium'"),
        (("--card", "polyester-gelcoat"), "no part's card tells 'demould'"),
        (("--night", "empty.csv"), "the first line is 'nothing'"),
        (("--night", "bare.csv"), "has no rows"),
        (("--night", "names.csv"), "must name the columns time_s,ambient_c"),
        (("--night", "gone.csv"), "cannot be read"),
        (("--lowest", "99"), "must be °C between -60 and 60"),
        (("--lowest", "5", "--evening", "2"), "the lowest should not be above it"),
        (("--survey", "empty.csv"), "is not JSON"),
        (("--profile", "bare.csv"), "is not TOML"),
        (("--profile", "lid-and-rim.toml"), "no part with a resin card"),
        (("--profile", str(PARTS_FILE), "--advise"), "leave --profile out"),
        (("--plot", "night.txt"), "must end in .svg, .png or .pdf"),
        (("--by", "20:20"), "mixed 30 min after the start, which is not before the deadline 20"),
        (("--seed", "-1"), "--seed is -1; it should not be below 0"),
        (("--price-per-kwh", "-0.3"), "--price-per-kwh is -0.3; it should be 0 to 1000"),
        (("--card", "vinyl-ester", "--resin-kg", "-1"), "--resin-kg is -1; it should be above 0"),
        (("--card", "vinyl-ester", "--catalyst-pct", "-1"), "and none for -1 %"),
        (("--card", "vinyl-ester", "--mould-kg", "-4"), "--mould-kg is -4; it should be"),
        (("--catalyst-pct", "2"), "--catalyst-pct goes with --card"),
    ],
)
def test_mistakes_get_a_sentence(
    arguments: tuple[str, ...], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "empty.csv").write_text("")
    (tmp_path / "bare.csv").write_text("time_s,ambient_c\n")
    (tmp_path / "names.csv").write_text("time,temp\n0,9\n")
    (tmp_path / "lid-and-rim.toml").write_text((PARTS_FILE.parent / "lid-and-rim.toml").read_text())
    result = plan(*arguments, "--nights", "20")
    assert result.exit_code == 2, result.stdout
    assert said in " ".join(result.stderr.split())
    assert result.stdout == ""
