"""`nightcure rehearse`: figures a program can read, nights a person can change, mistakes told."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from nightcure.cli.main import app
from nightcure.simulate.faults import FAULTS
from nightcure.simulate.scenario import OVEN_FILE

PROFILE = """
name = "Brief"
[[segments]]
kind = "ramp"
to_c = 20.0
rate_c_per_h = 20.0
[[segments]]
kind = "soak"
at_c = 20.0
hours = 0.5
"""
#: What the command promises to print.
KEYS = {
    "outcome",
    "trip",
    "overshoot_c",
    "soak_min_error_c",
    "soak_max_error_c",
    "mean_abs_error_c",
    "part_max_c",
    "relay_switches",
    "energy_kwh",
    "night_s",
    "wall_s",
    "alarms",
    "milestones",
    "fault_to_off_s",
    "part_ripple_c",
    "heater_still_on",
}


@pytest.fixture
def profile(tmp_path: Path) -> Path:
    path = tmp_path / "brief.toml"
    path.write_text(PROFILE)
    return path


def nightcure(*arguments: str | Path) -> Result:
    return CliRunner().invoke(app, [str(a) for a in arguments])


def figures(*arguments: str | Path) -> dict[str, Any]:
    result = nightcure("rehearse", *arguments, "--json")
    assert result.exit_code == 0, result.stderr
    found: dict[str, Any] = json.loads(result.stdout)
    return found


def test_one_object_with_the_promised_keys(profile: Path) -> None:
    found = figures(OVEN_FILE, profile)
    assert found.keys() == KEYS
    assert found["fault_to_off_s"] is None, "nothing was broken"
    assert found["heater_still_on"] is False
    assert found["outcome"] == "done"
    assert found["trip"] is None
    assert found["alarms"] == []
    assert found["energy_kwh"] > 0.05
    assert found["soak_min_error_c"] <= found["soak_max_error_c"]


def test_with_a_fault_it_says_how_soon_the_heater_was_off(profile: Path) -> None:
    found = figures(OVEN_FILE, profile, "--fault", "sensor-missing@20min")
    assert found["outcome"] == "tripped"
    assert found["trip"] == "control-sensor-lost"
    assert 60 <= found["fault_to_off_s"] <= 62
    assert found["alarms"][0]["name"] == "control-sensor-lost"
    assert found["alarms"][0]["time_s"] == pytest.approx(1200 + 62, abs=2)


@pytest.mark.parametrize(
    ("text", "s"),
    [("20min", 1200), ("0h30", 1800), ("900s", 900), ("90min", 5400), ("3h", 10800)],
)
def test_times_as_people_type_them(profile: Path, text: str, s: float) -> None:
    profile.write_text(PROFILE.replace("hours = 0.5", "hours = 2.5"))
    found = figures(OVEN_FILE, profile, "--fault", f"sensor-missing@{text}")
    assert found["alarms"][0]["time_s"] == pytest.approx(s + 62.0, abs=2), "it ends the night"


def test_a_fault_for_a_while_and_another(profile: Path) -> None:
    profile.write_text(PROFILE.replace("hours = 0.5", "hours = 3.0"))
    faults = ("--fault", "sensor-missing@1h+30s", "--fault", "sensor-missing@3h20+2min")
    found = figures(OVEN_FILE, profile, *faults)
    assert [a["name"] for a in found["alarms"]] == ["control-sensor-lost"], "30 s are borne"
    assert found["alarms"][0]["time_s"] == pytest.approx(12_000 + 62, abs=4)


def test_the_same_seed_gives_the_same_night(profile: Path) -> None:
    first, again, other = (figures(OVEN_FILE, profile, "--seed", s) for s in ("3", "3", "4"))
    for found in (first, again, other):
        del found["wall_s"]
    assert first == again
    assert first != other


def test_a_colder_night_costs_more(profile: Path, tmp_path: Path) -> None:
    night = tmp_path / "night.csv"
    night.write_text("time_s,ambient_c\n0,9\n3600,-6\n43200,-6\n")
    cold = figures(OVEN_FILE, profile, "--night", night)
    assert cold["outcome"] == "done"
    assert cold["energy_kwh"] > 1.05 * figures(OVEN_FILE, profile)["energy_kwh"]


def test_a_plot_and_figures_for_a_person(profile: Path) -> None:
    result = nightcure("rehearse", OVEN_FILE, profile)
    assert result.exit_code == 0
    begins = "The soak begins: the last of 2 steps."
    for words in ("setpoint", "relay switchings", "kWh", "Brief: done", begins):
        assert words in result.stdout


def test_faults_are_listed() -> None:
    result = nightcure("rehearse", "--fault", "list")
    assert result.exit_code == 0
    for name in FAULTS:
        assert name in result.stdout


def test_through_the_real_command(profile: Path) -> None:
    command = [sys.executable, "-m", "nightcure", "rehearse", str(OVEN_FILE), str(profile)]
    done = subprocess.run(
        [*command, "--json"], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["outcome"] == "done"
    assert done.stderr == ""
    wrong = subprocess.run(
        [*command, "--fault", "x"], capture_output=True, text=True, timeout=60, check=False
    )
    assert wrong.returncode == 2
    assert wrong.stdout == ""
    assert wrong.stderr.startswith("nightcure: --fault x: there is no fault 'x'")


def is_one_sentence(result: Result, *said: str) -> None:
    """One line on standard error, nothing on standard output, status 2."""
    assert result.exit_code == 2
    assert result.stdout == ""
    (line,) = result.stderr.splitlines()
    assert line.startswith("nightcure: ")
    assert line.endswith(".")
    for words in said:
        assert words in line


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["nowhere.toml"], "nowhere.toml"),
        (["/"], "/ cannot be read"),
        (["--fault", ""], "there is no fault ''"),
        (["--fault", "door-open@"], "write it as 90min, 3h, 3h20 or 45s"),
        (["--fault", "door-open@-3h"], "-3h"),
        (["--fault", "door-open@3h+"], "'' is not a duration"),
        (["--fault", "door-open@3h@4h"], "3h@4h"),
        (["--fault", "door-open@1e9h"], "1e9h"),
        (["--fault", "door-open@nan"], "nan"),
        (["--night", "/"], "/ cannot be read"),
        (["--fault", "gremlins@3h"], "there is no fault 'gremlins'"),
        (["--fault", "door-open"], "say when"),
        (["--fault", "door-open@teatime"], "teatime"),
        (["--night", "nowhere.csv"], "nowhere.csv"),
    ],
)
def test_a_mistake_is_a_sentence_and_status_2(arguments: list[str], said: str) -> None:
    is_one_sentence(nightcure("rehearse", *arguments, "--json"), said)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "time_s"),
        ("a,b\n1,2\n", "time_s"),
        ("time_s,ambient_c\n", "night.csv"),
        ("time_s,ambient_c\n0,9\n3600,warm\n", "warm"),
        ("time_s,ambient_c\n3600,9\n0,8\n", "night.csv"),
        ("time_s,ambient_c\n0,nan\n", "night.csv"),
        ("time_s,ambient_c\n0,9\n60\n", "line 3"),
        ("time_s,ambient_c\n0,9\n60,99\n", "between -60 and 60"),
        ("time_s,ambient_c\n0,\xff\n", "utf-8"),
    ],
    ids=["empty", "columns", "no rows", "text", "backwards", "nan", "short", "hot", "bytes"],
)
def test_a_night_that_cannot_be_read(tmp_path: Path, text: str, said: str) -> None:
    night = tmp_path / "night.csv"
    night.write_bytes(text.encode("latin-1"))
    is_one_sentence(nightcure("rehearse", "--night", night), "night.csv", said)


def test_wrong_profiles_and_ovens(tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text('name = "x"\n[[segments]]\nkind = "soak"\nat_c = 75.0\nhours = 1.0\n')
    is_one_sentence(nightcure("rehearse", OVEN_FILE, bad), "segment 1 (soak)", "75", "55 °C")
    bad.write_bytes(b"\xff\xfe")
    is_one_sentence(nightcure("rehearse", OVEN_FILE, bad), "bad.toml", "UTF-8")
    bad.write_text("{}")
    is_one_sentence(nightcure("rehearse", OVEN_FILE, bad), "bad.toml", "is not TOML", "line 1")
    bad.write_text(PROFILE.replace("to_c", "to_k"))
    spelled = nightcure("rehearse", OVEN_FILE, bad)
    assert spelled.exit_code == 2
    assert any("to_k" in line for line in spelled.stderr.splitlines())
    bad.write_text(OVEN_FILE.read_text().replace("pin = 17 ", "pin = 3 ").replace("300.0", "-5.0"))
    oven = nightcure("rehearse", bad)
    assert oven.exit_code == 2
    assert len(oven.stderr.strip().splitlines()) == 2, "a sentence for each fault"
    assert "heater.pin" in oven.stderr
    assert "heater.power_w" in oven.stderr
