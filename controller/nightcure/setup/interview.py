"""The setup's questions in their order; options answer them where they were given."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

from ..board.ds18b20 import Bus, bus_root, sensors_on
from ..clock import MachineClock
from ..errors import BadInput
from ..settings import Thermometer, no_console_pin, pin_name
from ..units import TemperatureUnit
from .box_questions import SWITCHED, UNKNOWN, BoxGiven, ask_of_the_box
from .oven_file import RELAYS, Answers
from .passphrase import hashed
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
    pin: str | None = None
    active_high: bool | None = None
    contactor: str | None = None
    fan: str | None = None
    stop_button: str | None = None
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
    pins = _pins(ask, given)
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


class Pins(NamedTuple):
    """BCM numbers."""

    heater: int
    contactor: int | None
    fan: int | None
    stop_button: int | None
    active_high: bool
    fan_told: str | None
    """Whether there is a fan: always on, switched by its pin, none; None where not told."""


def _pins(ask: Asker, given: Given) -> Pins:
    taken: dict[int, str] = {}

    def pin(job: str) -> Callable[[str], int]:
        def parse(text: str) -> int:
            try:
                chosen = int(text.lower().removeprefix("gpio"))
            except ValueError:
                raise ValueError(f"'{text}' is not a pin; write its BCM number, 9 to 27.") from None
            if 0 <= chosen <= 8:
                raise ValueError(
                    f"{chosen} is pulled up at boot, which may switch the {job} on; take 9 to 27."
                )
            if not 9 <= chosen <= 27:
                raise ValueError(f"there is no GPIO{chosen} to use; take 9 to 27.")
            no_console_pin(chosen)
            if chosen in taken:
                raise ValueError(f"GPIO{chosen} is the {taken[chosen]}'s; give each its own.")
            taken[chosen] = job
            return chosen

        return parse

    def pin_or_none(job: str) -> Callable[[str], int | None]:
        return lambda text: None if text.lower() in ("none", "no", "n") else pin(job)(text)

    ask.explain(
        "\nPins, by GPIO (BCM) number, not by their place on the header: GPIO17 is header\n"
        "pin 11, GPIO27 13, GPIO22 15. Take 9 to 27, pulled down while the board boots. 0\n"
        "to 8 are pulled up, 14 and 15 the serial console's: they may switch a heater on\n"
        "and are refused. Put 10 kΩ from each driver's input to ground."
    )
    heater = ask.ask("pin", "GPIO of the heater's relay", pin("heater"), given.pin, "17")
    high = ask.yes_no(
        "active-high", "Do the relays close on a high pin (active-high)?", given.active_high
    )
    if not high:
        ask.say("  An active-low relay board may be ON while the board boots: read wiring.md.")
    contactor = ask.ask(
        "contactor",
        "GPIO of the contactor in series, or none (a relay can fail closed)",
        pin_or_none("contactor"),
        given.contactor,
        "27" if 27 not in taken else "none",
    )

    def fan_of(text: str) -> int | str | None:
        word = text.lower()
        return word if word in ("always", UNKNOWN) else pin_or_none("fan")(text)

    ask.explain(
        "A fan is best fed ahead of the heater's switches and always on: then it cools a\n"
        "heater that has just been cut off."
    )
    question = "The fan: always (on with the mains), none, or the GPIO that switches it"
    fan_answer = ask.ask("fan", question, fan_of, given.fan, UNKNOWN)
    fan = fan_answer if isinstance(fan_answer, int) else None
    fan_told = SWITCHED if fan is not None else fan_answer or "none"
    stop = ask.ask(
        "stop-button",
        "GPIO of a stop button to ground, or none",
        pin_or_none("stop button"),
        given.stop_button,
        "none",
    )
    jobs = (("heater", heater), ("contactor", contactor), ("fan", fan), ("stop button", stop))
    for job, chosen in jobs:
        if chosen is not None:
            ask.say(f"  {job}: {pin_name(chosen)}")
    return Pins(heater, contactor, fan, stop, high, None if fan_told == UNKNOWN else str(fan_told))


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
