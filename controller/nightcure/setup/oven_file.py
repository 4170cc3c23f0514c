"""The oven.toml that a setup writes: every comment in it is for whoever opens it next."""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from ..errors import BadInput
from ..settings import MARGIN_K, Thermometer, load_settings, pin_name
from ..units import TemperatureUnit
from .box_questions import BoxAnswers
from .pin_questions import Tells
from .rough_model import RoughModel


class RelayKind(NamedTuple):
    """What a relay bears: window and shortest pulses (s), and the regulator's derivative time."""

    words: str
    window_s: float
    min_on_s: float
    min_off_s: float
    derivative_s: float


#: As hardware-notes/wiring.md and the scenario's two oven files have them.
RELAYS = {
    "solid-state": RelayKind("solid-state relay", 20.0, 2.0, 2.0, 30.0),
    "contactor": RelayKind("mechanical: long pulses spare its contacts", 235.0, 20.0, 20.0, 0.0),
}
#: For the outputs that are not there: what somebody adding one would write.
EXAMPLE_PINS = {"contactor": 27, "fan": 22}


class Answers(NamedTuple):
    """Everything asked."""

    name: str
    units: TemperatureUnit
    ledger: str
    power_w: float
    relay: str
    pin: int
    active_high: bool
    contactor_pin: int | None
    fan_pin: int | None
    stop_pin: int | None
    tells: Tells
    thermometers: Sequence[Thermometer]
    model: RoughModel
    on_network: bool
    port: int
    passphrase_hash: str | None
    box: BoxAnswers


def text_of(a: Answers) -> str:
    """The file's text."""
    relay = RELAYS[a.relay]
    high = str(a.active_high).lower()
    parts = [
        f"""\
# {a.name}: written by nightcure setup. Edit it freely; nightcure check tells what is wrong.
name = {_text(a.name)}
units = "{a.units}"                # for people only: every value in this file is in °C
ledger = {_text(a.ledger)}   # the record; under systemd it is /var/lib/nightcure/nightcure.ledger

[heater]
power_w = {a.power_w:.1f}            # what an energy meter at the plug shows; gains are in watts
pin = {a.pin}                   # {pin_name(a.pin)}; 9-27 only, not 14, 15
active_high = {high}         # false: the relay closes on a low pin, and may close at boot
window_s = {relay.window_s:.1f}            # {relay.words}
min_on_s = {relay.min_on_s:.1f}
min_off_s = {relay.min_off_s:.1f}
"""
    ]
    for pin, table, why in (
        (a.contactor_pin, "contactor", "in series with the relay; dropped on every trip and end"),
        (a.fan_pin, "fan", "runs through the night and half an hour after the heat"),
    ):
        if pin is None:
            parts.append(f"# [{table}]   # none; {why}\n# pin = {EXAMPLE_PINS[table]}\n")
        else:
            parts.append(
                f"[{table}]   # {why}; {pin_name(pin)}\npin = {pin}\nactive_high = {high}\n"
            )
    if a.stop_pin is None:
        parts.append("# [stop_button]   # none; a button from its pin to ground\n# pin = 23\n")
    else:
        parts.append(
            f"[stop_button]   # ends the night; {pin_name(a.stop_pin)} to ground\n"
            f"pin = {a.stop_pin}\n"
        )
    parts.append(a.tells.text())
    remark = "   # the first air sensor is the control sensor"
    for t in a.thermometers:
        parts.append(
            f"[[thermometers]]{remark}\n"
            f'id = "{t.id}"\nrole = "{t.role.value}"\nname = {_text(t.name)}\n'
            f"offset_c = {t.offset_c:.2f}   # added to it: what crushed ice showed it lacks\n"
        )
        remark = ""
    m = a.model
    air_c = min(60.0, a.box.cut_out_c - MARGIN_K)
    parts.append(
        f"""\
[regulator]
kind = "pid"
gain_w_per_k = 30.0   # nightcure survey finds gains for this oven
integral_s = 400.0
derivative_s = {relay.derivative_s:.1f}
filter_s = 10.0
feed_forward = true

# {m.source}
# Interlocks and feed-forward rely on it: nightcure survey measures it.
[model]
loss_w_per_k = {m.loss_w_per_k}
air_capacity_j_per_k = {m.air_capacity_j_per_k}
mould_capacity_j_per_k = {m.mould_capacity_j_per_k}
mould_lag_s = {m.mould_lag_s}
heater_lag_s = {m.heater_lag_s}
assumed_ambient_c = 10.0   # where no ambient thermometer can be believed
measured = false   # nightcure survey --write makes it true

[limits]   # past any of these the oven trips: off until a person resets it
air_c = {air_c:.1f}   # 5 below the cut-out
part_c = 60.0
heater_c = 110.0   # of the probe on the heater's shield; only with a thermometer of role "heater"
cut_out_c = {a.box.cut_out_c:.1f}   # what the cut-out is set to; soaks stay 5 below air_c
cut_out_tolerance_k = {a.box.cut_out_tolerance_k:.1f}
cut_outs = {a.box.cut_outs}   # each with its own sensor and its own contacts
exotherm_c = 8.0   # a part may be this much hotter than the air
ramp_c_per_h = 30.0
longest_heater_on_h = 5.0
longest_night_h = 16.0
"""
    )
    parts.append(a.box.text())
    where = "everybody on the network sees it" if a.on_network else "seen from this machine only"
    web = [
        "[web]",
        f'address = "{"0.0.0.0" if a.on_network else "127.0.0.1"}"   # {where}',
        f"port = {a.port}",
    ]
    if a.passphrase_hash is None:
        web.append(
            "# No passphrase_hash, so the page takes no commands; "
            "nightcure setup passphrase prints it."
        )
    else:
        web.append(
            "# Whoever reads this can try to guess the passphrase: keep the file to yourself."
        )
        web.append(f"passphrase_hash = '{a.passphrase_hash}'")
    parts.append("\n".join(web) + "\n")
    return "\n".join(parts)


def _text(value: str) -> str:
    return json.dumps(value, ensure_ascii=False)


def write_checked(path: Path, text: str, replace: bool) -> None:
    """Put `text` at `path` in one step, readable by its owner only, once it loads as settings.

    A replaced file keeps its owner's group and whether the group may read it.

    Raises:
        BadInput: it would not load, is there already (unless `replace`), or cannot be written.
            What was there is as it was.
    """
    target = path.resolve() if replace else path
    trial = target.with_name(f".{target.name}.{os.getpid()}.new")
    try:
        with open(trial, "x", encoding="utf-8", opener=_private) as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        load_settings(trial)
        if replace:
            with contextlib.suppress(FileNotFoundError, PermissionError):
                old = target.stat()
                os.chown(trial, -1, old.st_gid)
                os.chmod(trial, 0o600 | (old.st_mode & 0o040))
            os.replace(trial, target)
        else:
            os.link(trial, target)  # fails where somebody made it meanwhile
        folder = os.open(target.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
    except BadInput as error:
        raise BadInput(*(s.replace(str(trial), str(path)) for s in error.sentences)) from None
    except FileExistsError:
        raise BadInput(f"{path} was made by somebody else meanwhile; it is left alone.") from None
    except OSError as error:
        raise BadInput(f"{path} cannot be written: {error.strerror}.") from None
    finally:
        trial.unlink(missing_ok=True)


def _private(name: str, flags: int) -> int:
    return os.open(name, flags, 0o600)
