"""nightcure setup as a person uses it: at a terminal, by lines, by options; nothing half done."""

from __future__ import annotations

import contextlib
import os
import stat
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from typer.testing import CliRunner, Result

from nightcure.cli.main import app
from nightcure.settings import Role, load_settings
from nightcure.simulate.wires import W1Tree, read_pin
from tests.setup.board import AIR, LID, RIM, SHED, VirtualBoard
from tests.setup.terminal import Terminal
from tests.workshop import wait_for

PHRASE = "kelp and heron"
NAMED = ["--sensor", f"{AIR}=air:Air"]
SAFE = [
    *("--yes", "--power", "300", "--relay", "solid-state", "--cut-out", "65", "--no-passphrase"),
]


@pytest.fixture(scope="module")
def board(tmp_path_factory: pytest.TempPathFactory) -> Iterator[VirtualBoard]:
    with VirtualBoard(tmp_path_factory.mktemp("virtual")) as board:
        yield board


@pytest.fixture
def bus(tmp_path: Path) -> Path:
    """A bus with one thermometer that does not move."""
    W1Tree(tmp_path / "w1", [AIR])
    (tmp_path / "w1" / "w1_bus_master1" / "therm_bulk_read").unlink()
    return tmp_path / "w1"


def lines(folder: Path, bus: Path, *options: str, answers: str = "") -> Result:
    """setup with its standard input from `answers`, a line each."""
    with contextlib.chdir(folder):
        return CliRunner().invoke(app, ["setup", "--bus", str(bus), *options], input=answers)


def left_in(folder: Path) -> list[str]:
    return sorted(name for name in os.listdir(folder) if name != "w1")


# ---- at a terminal -------------------------------------------------------------------------


def test_every_question_at_a_terminal(board: VirtualBoard, tmp_path: Path) -> None:
    t = Terminal("setup", folder=tmp_path, environment=board.environment)
    t.answer("Name of the oven [My oven]:", "Estuary box")
    t.answer("°C or °F", "kelvin")
    t.answer("not one of c, f", "F")
    t.expect(f"1  {AIR}  48.")
    t.answer("Warm them in your hand", "")
    t.expect("two fingers")
    board.hand(2)
    t.expect(f"{LID} rose by")
    board.hand(0)
    t.answer("It measures", "part")
    t.answer("Its name [Part]:", "Lid")
    t.expect("two fingers")
    board.hand(1)
    t.expect(f"{AIR} rose by")
    board.hand(0)
    t.answer("[air]:", "")
    t.answer("Its name [Air]:", "")
    t.answer("two fingers", "")
    t.answer(f"3  {RIM} (air, part", "pa")
    t.answer("Its name [Part]:", "Lid")
    t.answer("'Lid' is the name of another one", "Rim")
    t.answer(f"4  {SHED} (air, part", "skip")
    t.expect("left out")
    t.answer("Is that right?", "y")
    t.answer("power in watts", "3 kilowatts")
    t.answer("not a number of W", "300 W")
    t.answer("Relay (", "contactor")
    t.answer("heater's relay [17]:", "4")
    t.answer("4 is pulled up at boot", "17")
    t.answer("active-high", "")
    t.answer("contactor in series", "17")
    t.answer("GPIO17 is the heater's", "27")
    t.answer("fan", "none")
    t.answer("stop button", "23")
    t.answer("siren or buzzer", "23")
    t.answer("GPIO23 is the stop button's", "16")
    t.answer("Lamps, as alarm=26", "alarm=26 horn=20")
    t.answer("'horn' is no lamp", "alarm=26 running=16")
    t.answer("GPIO16 is the siren's", "alarm=26, running=20")
    t.answer("Are they on with a high pin", "n")
    t.answer("that silences", "13")
    t.expect("alarm lamp: GPIO26")
    t.answer("or wired (", "wired")
    t.answer("Mains (", "eu")
    t.answer("Foam board (", "polystyrene")
    t.answer("styrene dissolves polystyrene", "pir")
    t.answer("Heater (", "panel")
    t.answer("hides a thermostat", "tube")
    t.answer("cut-out is set to", "75")
    t.answer("it should be 30 to 70 °C", "65")
    t.answer("may open", "")
    t.answer("How many cut-outs", "2")
    t.answer("warmest day", "20")
    t.answer("Smoke alarm (", "household")
    t.answer("People sleep", "")
    t.answer("Inside, in metres", "big")
    t.answer("not three lengths", "1.2 x 0.6 x 0.6")
    t.answer("thickness", "25")
    t.answer("kg in all", "15")
    t.answer("Seen from", "network")
    t.answer("Passphrase:", "short")
    t.answer("at least 8", PHRASE)
    t.answer("again:", "something else")
    t.answer("not the same", PHRASE)
    t.answer("again:", PHRASE)
    t.answer("service", "")
    assert not (tmp_path / "oven.toml").exists(), "nothing before the last answer"
    t.answer("Write oven.toml?", "y")
    t.expect("What follows from your answers")
    t.expect("Test both, every year")
    t.answer("Try siren and lamps now", "n")
    assert t.end() == 0
    assert PHRASE not in t.text
    shown = t.text.replace("\r\n", "\n")
    assert [line for line in shown.split("\n") if len(line.split("\r")[-1]) > 80] == []
    path = tmp_path / "oven.toml"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    s = load_settings(path)
    assert [(x.id, x.role, x.name) for x in s.thermometers] == [
        (AIR, Role.AIR, "Air"), (LID, Role.PART, "Lid"), (RIM, Role.PART, "Rim")
    ]  # fmt: skip
    assert (s.units, s.heater.power_w, s.heater.pin, s.web.address) == ("F", 300, 17, "0.0.0.0")
    assert s.heater.window_s >= 120, "a contactor's"
    assert s.fan is None
    assert (s.limits.cut_out_c, s.limits.cut_outs) == (65.0, 2)
    assert (s.installation.foam, s.installation.people_sleep) == ("pir", None)
    assert s.stop_button is not None
    told = {name: (o.pin, o.active_high) for name, o in s.annunciator.outputs().items()}
    assert told == {"siren": (16, False), "running": (20, False), "alarm": (26, False)}
    assert s.annunciator.silence_button is not None
    assert s.annunciator.silence_button.pin == 13
    assert s.web.passphrase_hash is not None
    assert PasswordHasher().verify(s.web.passphrase_hash, PHRASE)
    assert not any((board.folder / "pins").glob("gpio[0-9]*")), "no pin was touched"


def test_a_wrong_pick_can_be_done_again(board: VirtualBoard, tmp_path: Path) -> None:
    t = Terminal("setup", "--name", "x", "--units", "C",
                 folder=tmp_path, environment=board.environment)  # fmt: skip
    t.answer("Warm them in your hand", "n")
    for number, sensor_id in enumerate((AIR, LID, RIM, SHED), 1):
        t.answer(f"{number}  {sensor_id} (air, ", "skip")
    t.expect("None measures the air")
    t.answer("Warm them in your hand", "n")
    roles = {AIR: "air", LID: "part", RIM: "part", SHED: "ambient"}
    for number, (sensor_id, role) in enumerate(roles.items(), 1):
        t.answer(f"{number}  {sensor_id} (air, ", role)
        t.answer("Its name", "")
    t.answer("Is that right?", "n")
    t.expect("Warm them in your hand")
    t.type("\x03")
    assert t.end() == 130
    assert "nothing was written" in t.text
    assert left_in(tmp_path) == []


@pytest.mark.parametrize(
    ("question", "key"),
    [("Name of the oven", "\x04"), ("Warm it", "\x03"), ("watts", "\x03"), ("Passphrase", "\x03"),
     ("Passphrase", "\x04")],
)  # fmt: skip
def test_ended_at_any_question_it_leaves_nothing(
    tmp_path: Path, bus: Path, question: str, key: str
) -> None:
    known = {
        "watts": ["--name", "x", "--units", "C", *NAMED],
        "Warm it": ["--name", "x", "--units", "C"],
        "Passphrase": [
            "--name", "x", "--units", "C", *NAMED, "--power", "300", "--relay", "solid",
            "--pin", "17", "--active-high", "--contactor", "none", "--fan", "none",
            "--stop-button", "none", "--siren", "none", "--lamps", "none", "--loss", "4",
            "--page", "machine", "--wiring", "wired",
            "--supply", "eu", "--foam", "pir", "--heater", "tube", "--cut-out", "65",
            "--tolerance", "5", "--cut-outs", "1", "--warmest", "25", "--alarm", "linked",
            "--sleep", "elsewhere",
        ],
    }.get(question, [])  # fmt: skip
    t = Terminal("setup", "--bus", str(bus), *known, folder=tmp_path, environment={})
    t.expect(question)
    t.type(key)
    assert t.end() == 130
    assert "nothing was written" in t.text
    assert "Traceback" not in t.text
    assert left_in(tmp_path) == []


def test_a_file_that_is_there_is_asked_about_first(tmp_path: Path, bus: Path) -> None:
    (tmp_path / "oven.toml").write_text("mine")
    t = Terminal("setup", "--bus", str(bus), folder=tmp_path, environment={})
    t.answer("oven.toml is there already. Replace it? (y/n) [n]:", "")
    assert t.end() == 130
    assert "nothing was written" in t.text
    assert (tmp_path / "oven.toml").read_text() == "mine"


def test_siren_and_lamps_are_tried_at_the_end(board: VirtualBoard, tmp_path: Path) -> None:
    """Fails before this: setup asked for neither, and tried neither."""
    options = [*SAFE[1:-1], "--no-passphrase", "--name", "x", "--units", "C", *NAMED, "--pin", "17",
               "--active-high", "--contactor", "none", "--fan", "none", "--stop-button", "none",
               "--loss", "4", "--page", "machine", "--wiring", "wired", "--supply", "eu",
               "--foam", "pir", "--heater", "tube", "--tolerance", "5", "--cut-outs", "1",
               "--warmest", "25", "--alarm", "linked", "--sleep", "elsewhere", "--by-hand",
               "--siren", "16", "--siren-active-high", "--silence-button", "none"]  # fmt: skip
    t = Terminal("setup", *options, folder=tmp_path, environment=board.environment)
    t.answer("Lamps, as alarm=26", "alarm=26")
    t.answer("Write oven.toml?", "y")
    t.answer("Try siren and lamps now", "y")
    pins = board.folder / "pins"
    t.expect("Now: siren, GPIO16")
    wait_for(lambda: read_pin(pins, 16), 5, "it sounds")
    t.expect("Now: lamp 'alarm', GPIO26")
    wait_for(lambda: read_pin(pins, 26), 5, "it is lit")
    assert not read_pin(pins, 16), "one after the other"
    t.type("\x03")
    t.expect("oven.toml is written")
    assert t.end() == 0
    assert not read_pin(pins, 26), "also where a person ends it"
    assert not (pins / "gpio17").exists()


# ---- by lines and by options ----------------------------------------------------------------


def test_a_line_an_answer(tmp_path: Path, bus: Path) -> None:
    box = ["", "", "", "", "60", "", "", "", "", "here"]
    pins = ["18", "", "none", "", "", "", ""]
    answers = ["Shed oven", "", "n", "", "", "", "450", "solid", *pins, *box,
               "none", "none", "", "", "y", ""]  # fmt: skip
    done = lines(tmp_path, bus, answers="\n".join(answers) + "\n")
    assert done.exit_code == 0, done.stdout + done.stderr
    s = load_settings(tmp_path / "oven.toml")
    assert (s.name, s.heater.power_w, s.heater.pin, s.contactor) == ("Shed oven", 450, 18, None)
    assert (s.limits.air_c, s.limits.cut_out_c, s.installation.foam) == (55.0, 60.0, None)
    assert "WRONG: People sleep in, over or beside" in " ".join(done.stdout.split())
    assert s.web.passphrase_hash is None
    assert str(s.ledger) == "/var/lib/nightcure/nightcure.ledger"
    assert "A GUESS" in (tmp_path / "oven.toml").read_text()


@pytest.mark.parametrize(
    ("answers", "words"),
    [
        ("", "The answers end before 'Name of the oven'"),
        ("x\nmaybe\n", "'maybe' is not one of"),
        ("x\nC\nn\nair\nAir\ny\nmany\n", "'many' is not a number of W"),
        ("x\nC\nn\nair\nAir\ny\n-5\n", "out of range"),
        ("x\nC\nn\nair\nAir\ny\nnan\n", "out of range"),
        ("x\nC\nn\nair\nAir\ny\n300\nssr\n", "not one of solid-state, contactor"),
        ("x\nC\nn\nair\nAir\ny\n300\nsolid\n3\n", "3 is pulled up at boot"),
        ("x\nC\nn\nair\nAir\ny\n300\nsolid\n28\n", "there is no GPIO28"),
        ("x\nC\nn\nair\nAir\ny\n300\nsolid\n14\n", "14 is the serial console's"),
        ("x\nC\nn\npart\nPart\n", "None measures the air"),
        ("\x00\x1b[31m\n", "can be printed"),
        ("x" * 5000 + "\n", "at most 60"),
    ],
)
def test_hostile_lines_end_it_with_a_sentence(
    tmp_path: Path, bus: Path, answers: str, words: str
) -> None:
    done = lines(tmp_path, bus, answers=answers)
    assert done.exit_code == 2
    assert words in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert left_in(tmp_path) == []


def test_options_alone(tmp_path: Path, bus: Path) -> None:
    secret = tmp_path / "phrase"
    secret.write_text(f"{PHRASE}\nsecond line\n")
    done = lines(
        tmp_path, bus, "--yes", "--out", "box.toml", "--power", "300", "--relay", "solid-state",
        "--cut-out", "65", "--inside", "1.2x0.6x0.6", "--page", "network",
        "--passphrase-file", str(secret),
    )  # fmt: skip
    assert done.exit_code == 0, done.stderr
    s = load_settings(tmp_path / "box.toml")
    assert s.thermometers[0].role is Role.AIR, "one on the bus needs no question"
    assert s.contactor is not None
    assert s.contactor.pin == 27
    assert s.web.passphrase_hash is not None
    assert PasswordHasher().verify(s.web.passphrase_hash, PHRASE)
    assert not (tmp_path / "pins").exists()


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--yes"], "no safe answer to 'Its power in watts'; give --power"),
        (["--yes", "--power", "300"], "give --relay"),
        (["--yes", "--power", "300", "--relay", "solid-state"], "give --cut-out"),
        (
            ["--yes", "--power", "300", "--relay", "solid-state", "--cut-out", "65"],
            "chooses no passphrase",
        ),
        ([*SAFE, "--page", "network"], "anyone on the network"),
        ([*SAFE, "--pin", "17", "--contactor", "17"], "--contactor: GPIO17 is the heater's"),
        ([*SAFE, "--fan", "gpio8"], "--fan: 8 is pulled up at boot"),
        ([*SAFE, "--siren", "17"], "--siren: GPIO17 is the heater's"),
        ([*SAFE, "--lamps", "26"], "--lamps: '26' is no lamp; write as alarm=26 running=20"),
        ([*SAFE, "--lamps", "alarm"], "--lamps: '' is not a pin"),
        ([*SAFE, "--siren", "16", "--silence-button", "16"], "GPIO16 is the siren's"),
        ([*SAFE, "--inside", "1x1"], "--inside: '1x1' is not three lengths"),
        ([*SAFE, "--loss", "1e9"], "--loss: 1e9 is out of range"),
        ([*SAFE, "--sensor", "x"], "--sensor x"),
        ([*SAFE, "--sensor", f"{AIR}=part:Lid"], "no thermometer has role = 'air'"),
        ([*SAFE, "--sensor", f"{AIR}=air:A", "--sensor", f"{AIR}=part:B"], "two thermometers"),
        ([*SAFE[:-1], "--passphrase-hash", "kelp and heron"], "is not a hash"),
        ([*SAFE[:-1], "--passphrase-file", "/nowhere"], "cannot be read"),
        ([*SAFE, "--out", "none/oven.toml"], "there is no folder"),
        ([*SAFE, "--out", "."], "is a folder"),
    ],
)
def test_options_that_are_wrong(tmp_path: Path, bus: Path, options: list[str], words: str) -> None:
    done = lines(tmp_path, bus, *options)
    assert done.exit_code == 2
    assert words in done.stderr.replace("\n", " ")
    assert "Traceback" not in done.stderr
    assert left_in(tmp_path) == []


def test_yes_replaces_nothing_and_replace_does(tmp_path: Path, bus: Path) -> None:
    path = tmp_path / "oven.toml"
    path.write_text("mine")
    done = lines(tmp_path, bus, *SAFE)
    assert done.exit_code == 2
    assert "add --replace" in done.stderr
    assert path.read_text() == "mine"
    assert lines(tmp_path, bus, *SAFE, "--replace").exit_code == 0
    assert tomllib.loads(path.read_text())["heater"]["pin"] == 17


def test_several_thermometers_are_not_guessed(tmp_path: Path, bus: Path) -> None:
    W1Tree(bus, [AIR, SHED])
    done = lines(tmp_path, bus, *SAFE)
    assert done.exit_code == 2
    assert "cannot know which of 2" in done.stderr


def test_a_bus_without_thermometers(tmp_path: Path) -> None:
    (tmp_path / "w1").mkdir()
    for place, words in (("w1", "shows no thermometer"), ("w2", "is not there")):
        done = lines(tmp_path, tmp_path / place, *SAFE)
        assert done.exit_code == 2
        assert words in done.stderr
        assert "dtoverlay=w1-gpio" in done.stderr


@pytest.mark.parametrize("status", [0, 1])
def test_of_a_package_it_writes_the_services_file_and_starts_it(
    status: int, bus: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Fails before this: it wrote ./oven.toml for a controller by hand."""
    installer, oven = tmp_path / "systemd" / "install", tmp_path / "etc" / "oven.toml"
    installer.parent.mkdir()
    installer.write_text(
        f"import sys; from pathlib import Path\n"
        f"Path({str(tmp_path / 'called')!r}).write_text(' '.join(sys.argv[1:]))\n"
        f"sys.exit({status})\n"
    )
    oven.parent.mkdir()
    monkeypatch.setattr("sys.prefix", str(tmp_path))
    monkeypatch.setattr("nightcure.setup.package.SERVICE_OVEN", oven)
    monkeypatch.setattr("os.geteuid", lambda: 0)
    done = lines(tmp_path, bus, *NAMED, *SAFE)
    assert done.exit_code == status, done.output
    assert load_settings(oven).ledger == Path("/var/lib/nightcure/nightcure.ledger")
    assert (tmp_path / "called").read_text() == "--yes"
    assert ("It runs." in done.output) is (status == 0)
    assert "nightcure controller" not in done.output
    monkeypatch.setattr("os.geteuid", lambda: 1000)
    again = lines(tmp_path, bus, *NAMED, *SAFE, "--replace")
    assert again.exit_code == 2
    assert "sudo nightcure setup" in again.output
