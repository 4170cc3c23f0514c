"""Siren and lamps on bench pins: what they show, and that nothing that befalls them reaches the
heater or the loop."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import pytest

from nightcure.board import siren
from nightcure.board.off import main, pins_in
from nightcure.board.relay import Outputs, Switch
from nightcure.board.siren import SignalOutputs
from nightcure.daemon.daemon import Daemon
from nightcure.settings import ANNUNCIATOR, AnnunciatorOutputs, Output, Settings
from nightcure.simulate import bench_chip
from nightcure.simulate.wires import W1Tree, read_pin
from nightcure.tick import Lamp, Signals
from tests.nights import SETTINGS, SHORT, start
from tests.workshop import wait_for

from .wiring import ON, Told

SIREN, RUNNING, READY, ALARM, BUTTON = 16, 20, 21, 26, 13
TELLS = AnnunciatorOutputs.model_validate(
    {
        "siren": {"pin": SIREN},
        "running": {"pin": RUNNING, "active_high": False},
        "ready": {"pin": READY},
        "alarm": {"pin": ALARM},
        "silence_button": {"pin": BUTTON},
    }
)
SETTINGS_TELLING = SETTINGS.model_copy(update={"annunciator": TELLS})


def test_they_show_what_they_are_told(pins: Path) -> None:
    (pins / f"gpio{RUNNING}").write_bytes(b"1")
    outputs = SignalOutputs(SETTINGS_TELLING)
    outputs.show(Signals(siren=True, running=Lamp.LIT, alarm=Lamp.FLASHES))
    wait_for(lambda: read_pin(pins, SIREN), 5, "the siren sounds")
    wait_for(lambda: not read_pin(pins, RUNNING), 5, "an active-low lamp is lit by a low line")
    wait_for(lambda: read_pin(pins, ALARM), 5, "the lamp flashes")
    wait_for(lambda: not read_pin(pins, ALARM), 5, "and goes dark between")
    wait_for(lambda: read_pin(pins, ALARM), 5, "and lights again")
    assert read_pin(pins, SIREN)
    assert not read_pin(pins, READY)
    outputs.close()
    lows = [read_pin(pins, n) for n in (SIREN, READY, ALARM)]
    assert (lows, read_pin(pins, RUNNING)) == ([False] * 3, True)


def test_a_button_pressed_between_two_ticks_is_kept(
    pins: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    held = threading.Event()
    monkeypatch.setattr(siren.PressButton, "pressed", lambda _: held.is_set())
    outputs = SignalOutputs(SETTINGS_TELLING)
    assert not outputs.silence_pressed()
    held.set()
    wait_for(lambda: outputs._pressed, 5, "it is noticed")
    held.clear()
    assert outputs.silence_pressed()
    assert not outputs.silence_pressed(), "told once"
    outputs.close()


def test_the_buttons_pin_is_read_beside_the_loop(
    pins: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Fails before this: a read that hangs would have held up the tick."""
    readers: set[str] = set()
    monkeypatch.setattr(
        siren.PressButton, "pressed", lambda _: readers.add(threading.current_thread().name)
    )
    outputs = SignalOutputs(SETTINGS_TELLING)
    wait_for(lambda: bool(readers), 5, "it is looked at")
    outputs.silence_pressed()
    outputs.close()
    assert readers == {"siren"}


def fails(_: Switch, on: bool) -> None:
    raise OSError("the line is gone")


def hangs(_: Switch, on: bool) -> None:
    time.sleep(60.0)


@pytest.mark.parametrize("breaks", [fails, hangs])
def test_a_siren_that_breaks_touches_nothing_else(
    pins: Path, monkeypatch: pytest.MonkeyPatch, breaks: object
) -> None:
    heater = Outputs(SETTINGS_TELLING, Told())
    plain = Switch.set
    monkeypatch.setattr(
        Switch, "set",
        lambda self, on: breaks(self, on) if self.pin == SIREN else plain(self, on),  # type: ignore[operator]
    )  # fmt: skip
    outputs = SignalOutputs(SETTINGS_TELLING)
    began_s = time.monotonic()
    for _ in range(50):
        heater.apply(ON)
        outputs.show(Signals(siren=True, running=Lamp.LIT))
        outputs.silence_pressed()
    assert read_pin(pins, SETTINGS.heater.pin)
    heater.close()
    outputs.close()
    assert time.monotonic() - began_s < 20.0, "nobody waits for it but a second at the end"
    assert not read_pin(pins, SETTINGS.heater.pin)


def test_a_siren_whose_pin_is_taken_stops_no_oven(pins: Path) -> None:
    heater = Outputs(SETTINGS_TELLING, Told())
    other = Switch(Output(pin=SIREN), "a lamp of another's")
    outputs = SignalOutputs(SETTINGS_TELLING)
    outputs.show(Signals(siren=True, ready=Lamp.LIT))
    wait_for(lambda: read_pin(pins, READY), 5, "the others work")
    outputs.close()
    heater.close()
    other.close()


# ---- off -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        '[heater]\npin = 17\n[annunciator]\nsiren = { pin = 16 }\nsilence_button = { pin = 13 }\n',
        '[heater]\npin = 17\n[annunciator.siren]\npin = 16\n[annunciator.silence_button]\npin = 13',
        'heater.pin = 17\n[ "annunciator" . siren ]\npin = 16\n[stop_button]\npin = 13\n',
    ],
)  # fmt: skip
def test_off_reads_the_siren_and_no_button(text: str) -> None:
    found, _ = pins_in(text)
    assert [(o.what, o.pin) for o in found] == [("heater", 17), ("siren", 16)]


def test_off_silences_what_a_killed_controller_left_sounding(
    pins: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    settings = SETTINGS_TELLING.model_copy(update={"ledger": pins / "nightcure.ledger"})
    Outputs(settings, Told()).close()
    for pin in (17, SIREN, ALARM):
        (pins / f"gpio{pin}").write_bytes(b"1")
    assert main([str(pins / "oven.toml")]) == 0
    assert not any(read_pin(pins, n) for n in (17, SIREN, ALARM))
    assert read_pin(pins, RUNNING), "an active-low lamp is dark at a high level"
    # One that cannot be driven is told, and no plug is pulled for it.
    plain = bench_chip.request_lines

    def refuses(path: str, config: dict[int, object], consumer: str) -> object:
        if SIREN in config:
            raise OSError(5, "Input/output error")
        return plain(path, config, consumer)  # type: ignore[arg-type]

    monkeypatch.setattr(bench_chip, "request_lines", refuses)
    capsys.readouterr()
    main([str(pins / "oven.toml")])
    said = capsys.readouterr().err
    assert "siren: GPIO16 cannot be driven off" in said
    assert "plug" not in said.split("siren:")[1]


# ---- the controller ------------------------------------------------------------------------------


@pytest.fixture
def settings(pins: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Settings, W1Tree]:
    tree = W1Tree(pins / "w1", [t.id for t in SETTINGS.thermometers])
    for t in SETTINGS.thermometers:
        tree.set_c(t.id, 9.0)
    monkeypatch.setenv("NIGHTCURE_W1_ROOT", str(pins / "w1"))
    return SETTINGS_TELLING.model_copy(update={"ledger": pins / "n.ledger"}), tree


def test_a_lost_ledger_is_told_by_the_siren(settings: tuple[Settings, W1Tree], pins: Path) -> None:
    """The controller that finds its ledger gone trips; the one that follows finds it tripped by
    the file beside the ledger, and sounds with its first tick."""
    oven, _ = settings
    daemon = Daemon(oven)
    thread = threading.Thread(target=_ends, args=(daemon,), daemon=True)
    thread.start()
    reader = daemon._recorder
    wait_for(lambda: daemon._decision.signals.ready is Lamp.LIT, 20, "it runs")
    wait_for(lambda: read_pin(pins, READY), 5, "the lamp is lit")
    daemon._inbox._ledger.db.execute(
        "INSERT INTO inbox (word, args, who, asked_s, expires_s) VALUES ('start', ?, 'test', ?, ?)",
        (_start(), time.time(), time.time() + 30.0),
    )
    wait_for(lambda: reader.armed, 20, "a night is under way")
    wait_for(lambda: read_pin(pins, RUNNING) is False, 5, "the lamp of a running night")
    seen: list[bool] = []
    show = daemon._signals.show
    daemon._signals.show = lambda s: (seen.append(s.siren), show(s))[1]  # type: ignore[func-returns-value]
    oven.ledger.unlink()
    thread.join(30)
    assert not thread.is_alive()
    assert seen[-1], "the last decision before the end sounds the siren"
    again = Daemon(oven)
    again._tick()
    wait_for(lambda: read_pin(pins, SIREN), 5, "the siren sounds")
    assert again._decision.trip == "ledger-lost"
    again.outputs.close()
    again._signals.close()
    again._recorder.start()
    again._recorder.stop()
    assert set(ANNUNCIATOR) >= set(TELLS.outputs())


def _ends(daemon: Daemon) -> None:
    from nightcure.ledger.writer import LedgerLost

    with pytest.raises(LedgerLost):
        daemon.run()


def _start() -> str:
    import json

    return json.dumps(start(SHORT).args)
