"""The setup's questions in their order; options answer them where they were given."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from ..board.ds18b20 import Bus, bus_root, sensors_on
from ..clock import MachineClock
from ..errors import BadInput
from ..settings import Thermometer
from ..units import TemperatureUnit
from .box_questions import BoxGiven, ask_of_the_box
from .oven_file import RELAYS, Answers
from .passphrase import hashed
from .pin_questions import PinsGiven, ask_for_pins
from .questions import Asker, number, one_of, plain_text
from .rough_model import RoughModel, can_reckon, from_sizes, guessed
from .which_thermometer import ThermometerFinder, parse_sensor

SERVICE_LEDGER = "/var/lib/nightcure/nightcure.ledger"


class Given(NamedTuple):
    """What the options say; None where the question is still open."""

    name: str | None = None
    units: str | None = None
    sensors: Sequence[str] = ()
    bus: Path | None = None
    power: str | None = None
    relay: str | None = None
    box: BoxGiven = BoxGiven()
    pins: PinsGiven = PinsGiven()
    inside: str | None = None
    board: str | None = None
    moulds: str | None = None
    loss: str | None = None
    service: bool | None = None
    page: str | None = None
    port: int = 8733
    passphrase_hash: str | None = None
    passphrase_file: Path | None = None
    no_passphrase: bool = False


def interview(ask: Asker, given: Given) -> Answers:
    """Every answer. Heats nothing, claims no pin, writes nothing.

    Raises:
        BadInput: an option or a line is wrong, or the answers end too soon.
        Stopped: the person ended it.
    """
    if given.passphrase_file is not None and given.passphrase_hash is not None:
        raise BadInput("--passphrase-file and --passphrase-hash exclude each other; give one.")
    name = ask.ask("name", "Name of the oven", plain_text(60), given.name, "My oven")
    units: TemperatureUnit = "C"
    if (
        ask.ask("units", "Temperatures in °C or °F (C, F)", one_of("c", "f"), given.units, "C")
        == "f"
    ):
        units = "F"
    thermometers = _thermometers(ask, given, units)
    ask.explain("\nThe heater. Black heat only: see hardware-notes/fire-and-vapour.md.")
    power_w = ask.ask("power", "Its power in watts", number(1, 6000, "W"), given.power)
    ask.explain("A solid-state relay bears short pulses; a contactor lives 100 000 operations.")
    relay = ask.ask("relay", f"Relay ({', '.join(RELAYS)})", one_of(*RELAYS), given.relay)
    pins = ask_for_pins(ask, given.pins)
    box = ask_of_the_box(ask, given.box, pins.fan_told)
    model = _model(ask, given, power_w)
    on_network, phrase_hash = _page(ask, given)
    service = ask.yes_no(
        "service",
        "\nStarted with the board, as a service (systemd/install)?",
        given.service,
        default=False,
    )
    return Answers(
        name=name,
        units=units,
        ledger=SERVICE_LEDGER if service else "nightcure.ledger",
        power_w=power_w,
        relay=relay,
        pin=pins.heater,
        active_high=pins.active_high,
        contactor_pin=pins.contactor,
        fan_pin=pins.fan,
        stop_pin=pins.stop_button,
        tells=pins.tells,
        thermometers=thermometers,
        model=model,
        on_network=on_network,
        port=given.port,
        passphrase_hash=phrase_hash,
        box=box,
    )


def _thermometers(ask: Asker, given: Given, units: TemperatureUnit) -> tuple[Thermometer, ...]:
    root = bus_root(given.bus)
    ids = sensors_on(root)
    if given.sensors:
        named = tuple(parse_sensor(text) for text in given.sensors)
        for t in named:
            if t.id not in ids:
                ask.say(f"  {t.id} ({t.name}) is not on the bus {root} now.")
        return named
    if not ids:
        what = "shows no thermometer" if root.is_dir() else "is not there"
        raise BadInput(
            f"The 1-Wire bus {root} {what}: look at the wires and the 4.7 kΩ resistor, and for "
            f"dtoverlay=w1-gpio,gpiopin=4 in config.txt (then reboot); or name the thermometers "
            f"with --sensor 28-0000000000a1=air:Air."
        )
    return ThermometerFinder(ask, Bus(ids, MachineClock(), root), ids, units).choose()


def sizes(text: str) -> tuple[float, float, float] | None:
    """Three lengths in metres typed as `1.2 x 0.6 x 0.6`; None for `none`."""
    if text.lower() == "none":
        return None
    words = text.lower().replace(",", ".").replace("m", "").split("x")
    try:
        a, b, c = (float(word) for word in words)
    except ValueError:
        raise ValueError(f"'{text}' is not three lengths; write 1.2 x 0.6 x 0.6.") from None
    if not all(0.05 <= side <= 30.0 for side in (a, b, c)):
        raise ValueError(f"'{text}' is no box; each side is 0.05 to 30 m.")
    return a, b, c


def _model(ask: Asker, given: Given, power_w: float) -> RoughModel:
    loss = number(0.05, 500, "W/K")
    if given.loss is not None:
        return guessed(ask.ask("loss", "Loss", loss, given.loss))
    ask.explain(
        "\nA rough model of the box, until nightcure survey measures it: interlocks rely\non it."
    )
    if can_reckon():
        question = "Inside, in metres (1.2 x 0.6 x 0.6), or none"
        inside = ask.ask("inside", question, sizes, given.inside, "none")
        if inside is not None:
            thick = number(1, 500, "mm")
            board = ask.ask("board", "Foam board, thickness in mm", thick, given.board, "25")
            heavy = number(0, 5000, "kg")
            moulds = ask.ask("moulds", "Moulds and parts, kg in all", heavy, given.moulds, "15")
            found = from_sizes(inside, board, moulds, power_w)
            ask.say(f"  It should lose about {found.loss_w_per_k:g} W for each kelvin.")
            return found
    elif given.inside is not None:
        raise BadInput("--inside needs numpy: install the extra 'planning', or give --loss.")

    def known(text: str) -> float | None:
        return None if text.lower() == "none" else loss(text)

    question = "What it loses for each kelvin, in W/K, or none"
    found = guessed(ask.ask("loss", question, known, None, "none"))
    ask.say(f"  {found.source}")
    return found


def _page(ask: Asker, given: Given) -> tuple[bool, str | None]:
    """Whether the network sees the page, and the passphrase's hash."""
    ask.explain("\nThe page can be seen from this machine only, or from the network.")
    words = one_of("machine", "network")
    on_network = ask.ask("page", "Seen from (machine, network)", words, given.page, "machine")
    wide = on_network == "network"
    if given.passphrase_hash is not None:
        return wide, given.passphrase_hash
    if given.passphrase_file is not None:
        return wide, hashed(_first_line(given.passphrase_file), str(given.passphrase_file))
    if given.no_passphrase:
        if wide:
            raise BadInput(
                "--no-passphrase and --page network would let anyone on the network heat the "
                "oven; give a passphrase or --page machine."
            )
        return False, None
    if ask.yes:
        raise BadInput(
            "--yes chooses no passphrase: give --passphrase-file or --passphrase-hash (nightcure "
            "passphrase prints it), or --no-passphrase for a page that takes no commands."
        )
    ask.explain("Who knows the passphrase may start and stop the oven.")
    return wide, ask.new_passphrase(may_be_none=not wide)


def _first_line(path: Path) -> str:
    try:
        return (path.read_text(encoding="utf-8").splitlines() or [""])[0]
    except (OSError, UnicodeDecodeError) as error:
        raise BadInput(f"--passphrase-file: {path} cannot be read ({error}).") from None
