"""oven.toml -> typed settings. Every field has a unit in its name and a range.

A wrong file gives one sentence per fault: the key, the value found, what would be right.
Safety limits come from what the parts of an oven stand (see `Limits`); they can be raised only
with an explicit acknowledgement, and never past the wall. What an earlier version let through and
this one does not leaves the oven idle: `Limits.no_heat` says why.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    field_validator,
    model_validator,
)

from .errors import BadInput, faults_as_sentences
from .units import TemperatureUnit

#: Foam board and mould surfaces are kept below this; a peroxide's self-accelerating decomposition
#: starts about here (from memory, and a panel maker's long-term limit of 70-80 °C).
ACKNOWLEDGE_ABOVE_C = 60.0
#: The wall nobody passes: no foam board is kept hotter for long.
WALL_C = 80.0
#: The cut-out is set to this at the most: a panel maker's long-term limit for rigid foam board is
#: 70-80 °C, and the board at the heater is hotter than the air.
MOST_CUT_OUT_C = 70.0
#: Between the hottest soak and the air's limit, and between that and the cut-out, K: as much as a
#: cut-out may be off by.
MARGIN_K = 5.0
#: The heater's limit: its thermometer ends at 125 °C (DS18B20 data sheet), so a higher one could
#: not be seen to be passed.
MOST_HEATER_C = 110.0
#: Above this not even an earlier version's file is read.
HEATER_WALL_C = 300.0

#: A heater that warms the air by more before a thermometer shows it outruns it, K. By simulation:
#: welds told by one thermometer within 15 K of rise were 94 % below it, 67 % above.
OUTRUN_K = 20.0
#: What a DS18B20 measures at the most (manufacturer's data sheet: 125 °C).
HOTTEST_C = 124.9
#: A thermometer that is off by more is not a DS18B20 in order (data sheet: 0.5 °C, in the ends 2).
MOST_OFFSET_C = 5.0

#: GPIO -> pin of the board's header (Raspberry Pi documentation): the two are not the same.
HEADER_PINS = {
    9: 21, 10: 19, 11: 23, 12: 32, 13: 33, 14: 8, 15: 10, 16: 36, 17: 11, 18: 12, 19: 35, 20: 38,
    21: 40, 22: 15, 23: 16, 24: 18, 25: 22, 26: 37, 27: 13,
}  # fmt: skip
#: The serial console's pins: it talks on them from power-on, long before a controller runs.
CONSOLE_PINS = (14, 15)


def _no_console_pin(pin: int) -> int:
    if pin in CONSOLE_PINS:
        raise ValueError(
            f"{pin} is the serial console's, which talks on it while the board boots; take "
            f"another of 9 to 27."
        )
    return pin


#: GPIO9-27 are pulled down at boot; GPIO0-8 are pulled up, which may switch a heater on.
Pin = Annotated[int, Field(ge=9, le=27), AfterValidator(_no_console_pin)]
Positive = Annotated[float, Field(gt=0.0)]


def pin_name(gpio: int) -> str:
    """A pin as a person finds it: `GPIO17 (header pin 11)`."""
    return f"GPIO{gpio} (header pin {HEADER_PINS[gpio]})" if gpio in HEADER_PINS else f"GPIO{gpio}"


class Section(BaseModel):
    """A table of oven.toml: unknown keys are faults, values are fixed once read."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    @model_validator(mode="before")
    @classmethod
    def _true_is_no_number(cls, data: Any) -> Any:
        for key, value in data.items() if isinstance(data, dict) else ():
            field = cls.model_fields.get(key)
            if isinstance(value, bool) and field and field.annotation in (int, float):
                raise ValueError(f"{key} is {str(value).lower()}; it should be a number.")
        return data


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


class Output(Section):
    """A declared output pin: the safety contactor or the fan."""

    pin: Pin
    active_high: bool = True


class Button(Section):
    """A push button to ground that ends the night."""

    pin: Pin


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


class Limits(Section):
    """Past any of these the oven trips: heater off until a person resets it.

    One rule ties them to the cut-out: hottest soak + 5 <= air_c <= cut_out_c - 5 (`MARGIN_K`).
    Parts keep their own limit, 1 K above the hottest soak.
    """

    air_c: Annotated[float, Field(ge=20, le=WALL_C)] = 60.0
    part_c: Annotated[float, Field(ge=20, le=WALL_C)] = 60.0
    heater_c: Annotated[float, Field(ge=40, le=HEATER_WALL_C)] = MOST_HEATER_C
    """Of the probe on the heater's shield."""
    cut_out_c: float | None = Field(default=65.0, ge=30, le=MOST_CUT_OUT_C)
    """What the independent cut-out is set to. None: recorded before this was asked."""
    cut_out_tolerance_k: Annotated[float, Field(ge=0, le=MARGIN_K)] = MARGIN_K
    """How far from its setting the cut-out may open."""
    cut_outs: Annotated[int, Field(ge=1, le=2)] = 1
    """How many there are, each with its own sensor and its own contacts."""
    exotherm_c: Annotated[float, Field(ge=2, le=40)] = 8.0
    """A part may be this much hotter than the air while the oven is heated."""
    ramp_c_per_h: Annotated[float, Field(gt=0, le=120)] = 30.0
    longest_heater_on_h: Annotated[float, Field(gt=0, le=24)] = 5.0
    longest_night_h: Annotated[float, Field(gt=0, le=72)] = 16.0
    i_accept_limits_above_60_c: bool = False

    @model_validator(mode="after")
    def _acknowledged(self) -> Self:
        if self.i_accept_limits_above_60_c:
            return self
        soft = "foam board, moulds and peroxide are kept below"
        for key, value, why, most in (
            ("air_c", self.air_c, soft, ACKNOWLEDGE_ABOVE_C),
            ("part_c", self.part_c, soft, ACKNOWLEDGE_ABOVE_C),
        ):
            if value > most:
                raise ValueError(
                    f"{key} is {value:g} and {why} {most:g}; lower it, or set "
                    f"i_accept_limits_above_60_c = true if the whole oven is built for more."
                )
        return self

    @property
    def earlier(self) -> bool:
        """Recorded by a version that did not ask for the cut-out: its night was allowed then."""
        return self.cut_out_c is None

    @property
    def hottest_soak_c(self) -> float:
        """The highest setpoint this oven may be asked for, °C."""
        margin_k = 1.0 if self.earlier else MARGIN_K
        return min(self.air_c - margin_k, self.part_c - 1.0)

    def no_heat(self) -> tuple[str, ...]:
        """Why nothing may be heated with these limits, a sentence each; empty where it may."""
        if self.cut_out_c is None:
            return ()
        said = []
        if self.heater_c > MOST_HEATER_C:
            said.append(
                f"limits.heater_c is {self.heater_c:g} and a thermometer that ends at 125 °C "
                f"cannot enforce it; set it to {MOST_HEATER_C:g} at the most, with the probe on "
                f"the heater's shield."
            )
        if self.air_c > self.cut_out_c - MARGIN_K:
            said.append(
                f"limits.air_c is {self.air_c:g} and has to stay {MARGIN_K:g} K below the cut-out, "
                f"cut_out_c = {self.cut_out_c:g}; lower it to {self.cut_out_c - MARGIN_K:g}, or "
                f"say what the cut-out is really set to ({MOST_CUT_OUT_C:g} at the most)."
            )
        return tuple(said)


class Installation(Section):
    """The box, its heater and its place, as setup asked; what follows is told by check and page.

    None: not told.
    """

    wiring: Literal["plug-in", "wired"] | None = None
    """Approved boxes plugged together, or wired by somebody licensed."""
    supply: Literal["eu", "uk", "us-120", "us-240"] | None = None
    foam: Literal["pir", "phenolic"] | None = None
    """Never polystyrene: styrene dissolves it and it gives way at 75 °C."""
    heater: Literal["tube", "finned", "other"] | None = None
    warmest_c: Annotated[float, Field(ge=-20, le=60)] = 30.0
    """The shed on the warmest day on which it is used."""
    alarm: Literal["linked", "cold-rated", "household", "none"] | None = None
    people_sleep: Literal["elsewhere", "here"] | None = None
    """Here: in, over or attached to the oven's building."""


HostName = Annotated[str, Field(pattern=r"^[A-Za-z0-9_][A-Za-z0-9_.-]{0,252}$")]
Network = Annotated[str, Field(pattern=r"^[0-9A-Fa-f.:]{2,45}(/[0-9]{1,3})?$")]


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

    @model_validator(mode="after")
    def _login_needs_passphrase(self) -> Self:
        if self.reading == "login" and self.passphrase_hash is None:
            raise ValueError(
                "reading is 'login' and no passphrase_hash is set, so nobody could read; set one "
                "(nightcure passphrase prints the line), or reading = 'open'."
            )
        return self

    @model_validator(mode="after")
    def _wide_needs_passphrase(self) -> Self:
        if self.address not in ("127.0.0.1", "::1", "localhost") and self.passphrase_hash is None:
            raise ValueError(
                f"address is {self.address} and no passphrase_hash is set, so anyone on the "
                f"network could heat the oven; use 127.0.0.1 or set a passphrase "
                f"(nightcure passphrase prints the line)."
            )
        return self


class Timing(Section):
    """The loop's rhythm and how long a silence may last."""

    tick_s: Annotated[float, Field(ge=0.5, le=10)] = 2.0
    dead_man_s: Annotated[float, Field(ge=2, le=9)] = 6.0
    """With no fresh decision for this long the relay opens, whatever thread has died."""
    resume_within_min: Annotated[float, Field(ge=0, le=240)] = 30.0
    resume_lost_c: Annotated[float, Field(ge=0, le=40)] = 12.0
    """A night is taken up again if it stood still no longer, and the air fell no further."""

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
    to_moulds = model.mould_capacity_j_per_k / model.mould_lag_s if model.mould_lag_s else 0.0
    return power_w * blind_s / (model.air_capacity_j_per_k + to_moulds * blind_s)


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


class Settings(Section):
    """Everything in oven.toml."""

    name: Annotated[str, Field(min_length=1, max_length=60)]
    units: TemperatureUnit = "C"
    ledger: Path = Path("nightcure.ledger")
    heater: Heater
    contactor: Output | None = None
    fan: Output | None = None
    stop_button: Button | None = None
    thermometers: Annotated[tuple[Thermometer, ...], Field(min_length=1, max_length=16)]
    regulator: Regulator = Regulator()
    model: Model
    limits: Limits = Limits()
    installation: Installation = Installation()
    web: Web = Web()
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

    @model_validator(mode="after")
    def _no_pin_twice(self) -> Self:
        pins = [
            self.heater.pin,
            *(p.pin for p in (self.contactor, self.fan, self.stop_button) if p),
        ]
        if len(set(pins)) < len(pins):
            raise ValueError(f"one pin is given two jobs (pins {pins}); give each its own.")
        return self

    def outrun(self) -> str | None:
        """Whether the heater outruns the oven's only watch on it, in a sentence."""
        watched = len(self.indices(Role.AIR)) > 1 or self.indices(Role.HEATER)
        return None if watched else outrun(self.heater.power_w, self.model)

    def indices(self, *roles: Role) -> tuple[int, ...]:
        """Positions in `thermometers` (and so in a tick's readings) of the given roles."""
        return tuple(i for i, t in enumerate(self.thermometers) if t.role in roles)


def corrected(settings: Settings, offsets_c: Mapping[str, float]) -> Settings:
    """The settings with other offsets, by 1-Wire id; ids that are not declared are passed over."""
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
    if not settings.ledger.is_absolute():
        settings = settings.model_copy(update={"ledger": path.parent / settings.ledger})
    return settings
