"""What every table of oven.toml is, and the pins it may name."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

#: GPIO -> pin of the board's header (Raspberry Pi documentation): the two are not the same.
HEADER_PINS = {
    9: 21, 10: 19, 11: 23, 12: 32, 13: 33, 14: 8, 15: 10, 16: 36, 17: 11, 18: 12, 19: 35, 20: 38,
    21: 40, 22: 15, 23: 16, 24: 18, 25: 22, 26: 37, 27: 13,
}  # fmt: skip
#: The serial console's pins: the board drives them from power-on, long before a controller runs.
CONSOLE_PINS = (14, 15)


def no_console_pin(pin: int) -> int:
    """The pin. Raises ValueError where it is the serial console's."""
    if pin in CONSOLE_PINS:
        raise ValueError(
            f"{pin} is the serial console's, driven while the board boots; take another of 9 to 27."
        )
    return pin


#: GPIO9-27 are pulled down at boot; GPIO0-8 are pulled up, which may switch a heater on.
Pin = Annotated[int, Field(ge=9, le=27), AfterValidator(no_console_pin)]
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
