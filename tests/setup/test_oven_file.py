"""The oven.toml that a setup writes: it loads, says what was answered, and harms nothing."""

from __future__ import annotations

import os
import stat
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nightcure.errors import BadInput
from nightcure.settings import Role, Settings, Thermometer, load_settings
from nightcure.setup import oven_file as bench_file
from nightcure.setup.box_questions import BoxAnswers
from nightcure.setup.oven_file import RELAYS, Answers, text_of, write_checked
from nightcure.setup.pin_questions import Tells
from nightcure.setup.questions import plain_text
from nightcure.setup.rough_model import from_sizes, guessed
from nightcure.simulate.scenario import BOX, scenario

HASH = "$argon2id$v=19$m=65536,t=3,p=4$c29tZXNhbHQ$aGFzaA"
ANSWERS = Answers(
    name="Estuary box",
    units="C",
    ledger="nightcure.ledger",
    power_w=300.0,
    relay="solid-state",
    pin=17,
    active_high=True,
    contactor_pin=27,
    fan_pin=None,
    stop_pin=23,
    tells=Tells({"siren": 16, "alarm": 26}, False, 13),
    thermometers=(
        Thermometer(id="28-0000000000a1", role=Role.AIR, name="Air"),
        Thermometer(id="28-0000000000b1", role=Role.PART, name="Lid"),
    ),
    model=guessed(None),
    on_network=True,
    port=8800,
    passphrase_hash=HASH,
    box=BoxAnswers("plug-in", "eu", "pir", "tube", "always", 60.0, 4.0, 1, 25.0, "linked", None),
)


def loaded(answers: Answers) -> Settings:
    return Settings.model_validate(tomllib.loads(text_of(answers)))


def test_it_says_what_was_answered() -> None:
    s = loaded(ANSWERS)
    assert (s.name, s.units, s.heater.power_w, s.heater.pin) == ("Estuary box", "C", 300.0, 17)
    assert s.contactor is not None
    assert s.contactor.pin == 27
    assert s.fan is None
    assert s.stop_button is not None
    assert s.stop_button.pin == 23
    assert [(n, o.pin) for n, o in s.annunciator.outputs().items()] == [
        ("siren", 16),
        ("alarm", 26),
    ]
    assert not any(o.active_high for o in s.annunciator.outputs().values())
    assert s.thermometers == ANSWERS.thermometers
    assert (s.web.address, s.web.port, s.web.passphrase_hash) == ("0.0.0.0", 8800, HASH)
    limits, box = s.limits, s.installation
    assert (limits.cut_out_c, limits.cut_out_tolerance_k, limits.cut_outs) == (60.0, 4.0, 1)
    assert (limits.air_c, limits.heater_c) == (55.0, 110.0)
    assert limits.no_heat() == ()
    assert (box.wiring, box.supply, box.foam, box.heater) == ("plug-in", "eu", "pir", "tube")
    assert (box.warmest_c, box.alarm, box.people_sleep) == (25.0, "linked", None)
    assert box.fan == "always"
    assert s.has_fan


@pytest.mark.parametrize(("relay", "shortest_s"), [("solid-state", 10), ("contactor", 120)])
def test_the_window_is_the_relays(relay: str, shortest_s: float) -> None:
    """10-60 s for a solid-state relay, minutes for a contactor: hardware-notes/wiring.md."""
    heater = loaded(ANSWERS._replace(relay=relay)).heater
    assert heater.window_s >= shortest_s
    assert (heater.window_s, heater.min_on_s, heater.min_off_s) == RELAYS[relay][1:4]


def test_what_is_not_there_can_be_added_by_taking_the_sign_away() -> None:
    bare = ANSWERS._replace(
        contactor_pin=None, stop_pin=None, passphrase_hash=None, on_network=False
    )
    text = text_of(bare)
    s = Settings.model_validate(tomllib.loads(text))
    assert s.contactor is s.fan is s.stop_button is s.web.passphrase_hash is None
    for table in ("contactor", "fan", "stop_button"):
        text = text.replace(f"# [{table}]", f"[{table}]")
    with_all = Settings.model_validate(tomllib.loads(text.replace("# pin", "pin")))
    assert with_all.contactor is not None
    assert with_all.fan is not None
    assert with_all.stop_button is not None


def test_active_low_is_for_every_output() -> None:
    s = loaded(ANSWERS._replace(active_high=False, fan_pin=22))
    assert s.contactor is not None
    assert s.fan is not None
    assert {s.heater.active_high, s.contactor.active_high, s.fan.active_high} == {False}


def test_a_guess_says_so_and_names_the_survey() -> None:
    text = text_of(ANSWERS)
    assert "A GUESS" in text
    assert "nightcure survey measures it" in text


@given(st.text(max_size=80))
def test_any_name_a_person_may_type_survives(name: str) -> None:
    try:
        plain = plain_text(60)(name)
    except ValueError:
        return
    assert loaded(ANSWERS._replace(name=plain)).name == plain


def test_the_rough_model_is_near_the_scenarios_box() -> None:
    """The scenario's network was made by hand from ISO 6946; sizes alone should come near."""
    rough = from_sizes((1.2, 0.6, 0.6), 25.0, 15.0, 300.0)
    assert rough.loss_w_per_k == pytest.approx(BOX.loss_w_per_k, rel=0.1)
    moulds = sum(m.capacity_j_per_k for m in BOX.moulds)
    assert rough.mould_capacity_j_per_k == pytest.approx(moulds, rel=0.1)
    assert rough.mould_lag_s == pytest.approx(scenario()[0].model.mould_lag_s, rel=0.15)
    assert "RECKONED, not measured" in rough.source
    assert from_sizes((1.2, 0.6, 0.6), 50.0, 0.0, 300.0).loss_w_per_k < rough.loss_w_per_k


# ---- writing ---------------------------------------------------------------------------------


def test_it_is_the_owners_alone(tmp_path: Path) -> None:
    path = tmp_path / "oven.toml"
    write_checked(path, text_of(ANSWERS), replace=False)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert load_settings(path).name == "Estuary box"
    assert os.listdir(tmp_path) == ["oven.toml"], "nothing else is left"


def test_a_file_made_meanwhile_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "oven.toml"
    path.write_text("mine")
    with pytest.raises(BadInput, match="left alone"):
        write_checked(path, text_of(ANSWERS), replace=False)
    assert path.read_text() == "mine"
    assert os.listdir(tmp_path) == ["oven.toml"]


def test_a_replaced_file_keeps_what_its_group_may(tmp_path: Path) -> None:
    path = tmp_path / "oven.toml"
    path.write_text("old")
    path.chmod(0o644)
    link = tmp_path / "link.toml"
    link.symlink_to(path)
    write_checked(link, text_of(ANSWERS), replace=True)
    assert link.is_symlink()
    assert stat.S_IMODE(path.stat().st_mode) == 0o640, "read by the service, by nobody else"
    assert load_settings(path).heater.pin == 17


def test_what_would_not_load_is_not_written(tmp_path: Path) -> None:
    path = tmp_path / "oven.toml"
    path.write_text("old")
    wrong = text_of(ANSWERS).replace("pin = 17", "pin = 4")
    with pytest.raises(BadInput, match=r"heater\.pin is 4") as caught:
        write_checked(path, wrong, replace=True)
    assert f"{path}: heater.pin" in str(caught.value), "the file is named as the person knows it"
    assert path.read_text() == "old"
    assert os.listdir(tmp_path) == ["oven.toml"]


def test_a_full_disk_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "oven.toml"
    path.write_text("old")

    def full(fd: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(bench_file.os, "fsync", full)
    with pytest.raises(BadInput, match="No space left"):
        write_checked(path, text_of(ANSWERS), replace=True)
    assert path.read_text() == "old"
    assert os.listdir(tmp_path) == ["oven.toml"]
