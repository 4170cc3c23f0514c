"""oven.toml -> typed settings. Every field has a unit in its name and a range.

A wrong file gives one sentence per fault: the key, the value found, what would be right.
The limits are in `limits`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, ValidationError, field_validator, model_validator

from ..errors import BadInput, faults_as_sentences
from ..units import TemperatureUnit
from .annunciator_outputs import ANNUNCIATOR, AnnunciatorOutputs, Button, Output
from .limits import (
    ACKNOWLEDGE_ABOVE_C,
    HEATER_WALL_C,
    MARGIN_K,
    MOST_CUT_OUT_C,
    MOST_HEATER_C,
    WALL_C,
    Electricity,
    Installation,
    Limits,
)
from .notifications import Notifications
from .section import HEADER_PINS, Pin, Section, no_console_pin, pin_name

__all__ = [
    "ACKNOWLEDGE_ABOVE_C",
    "ANNUNCIATOR",
    "HEADER_PINS",
    "HEATER_WALL_C",
    "HOTTEST_C",
    "MARGIN_K",
    "MOST_CUT_OUT_C",
    "MOST_HEATER_C",
    "MOST_OFFSET_C",
    "OUTRUN_K",
    "UNRECORDED",
    "WALL_C",
    "AnnunciatorOutputs",
    "Button",
    "Electricity",
    "Heater",
    "Installation",
    "Limits",
    "Model",
    "Notifications",
    "Output",
    "Pin",
    "Regulator",
    "Role",
    "Section",
    "Settings",
    "Thermometer",
    "Timing",
    "Web",
    "corrected",
    "load_settings",
    "no_console_pin",
    "outrun",
    "outrun_k",
    "pin_name",
    "read_toml",
]

#: A heater that warms the air by more before a thermometer shows it outruns it, K. By simulation:
#: welds told by one thermometer within 15 K of rise were 94 % below it, 67 % above.
OUTRUN_K = 20.0
#: What a DS18B20 measures at the most (manufacturer's data sheet: 125 °C).
HOTTEST_C = 124.9
#: A thermometer that is off by more is not a DS18B20 in order (data sheet: 0.5 °C, in the ends 2).
MOST_OFFSET_C = 5.0


class Heater(Section):
    """The heater and the relay that switches it."""

    power_w: Annotated[float, Field(gt=0, le=6000)]
    pin: Pin
    active_high: bool = True
    window_s: Annotated[float, Field(ge=2, le=1800)] = 20.0
    """Time-proportioning window: 10-60 s solid-state relay, minutes for a mechanical contactor."""
    min_on_s: Annotated[float, Field(ge=0, le=600)] = 2.0
    min_off_s: Annotated[float, Field(ge=0, le=600)] = 2.0

    @model_validator(mode="after")
    def _window_holds_both(self) -> Self:
        if self.min_on_s + self.min_off_s > self.window_s:
            raise ValueError(
                f"min_on_s + min_off_s is {self.min_on_s + self.min_off_s:g} s and does not fit "
                f"the window of {self.window_s:g} s; lengthen window_s or shorten the two."
            )
        return self


class Role(StrEnum):
    """What a thermometer measures."""

    AIR = "air"
    PART = "part"
    MOULD = "mould"
    AMBIENT = "ambient"
    HEATER = "heater"


class Thermometer(Section):
    """One DS18B20 on the 1-Wire bus."""

    id: Annotated[str, Field(pattern=r"^28-[0-9a-f]{12}$")]
    role: Role
    name: Annotated[str, Field(min_length=1, max_length=40)]
    offset_c: Annotated[float, Field(ge=-MOST_OFFSET_C, le=MOST_OFFSET_C)] = 0.0
    """Added to every reading: what an ice point or a reference thermometer showed it lacks."""


class Regulator(Section):
    """How the duty is found. Gains are in watts, so another heater needs no retuning."""

    kind: Literal["pid", "bang-bang"] = "pid"
    gain_w_per_k: Annotated[float, Field(gt=0, le=5000)] = 30.0
    integral_s: Annotated[float, Field(ge=10, le=36000)] = 400.0
    derivative_s: Annotated[float, Field(ge=0, le=3600)] = 30.0
    filter_s: Annotated[float, Field(ge=0, le=600)] = 10.0
    feed_forward: bool = True
    hysteresis_c: Annotated[float, Field(ge=0.1, le=10)] = 0.5
    """Bang-bang only: on below setpoint minus this, off above setpoint plus this."""


#: A heater's output is brought to what is needed within this share of its lag. Sooner asks for more
#: than a heater has; later lags behind at the end of every ramp.
WITHIN_SHARE = 0.2
#: The model excuses air that is below its setpoint by no more, K; beyond it the oven counts.
MOST_DEPARTS_K = 1.0
#: A thermometer lags the air by about so much, s (common practice, no source: 15 s bare in moving
#: air, a minute or two in a steel sleeve).
PROBE_LAG_S = 20.0


class Model(Section):
    """What is known of the oven; feed-forward and several interlocks use it."""

    loss_w_per_k: Annotated[float, Field(gt=0, le=500)]
    air_capacity_j_per_k: Annotated[float, Field(gt=0, le=1e7)]
    """Air, inner wall skin and whatever else follows the air within minutes."""
    mould_capacity_j_per_k: Annotated[float, Field(ge=0, le=1e7)] = 0.0
    mould_lag_s: Annotated[float, Field(ge=0, le=36000)] = 0.0
    heater_lag_s: Annotated[float, Field(ge=0, le=3600)] = 200.0
    assumed_ambient_c: Annotated[float, Field(ge=-40, le=50)] = 10.0
    """Used where no ambient thermometer is declared or believable."""
    measured: bool = False
    """A survey of this oven found these numbers; else they are a guess, or reckoned from sizes."""

    @property
    def lead_s(self) -> float:
        """How far ahead feed-forward looks, s."""
        return WITHIN_SHARE * self.heater_lag_s

    @property
    def mould_w_per_k(self) -> float:
        """From air to moulds, W/K."""
        return self.mould_capacity_j_per_k / self.mould_lag_s if self.mould_lag_s else 0.0

    @property
    def settles_w_per_k(self) -> float:
        """What air that departs from its setpoint gives off to shed and moulds at first, W/K."""
        return self.loss_w_per_k + self.mould_w_per_k


HostName = Annotated[str, Field(pattern=r"^[A-Za-z0-9_][A-Za-z0-9_.-]{0,252}$")]
Network = Annotated[str, Field(pattern=r"^[0-9A-Fa-f.:]{2,45}(/[0-9]{1,3})?$")]


OvenAddress = Annotated[str, Field(pattern=r"^https?://[^\s/?#@]+/?$", max_length=300)]


class Web(Section):
    """The page. Without a passphrase it is seen from this machine only and takes no commands."""

    address: Annotated[str, Field(min_length=1)] = "127.0.0.1"
    port: Annotated[int, Field(ge=1, le=65535)] = 8733
    passphrase_hash: Annotated[str, Field(pattern=r"^\$argon2id\$")] | None = None
    reading: Literal["open", "login"] = "open"
    """Whether the page is seen without the passphrase, too."""
    hosts: Annotated[tuple[HostName, ...], Field(max_length=20)] = ()
    """Names the page goes by besides this machine's own, localhost and *.local."""
    proxies: Annotated[tuple[Network, ...], Field(max_length=20)] = ()
    """Addresses of proxies before the page, which alone may say for whom they ask."""
    ovens: Annotated[tuple[OvenAddress, ...], Field(max_length=200)] = ()
    """Pages of other ovens, shown together; those announced on the network come by themselves."""

    @model_validator(mode="after")
    def _login_needs_passphrase(self) -> Self:
        if self.reading == "login" and self.passphrase_hash is None:
            raise ValueError(
                "reading is 'login' and no passphrase_hash is set, so nobody could read; set one "
                "(nightcure setup passphrase prints the line), or reading = 'open'."
            )
        return self

    @model_validator(mode="after")
    def _wide_needs_passphrase(self) -> Self:
        if self.address not in ("127.0.0.1", "::1", "localhost") and self.passphrase_hash is None:
            raise ValueError(
                f"address is {self.address} and no passphrase_hash is set, so anyone on the "
                f"network could heat the oven; use 127.0.0.1 or set a passphrase "
                f"(nightcure setup passphrase prints the line)."
            )
        return self


class Timing(Section):
    """The loop's rhythm and how long a silence may last."""

    tick_s: Annotated[float, Field(ge=0.5, le=10)] = 2.0
    dead_man_s: Annotated[float, Field(ge=2, le=9)] = 6.0
    """With no fresh decision for this long the relay opens, whatever thread has died."""
    resume_within_min: Annotated[float, Field(ge=0, le=240)] = 30.0
    resume_lost_c: Annotated[float, Field(ge=0, le=80)] = 40.0
    """A night is taken up again if it stood still no longer, and the air fell no further by then:
    the air of a light box falls by 20 K in a quarter of an hour, and further if it is opened."""

    @model_validator(mode="after")
    def _dead_man_outlasts_tick(self) -> Self:
        if self.dead_man_s < 2 * self.tick_s:
            raise ValueError(
                f"dead_man_s is {self.dead_man_s:g} and would open the relay between healthy "
                f"ticks of {self.tick_s:g} s; set it to at least {2 * self.tick_s:g}."
            )
        return self


def outrun_k(power_w: float, model: Model) -> float:
    """How far full power heats the air before one thermometer can have shown it, K.

    A probe's 40 s and the heater's lag (300 s of it at the most), with what the moulds take.
    """
    blind_s = 40.0 + min(model.heater_lag_s, 300.0)
    return power_w * blind_s / (model.air_capacity_j_per_k + model.mould_w_per_k * blind_s)


def outrun(power_w: float, model: Model) -> str | None:
    """Says that a heater is too strong to be watched by one thermometer; None where it is not."""
    rise_k = outrun_k(power_w, model)
    if rise_k <= OUTRUN_K:
        return None
    return (
        f"The heater is too strong for its box and one thermometer: it warms the air by about "
        f"{rise_k:.0f} K before the thermometer shows it. Add a thermometer at the heater's "
        f"outlet, a cut-out there, or take a smaller heater."
    )


#: Tables that no night's record holds: they have to do with people, not with heat.
UNRECORDED = {"web", "notifications"}


class Settings(Section):
    """Everything in oven.toml."""

    name: Annotated[str, Field(min_length=1, max_length=60)]
    units: TemperatureUnit = "C"
    ledger: Path = Path("nightcure.ledger")
    heater: Heater
    contactor: Output | None = None
    fan: Output | None = None
    stop_button: Button | None = None
    """Ends the night."""
    annunciator: AnnunciatorOutputs = AnnunciatorOutputs()
    thermometers: Annotated[tuple[Thermometer, ...], Field(min_length=1, max_length=16)]
    regulator: Regulator = Regulator()
    model: Model
    limits: Limits = Limits()
    installation: Installation = Installation()
    electricity: Electricity = Electricity()
    web: Web = Web()
    notifications: Notifications = Notifications()
    timing: Timing = Timing()

    @field_validator("ledger")
    @classmethod
    def _names_a_file(cls, value: Path) -> Path:
        if not value.name:
            raise ValueError("it should name a file, such as 'nightcure.ledger'.")
        return value

    @field_validator("thermometers")
    @classmethod
    def _one_control_sensor(cls, value: tuple[Thermometer, ...]) -> tuple[Thermometer, ...]:
        if not any(t.role is Role.AIR for t in value):
            raise ValueError("no thermometer has role = 'air'; the regulator needs at least one.")
        for key in ("id", "name"):
            seen = [getattr(t, key) for t in value]
            twice = {item for item in seen if seen.count(item) > 1}
            if twice:
                raise ValueError(f"{key} {sorted(twice)[0]!r} is given to two thermometers.")
        return value

    @model_validator(mode="before")
    @classmethod
    def _plugged_takes_gelled_parts(cls, data: Any) -> Any:
        """On the path without mains wiring `limits.gelled_parts_only` is true, whatever is said."""
        if not isinstance(data, dict) or not isinstance(box := data.get("installation"), dict):
            return data
        limits = data.get("limits", {})
        if box.get("wiring") != "plug-in" or not isinstance(limits, dict):
            return data
        return {**data, "limits": {**limits, "gelled_parts_only": True}}

    @model_validator(mode="after")
    def _no_pin_twice(self) -> Self:
        told = self.annunciator
        others = (self.contactor, self.fan, self.stop_button, told.silence_button)
        pins = [
            self.heater.pin,
            *(p.pin for p in (*others, *told.outputs().values()) if p),
        ]
        if len(set(pins)) < len(pins):
            raise ValueError(f"one pin is given two jobs (pins {pins}); give each its own.")
        return self

    def outrun(self) -> str | None:
        """Whether the heater outruns the oven's only watch on it, in a sentence."""
        watched = len(self.indices(Role.AIR)) > 1 or self.indices(Role.HEATER)
        return None if watched else outrun(self.heater.power_w, self.model)

    @property
    def has_fan(self) -> bool:
        """Whether a fan is declared: one that the program switches, or one that is always on."""
        return self.fan is not None or self.installation.fan == "always"

    def indices(self, *roles: Role) -> tuple[int, ...]:
        """Positions in `thermometers` (and so in a tick's readings) of the given roles."""
        return tuple(i for i, t in enumerate(self.thermometers) if t.role in roles)


def corrected(settings: Settings, offsets_c: Mapping[str, float]) -> Settings:
    """The settings with other offsets, by 1-Wire id; offsets of unknown ids are ignored."""
    thermometers = tuple(
        t.model_copy(update={"offset_c": offsets_c.get(t.id, t.offset_c)})
        for t in settings.thermometers
    )
    return settings.model_copy(update={"thermometers": thermometers})


def read_toml(path: Path) -> dict[str, Any]:
    """The tables of a TOML file. Raises BadInput with a sentence if it cannot be read."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise BadInput(f"{path}: there is no such file.") from None
    except OSError as error:
        raise BadInput(f"{path} cannot be read: {error.strerror}.") from None
    except UnicodeDecodeError:
        raise BadInput(f"{path} cannot be read: it is not UTF-8 text; save it as such.") from None
    except tomllib.TOMLDecodeError as error:
        raise BadInput(f"{path} is not TOML: {error}.") from None
    except RecursionError:
        raise BadInput(f"{path} is not TOML: its brackets are nested too deeply.") from None


def load_settings(path: Path) -> Settings:
    """Settings from an oven.toml; a relative ledger path is taken from the file's folder.

    A file that tells its cut-out is held to `Limits.no_heat` here; an earlier one, that does not,
    is read and leaves the oven idle.

    Raises:
        BadInput: one sentence per fault.
    """
    try:
        settings = Settings.model_validate(read_toml(path))
    except ValidationError as error:
        raise BadInput(*faults_as_sentences(error, str(path))) from None
    if "cut_out_c" in settings.limits.model_fields_set and settings.limits.no_heat():
        raise BadInput(*(f"{path}: {sentence}" for sentence in settings.limits.no_heat()))
    located = {"notifications": settings.notifications.located(path.parent)}
    return settings.model_copy(update={**located, "ledger": path.parent / settings.ledger})
