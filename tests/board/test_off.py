"""`nightcure off`: whatever has become of oven.toml and of the controller."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import pytest

from nightcure.board import off
from nightcure.board.claimed_pins import ClaimedPin, read_claimed, write_claimed
from nightcure.board.lines import Line
from nightcure.board.off import main, pins_in
from nightcure.board.relay import Outputs
from nightcure.settings import Heater, Output, Pin, Settings
from nightcure.simulate import bench_chip
from nightcure.simulate.scenario import OVEN_FILE
from nightcure.simulate.wires import read_pin
from tests.nights import SETTINGS, changed

from .wiring import ON, OUTPUTS, Told

TOML = OVEN_FILE.read_text()
HOLDS = (
    "import sys; from nightcure.board.lines import Line; line = Line(17, True); "
    "print('on', flush=True); sys.stdin.read()"
)


@pytest.fixture(autouse=True)
def no_service(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No unit's folders, and none of this machine's own."""
    monkeypatch.setattr(off, "RUNTIME", str(tmp_path / "no-run"))
    monkeypatch.setattr(off, "STATE", str(tmp_path / "no-state"))
    monkeypatch.setattr(off, "BUSY_S", 0.1)
    for name in ("RUNTIME_DIRECTORY", "STATE_DIRECTORY"):
        monkeypatch.delenv(name, raising=False)


def left_on(pins: Path, *numbers: int) -> None:
    """What a killed controller leaves."""
    for number in numbers:
        (pins / f"gpio{number}").write_bytes(b"1")


def on(pins: Path) -> list[bool]:
    return [read_pin(pins, number) for number in (17, 27, 22)]


def oven(folder: Path, text: str | bytes = TOML) -> str:
    path = folder / "oven.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return str(path)


# ---- from oven.toml alone ------------------------------------------------------------------------


def test_a_sound_file_is_enough(pins: Path, capsys: pytest.CaptureFixture[str]) -> None:
    left_on(pins, 17, 27, 22)
    assert main([oven(pins)]) == 0
    assert on(pins) == [False] * 3
    said = capsys.readouterr()
    assert said.out == ""
    assert "heater (GPIO17)" in said.err


SPOILED = {
    "an unknown table": TOML + "\n[oven]\ncolour = 3\n",
    "not TOML": TOML.replace("[fan]", "[fan").replace('name = "Estuary box"', "name = Estuary box"),
    "a value of the wrong kind": TOML.replace("power_w = 300.0", 'power_w = "much"'),
    "UTF-16": TOML.encode("utf-16"),
    "not UTF-8": TOML.encode().replace(b"Estuary", b"\xe4\xff\xfe"),
    "Windows line ends": TOML.replace("\n", "\r\n"),
    "inline tables": TOML.replace(
        "[heater]", "heater = { power_w = 300.0, pin = 17, active_high = true }\n[other]"
    ).replace("pin = 17            #", "#"),
    "quoted numbers": TOML.replace("pin = 17", 'pin = "17"').replace("pin = 27", "pin='27'"),
    "dotted keys": "heater.pin = 17\ncontactor.pin = 27\nfan.pin = 22\n" + "]]]",
    "cut off after the pins": TOML[: TOML.index("[[thermometers]]") + 7],
    "cut off within a line": TOML[: TOML.index("[[thermometers]]")] + "[[thermome",
    "a card that lost a block": TOML[:700] + "\0" * 512 + TOML[1212:],
}


@pytest.mark.parametrize("how", SPOILED)
def test_a_spoiled_file_tells_its_pins_all_the_same(pins: Path, how: str) -> None:
    left_on(pins, 17, 27, 22)
    assert main([oven(pins, SPOILED[how])]) == 0
    assert on(pins) == [False] * 3


@pytest.mark.parametrize(
    ("spoiled", "known"),
    [("[[heater]", True), ("[heater", True), ("[ heater ]", True), ("[haeter]", False),
     ("# [heater]", False)],
)  # fmt: skip
def test_a_header_with_a_slip_in_it(
    pins: Path, spoiled: str, known: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its pin is driven off in any case; where it may not be the heater's, that is said."""
    left_on(pins, 17, 27, 22)
    assert main([oven(pins, TOML.replace("[heater]", spoiled))]) == (0 if known else 1)
    assert on(pins) == [False] * 3
    assert ("Pull the heater's plug" in capsys.readouterr().err) is not known


def test_an_active_low_output_is_driven_high(pins: Path) -> None:
    text = TOML.replace("active_high = true", "active_high = false")
    assert main([oven(pins, text)]) == 0
    assert on(pins) == [True, False, False]
    _, ledger = pins_in(text)
    assert ledger == "nightcure.ledger"


def test_an_active_low_table_does_not_turn_its_neighbour(pins: Path) -> None:
    """Also where the neighbour's header is spoiled: a second pin in a table is another output's."""
    text = "[heater]\npin = 17\nactive_high = true\n)contactor(\npin = 27\nactive_high = false\n"
    assert pins_in(text)[0] == [
        ClaimedPin("heater", 17, True),
        ClaimedPin("heater", 27, False),
    ]


def test_what_nothing_says_is_taken_as_the_settings_take_it_and_said(
    pins: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    defaults = {m.model_fields["active_high"].default for m in (Heater, Output)}
    assert defaults == {off.ACTIVE_HIGH}
    left_on(pins, 17)
    assert main([oven(pins, "[heater]\npin = 17\n")]) == 0
    assert not read_pin(pins, 17)
    assert "taken to be active high since nothing says otherwise" in capsys.readouterr().err


def test_a_number_that_was_cut_off_is_no_pin(pins: Path) -> None:
    """Of 9 to 27 no first digit alone is a pin, but 9, which is one."""
    bounds = {m.ge if hasattr(m, "ge") else m.le for m in Pin.__metadata__[0].metadata}
    assert bounds == {off.PINS.start, off.PINS.stop - 1}
    assert pins_in("[heater]\npin = 1")[0] == []
    assert pins_in("[heater]\npin = 2")[0] == []


def test_the_stop_button_is_not_driven(pins: Path) -> None:
    assert main([oven(pins, TOML + "\n[stop_button]\npin = 23\n")]) == 0
    assert not (pins / "gpio23").exists()


# ---- from what the controller wrote down ---------------------------------------------------------


def claimed(folder: Path, active_high: bool = True) -> Settings:
    """As a controller that was killed: everything on, and written down."""
    (folder / "state").mkdir(exist_ok=True)
    settings = SETTINGS.model_copy(update={"ledger": folder / "state" / "nightcure.ledger"})
    settings = changed(settings, **{w: {"active_high": active_high} for w in OUTPUTS})
    outputs = Outputs(settings, Told())
    outputs.apply(ON)
    for switch in outputs._switches.values():
        switch._device.pin.close()
    return settings


def test_the_controller_writes_down_what_it_claims(pins: Path) -> None:
    settings = claimed(pins, active_high=False)
    path = settings.ledger.with_name("nightcure.ledger.pins")
    assert read_claimed(path) == [
        ClaimedPin("heater", 17, False), ClaimedPin("contactor", 27, False),
        ClaimedPin("fan", 22, False),
    ]  # fmt: skip


@pytest.mark.parametrize("text", [None, b"", b"\x00" * 4096, b"[[[[", b"ledger = 3"])
@pytest.mark.parametrize("where", ["runtime", "state"])
@pytest.mark.parametrize("active_high", [True, False])
def test_without_a_readable_file_it_is_enough(
    pins: Path, monkeypatch: pytest.MonkeyPatch, text: bytes | None, where: str, active_high: bool
) -> None:
    """In the runtime folder, and in the state folder where the first is gone."""
    if where == "runtime":
        (pins / "run").mkdir()
        monkeypatch.setenv("RUNTIME_DIRECTORY", str(pins / "run"))
    monkeypatch.setenv("STATE_DIRECTORY", str(pins / "state"))
    claimed(pins, active_high)
    if where == "runtime":
        (pins / "state" / "nightcure.ledger.pins").unlink()
    assert on(pins) == [active_high] * 3
    path = oven(pins, text) if text is not None else str(pins / "none.toml")
    assert main([path]) == 0
    assert on(pins) == [not active_high] * 3


def test_another_ovens_pins_are_left_alone(pins: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two on one board: what is known of this one is enough."""
    left_on(pins, 5)
    monkeypatch.setattr(off, "RUNTIME", str(pins / "run"))
    (pins / "run").mkdir()
    write_claimed(pins / "run" / "nightcure.ledger", {"heater": (5, True)})
    text = TOML.replace('"nightcure.ledger"', f'"{claimed(pins).ledger}"')
    assert main([oven(pins, text)]) == 0
    assert on(pins) == [False] * 3
    assert read_pin(pins, 5)


def test_old_and_new_pins_are_both_driven_off(pins: Path) -> None:
    """The heater was moved to another pin in the file while the old one heats."""
    settings = claimed(pins)
    left_on(pins, 18)
    text = TOML.replace("pin = 17", "pin = 18").replace(
        '"nightcure.ledger"', f'"{settings.ledger}"'
    )
    assert main([oven(pins, text)]) == 0
    assert on(pins) == [False] * 3
    assert not read_pin(pins, 18)


def test_a_level_counts_as_it_was_claimed(pins: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The file was changed to active low while an active-high relay is on."""
    settings = claimed(pins)
    text = TOML.replace("active_high = true", "active_high = false")
    text = text.replace('"nightcure.ledger"', f'"{settings.ledger}"')
    assert main([oven(pins, text)]) == 0
    assert on(pins) == [False] * 3
    assert "active high as it was claimed, though oven.toml differs now" in capsys.readouterr().err


def test_half_a_pins_file_costs_itself_only(pins: Path) -> None:
    settings = claimed(pins)
    path = settings.ledger.with_name("nightcure.ledger.pins")
    for data in (path.read_bytes()[:20], b"[]", b'{"heater": {}}', b"\xff", b""):
        path.write_bytes(data)
        left_on(pins, 17, 27, 22)
        text = TOML.replace('"nightcure.ledger"', f'"{settings.ledger}"')
        assert main([oven(pins, text)]) == 0
        assert on(pins) == [False] * 3


def test_a_pins_file_that_cannot_be_written_stops_no_controller(
    pins: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setenv("RUNTIME_DIRECTORY", str(pins / "gone"))
    write_claimed(pins / "x.ledger", {"heater": (17, True)})
    assert "could not be written" in caplog.text
    assert read_claimed(pins / "x.ledger.pins") == [ClaimedPin("heater", 17, True)]


def test_the_file_is_written_only_where_it_changed(pins: Path) -> None:
    """The card wears."""
    write_claimed(pins / "x.ledger", {"heater": (17, True)})
    first = (pins / "x.ledger.pins").stat()
    write_claimed(pins / "x.ledger", {"heater": (17, True)})
    assert (pins / "x.ledger.pins").stat().st_ino == first.st_ino
    write_claimed(pins / "x.ledger", {"heater": (18, True)})
    assert read_claimed(pins / "x.ledger.pins") == [ClaimedPin("heater", 18, True)]


# ---- what cannot be done is loud -----------------------------------------------------------------


def test_where_nothing_is_known_the_plug_is_named(
    pins: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([str(pins / "none.toml")]) == 1
    said = capsys.readouterr().err
    assert "The heater's pin is written nowhere" in said
    assert "none.toml (No such file or directory)" in said
    assert "Pull the heater's plug." in said
    assert said.count("\n") == 1, "one sentence"


def test_a_pin_that_is_held_is_named_with_its_holder(
    pins: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    left_on(pins, 27, 22)
    taken = Line(17, True)
    assert main([oven(pins)]) == 1
    said = capsys.readouterr().err
    assert "heater: GPIO17 cannot be driven off: held by 'nightcure'." in said
    assert "Stop the controller first, or pull the heater's plug." in said
    assert on(pins)[1:] == [False] * 2, "the others are off all the same"
    taken.release()


def test_a_line_let_go_of_a_little_later_is_waited_for(
    pins: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(off, "BUSY_S", 20.0)
    process = subprocess.Popen(
        [sys.executable, "-c", HOLDS], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "on\n"
    waits: list[float] = []

    def sleep(duration_s: float) -> None:
        waits.append(duration_s)
        if len(waits) == 3:
            process.kill()
            process.communicate(timeout=20)

    monkeypatch.setattr(off, "time", SimpleNamespace(monotonic=time.monotonic, sleep=sleep))
    assert main([oven(pins)]) == 0
    assert len(waits) == 3
    assert on(pins) == [False] * 3


def test_a_line_that_does_not_follow_is_said(
    pins: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    plain = bench_chip.LineRequest.get_value

    def stuck(self: bench_chip.LineRequest, line: int) -> bench_chip.Value:
        return bench_chip.Value.ACTIVE if line == 17 else plain(self, line)

    monkeypatch.setattr(bench_chip.LineRequest, "get_value", stuck)
    assert main([oven(pins)]) == 1
    assert "GPIO17 cannot be driven off: it does not follow" in capsys.readouterr().err


def test_any_error_leaves_the_others_to_be_driven(
    pins: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    left_on(pins, 17, 27, 22)
    plain = bench_chip.LineRequest.set_value

    def broken(self: bench_chip.LineRequest, line: int, value: bench_chip.Value) -> None:
        if line == 17:
            raise RuntimeError("stuck")
        plain(self, line, value)

    monkeypatch.setattr(bench_chip.LineRequest, "set_value", broken)
    assert main([oven(pins)]) == 1
    assert on(pins) == [True, False, False]


# ---- the command ---------------------------------------------------------------------------------


def run(*words: str, code: str | None = None) -> subprocess.CompletedProcess[str]:
    how = ["-c", code] if code else ["-m", "nightcure"]
    return subprocess.run(
        [sys.executable, *how, *words], capture_output=True, text=True, timeout=60, check=False
    )


def test_it_imports_the_standard_library_and_the_pin_binding_alone(pins: Path) -> None:
    """With the real binding, as on a board; what else is loaded is Python's own."""
    left_on(pins, 17, 27, 22)
    code = (
        "import os, sys\n"
        "before = set(sys.modules)\n"
        f"sys.argv = ['nightcure', 'off', {oven(pins)!r}]\n"
        "from nightcure.cli.entry import run\n"
        "try: run()\n"
        "except SystemExit as end: status = end.code\n"
        "import gpiod\n"
        "tops = {name.partition('.')[0] for name in set(sys.modules) - before}\n"
        "print(status, sorted(tops - sys.stdlib_module_names - {'org'}))\n"
        "print(sorted(n for n in sys.modules if n.startswith('nightcure')))\n"
    )
    done = run(code=code)
    status, modules = done.stdout.splitlines()
    assert status == "0 ['gpiod', 'nightcure']", done.stdout + done.stderr
    assert "pydantic" not in done.stdout
    assert modules == str(
        ["nightcure", "nightcure.board", "nightcure.board.claimed_pins", "nightcure.board.lines",
         "nightcure.board.off", "nightcure.cli", "nightcure.cli.entry", "nightcure.simulate",
         "nightcure.simulate.bench_chip"]
    )  # fmt: skip
    assert on(pins) == [False] * 3


def test_the_command_drives_off_what_a_killed_process_left(pins: Path) -> None:
    process = subprocess.Popen(
        [sys.executable, "-c", HOLDS], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "on\n"
    process.kill()
    process.communicate(timeout=20)
    assert read_pin(pins, 17), "the Pi's kernel keeps a dead process's output driven"
    done = run("off", oven(pins, TOML + "[nonsense]\n"))
    assert done.returncode == 0, done.stderr
    assert not read_pin(pins, 17)


def test_without_a_file_named_it_looks_where_the_controller_looks(pins: Path) -> None:
    left_on(pins, 17)
    oven(pins)  # in the present folder
    assert run("off").returncode == 0
    assert not read_pin(pins, 17)


def test_a_mistyped_option_drives_everything_off_first(pins: Path) -> None:
    left_on(pins, 17)
    done = run("off", "--now", oven(pins))
    assert done.returncode == 2
    assert "'off' has no option --now" in done.stderr
    assert not read_pin(pins, 17)


def test_its_help_is_one_with_the_other_commands() -> None:
    done = run("off", "--help")
    assert done.returncode == 0
    assert "Drive every output off and leave." in done.stdout
    assert "off" in run("--help").stdout
