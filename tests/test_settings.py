"""oven.toml: what is right loads; what is wrong gets its key, its value and what is right."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from nightcure.errors import BadInput
from nightcure.settings import Role, load_settings
from nightcure.simulate.scenario import HERE, OVEN_FILE

GOOD = OVEN_FILE.read_text()


def load(tmp_path: Path, text: str) -> Any:
    path = tmp_path / "oven.toml"
    path.write_text(text)
    return load_settings(path)


@pytest.mark.parametrize("path", sorted(HERE.glob("oven*.toml")), ids=lambda p: p.name)
def test_shipped_ovens_load(path: Path) -> None:
    settings = load_settings(path)
    assert settings.heater.power_w == (195.0 if "plug-in" in path.name else 300.0)
    assert settings.limits.no_heat() == ()
    assert settings.indices(Role.AIR) == (0,)
    assert settings.ledger.parent == path.parent


#: what is replaced, by what -> the sentence's essentials: key, value found, what would be right
WRONG: list[tuple[str, str, tuple[str, ...]]] = [
    ("power_w = 300.0", "power_w = 0", ("heater.power_w", "0", "above 0")),
    ("power_w = 300.0", "power_w = 'lots'", ("heater.power_w", "'lots'", "number")),
    ("power_w = 300.0", "power_w = nan", ("heater.power_w", "finite")),
    ("power_w = 300.0", "power_w = inf", ("heater.power_w", "finite")),
    ("power_w = 300.0", "power_w = 9000", ("heater.power_w", "9000", "6000")),
    ("pin = 17 ", "pin = 3 ", ("heater.pin is 3", "9 to 27", "pulled up at boot")),
    ("pin = 17 ", "pin = 40 ", ("heater.pin is 40", "9 to 27")),
    ("pin = 17 ", "pin = 27 ", ("one pin is given two jobs", "27")),
    ("window_s = 20.0", "window_s = 1", ("heater.window_s", "1", "2")),
    ("min_on_s = 2.0", "min_on_s = 19", ("min_on_s + min_off_s is 21", "20")),
    ("active_high = true", "active_hihg = true", ("heater.active_hihg", "not a key")),
    ("[heater]\npower_w = 300.0", "[heater]", ("heater.power_w is missing",)),
    ('name = "Estuary box"', "", ("name is missing",)),
    ('units = "C"', 'units = "K"', ("units", "'K'", "'C' or 'F'")),
    ('role = "air"', 'role = "shed"', ("thermometer 1: role is 'shed'", "'air'")),
    ('role = "air"', 'role = "part"', ("no thermometer has role = 'air'",)),
    (
        'id = "28-0000000000b1"',
        'id = "28-00"',
        ("thermometer 2: id is '28-00'", "twelve digits", "/sys/bus/w1"),
    ),
    ('id = "28-0000000000b1"', 'id = "28-0000000000a1"', ("id", "two thermometers")),
    ('name = "Lid"', 'name = "Rim"', ("name 'Rim'", "two thermometers")),
    ('kind = "pid"', 'kind = "magic"', ("regulator.kind", "'magic'", "'pid' or 'bang-bang'")),
    ("gain_w_per_k = 45.0", "gain_w_per_k = -1", ("regulator.gain_w_per_k", "-1")),
    ("loss_w_per_k = 3.9", "loss_w_per_k = 0", ("model.loss_w_per_k", "0")),
    ("air_c = 60.0", "air_c = 65", ("air_c is 65", "60", "i_accept_limits_above_60_c")),
    ("air_c = 60.0", "air_c = 81", ("limits.air_c", "81", "80")),
    ("part_c = 60.0", "part_c = 75", ("part_c is 75", "60")),
    (
        "air_c = 60.0",
        "air_c = 90\ni_accept_limits_above_60_c = true",
        ("limits.air_c", "90", "80"),
    ),
    ("exotherm_c = 8.0", "heater_c = 200", ("heater_c is 200", "ends at 125 °C", "110")),
    ("exotherm_c = 8.0", "heater_c = 310", ("limits.heater_c", "310", "300")),
    ("cut_out_c = 65.0", "cut_out_c = 75.0", ("limits.cut_out_c", "75", "70")),
    ("cut_out_c = 65.0", "cut_out_c = 60.0", ("air_c is 60", "5 K below", "lower it to 55")),
    ("cut_outs = 2", "cut_outs = 3", ("limits.cut_outs is 3", "at most 2")),
    ("pin = 22", "pin = 14", ("fan.pin", "14", "serial console")),
    ("pin = 17 ", "pin = 15 ", ("heater.pin", "15", "serial console", "boots")),
    ("ramp_c_per_h = 25.0", "ramp_c_per_h = 500", ("limits.ramp_c_per_h", "500", "120")),
    ('address = "127.0.0.1"', 'address = "0.0.0.0"', ("address is 0.0.0.0", "passphrase")),
    ("port = 8733", "port = 70000", ("web.port", "70000", "65535")),
    (
        'address = "127.0.0.1"',
        'address = "127.0.0.1"\npassphrase_hash = "secret"',
        ("web.passphrase_hash is not a hash", "nightcure setup passphrase"),
    ),
    ("[model]", "[timing]\ntick_s = 5\n[model]", ("dead_man_s is 6", "at least 10")),
    ("[heater]", "[heater", ("is not TOML", "line 6")),
    ("[fan]", "[stop_button]\npin = 17\n[fan]", ("one pin is given two jobs", "17")),
    ("pin = 27", "pin = 17", ("one pin is given two jobs", "17", "give each its own")),
    ("pin = 22", "pin = 17.5", ("fan.pin is 17.5", "whole number")),
    ("power_w = 300.0", "power_w = true", ("heater", "power_w is true", "number")),
    ("port = 8733", "port = true", ("web", "port is true", "number")),
    ("active_high = true", "active_high = 3", ("heater.active_high is 3", "true or false")),
    ('name = "Estuary box"', "name = ''", ("name is ''", "not be empty")),
    ('name = "Estuary box"', "name = 3", ("name is 3", "text in quotes")),
    ('"nightcure.ledger"', '""', ("ledger", "name a file")),
    ("[web]", "[wbe]", ("wbe is not a key",)),
    ("[web]", "[timing]\ntick_s = 0.1\n[web]", ("timing.tick_s is 0.1", "at least 0.5")),
    ("[web]", "[timing]\ntick_s = -inf\n[web]", ("timing.tick_s is -inf", "finite")),
    ("heater_lag_s = 230.0", "heater_lag_s = nan", ("model.heater_lag_s is nan", "finite")),
    # An oven of someone who thinks in °F is told the key's own unit, °C, nothing else.
    ("air_c = 60.0", "air_c = 140.0", ("limits.air_c is 140", "at most 80")),
    ("derivative_s = 40.0", "derivative_s = -40", ("regulator.derivative_s is -40", "least 0")),
    ("longest_night_h = 16.0", "longest_night_h = 96", ("longest_night_h is 96", "most 72")),
]


@pytest.mark.parametrize(("old", "new", "essentials"), WRONG, ids=[w[1][:40] for w in WRONG])
def test_what_is_wrong_gets_a_sentence(
    tmp_path: Path, old: str, new: str, essentials: tuple[str, ...]
) -> None:
    assert old in GOOD
    with pytest.raises(BadInput) as caught:
        load(tmp_path, GOOD.replace(old, new, 1))
    sentence = " ".join(caught.value.sentences)
    assert str(tmp_path / "oven.toml") in sentence
    for part in essentials:
        assert part in sentence
    for one in caught.value.sentences:
        assert_readable(one)


def assert_readable(sentence: str) -> None:
    """Nothing of the machinery shows, and it fits a phone."""
    assert sentence.endswith(".")
    assert "\n" not in sentence
    assert len(sentence) < 320
    for jargon in ("Input should", "pattern", "tuple", "dict", "validation", "instance", "^28"):
        assert jargon not in sentence


def test_the_table_is_long_enough() -> None:
    assert len(WRONG) >= 40


def test_every_fault_has_its_own_sentence(tmp_path: Path) -> None:
    text = GOOD.replace("power_w = 300.0", "power_w = 0").replace("port = 8733", "port = 0")
    with pytest.raises(BadInput) as caught:
        load(tmp_path, text)
    assert len(caught.value.sentences) == 2


def test_a_passphrase_in_the_wrong_place_is_not_repeated(tmp_path: Path) -> None:
    """Somebody typed the passphrase where its hash belongs: it must not end up in a log."""
    text = GOOD.replace("port = 8733", 'port = 8733\npassphrase_hash = "hunter2 and more"')
    with pytest.raises(BadInput) as caught:
        load(tmp_path, text)
    assert "hunter2" not in str(caught.value)


def test_a_bad_member_is_not_called_a_missing_one_as_well(tmp_path: Path) -> None:
    head, _, _ = GOOD.partition("[[thermometers]]")
    tail = GOOD[GOOD.index("[regulator]") :]
    one = '[[thermometers]]\nid = "x"\nrole = "air"\nname = "Air"\n'
    with pytest.raises(BadInput) as caught:
        load(tmp_path, head + one + tail)
    assert len(caught.value.sentences) == 1
    assert "thermometer 1: id is 'x'" in str(caught.value)
    with pytest.raises(BadInput, match="thermometers is missing; add it"):
        load(tmp_path, head + tail)


def test_long_values_are_shortened(tmp_path: Path) -> None:
    with pytest.raises(BadInput) as caught:
        load(tmp_path, GOOD.replace("power_w = 300.0", f"power_w = {'9' * 400}"))
    assert_readable(caught.value.sentences[0])


def test_wide_open_with_a_hash_is_allowed(tmp_path: Path) -> None:
    wide = 'address = "0.0.0.0"\npassphrase_hash = "$argon2id$v=19$m=65536,t=3,p=4$c2FsdA$aGFzaA"'
    assert load(tmp_path, GOOD.replace('address = "127.0.0.1"', wide)).web.address == "0.0.0.0"


@pytest.mark.parametrize("value", ["60.0", "20.0"])
def test_the_ends_of_a_range_belong_to_it(tmp_path: Path, value: str) -> None:
    settings = load(tmp_path, GOOD.replace("air_c = 60.0", f"air_c = {value}", 1))
    assert settings.limits.air_c == float(value)


def test_files_that_are_no_text(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"cannot be read: Is a directory\.$"):
        load_settings(tmp_path)
    path = tmp_path / "oven.toml"
    path.write_bytes(GOOD.replace("Estuary", "\xc9stuaire").encode("latin-1"))
    with pytest.raises(BadInput, match="not UTF-8 text"):
        load_settings(path)


def test_an_editors_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "oven.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.encode())
    assert load_settings(path).name == "Estuary box"


def test_settings_are_fixed_once_read() -> None:
    settings = load_settings(OVEN_FILE)
    with pytest.raises(ValueError, match="frozen"):
        settings.heater.power_w = 2000.0  # type: ignore[misc]


def test_a_missing_file_is_said(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="there is no such file"):
        load_settings(tmp_path / "none.toml")


def test_raised_limits_need_the_acknowledgement(tmp_path: Path) -> None:
    text = GOOD.replace("air_c = 60.0", "air_c = 65.0\ni_accept_limits_above_60_c = true")
    text = text.replace("cut_out_c = 65.0", "cut_out_c = 70.0")
    assert load(tmp_path, text).limits.air_c == 65.0


def test_an_earlier_file_is_read_and_leaves_the_oven_idle(tmp_path: Path) -> None:
    """Written before the cut-out was asked for, with the heater's limit of that time."""
    text = "".join(line for line in GOOD.splitlines(True) if not line.startswith("cut_out"))
    limits = load(tmp_path, text.replace("exotherm_c = 8.0", "heater_c = 200.0")).limits
    assert limits.heater_c == 200.0
    assert len(limits.no_heat()) == 1
    assert load(tmp_path, text).limits.no_heat() == ()


def test_the_shipped_file_explains_itself() -> None:
    assert tomllib.loads(GOOD)["heater"]["pin"] == 17
    assert GOOD.count("#") > 5
