"""Faults that can be switched on at a time, in the virtual oven or in what surrounds it."""

from __future__ import annotations

import math
from typing import NamedTuple

from ..errors import BadInput
from ..units import parse_duration

#: What each fault does. Magnitudes are meant to be past doubt, not typical.
FAULTS: dict[str, str] = {
    "sensor-missing": "the control sensor is gone from the bus",
    "sensor-frozen": "the control sensor repeats its last value for ever",
    "sensor-crc": "every reading of the control sensor fails its checksum",
    "sensor-power-on-85": "the control sensor answers 85 °C, as after a loss of its supply",
    "sensor-out-of-box": "the control sensor has fallen out and measures the shed",
    "sensor-jump": "the control sensor shows 10 K too little, all at once",
    "sensor-drift": "the control sensor shows less and less, by 5 K in the hour",
    "sensor-noisy": "the control sensor's readings scatter by 2 K",
    "sensors-swapped": "the control sensor and the one after it have changed places",
    "relay-welded": "the heater relay's contacts are welded shut",
    "contactor-welded": "the contactor's contacts are welded shut",
    "relay-stuck-open": "the heater relay no longer closes",
    "heater-weak": "the heater gives a fifth of its power",
    "door-open": "the lid is off: the air exchanges 60 W/K with the shed",
    "ambient-drop": "the shed falls by 50 K within the hour, colder than any heater plan",
    "exotherm": "the first part makes 400 W of its own",
    "clock-step": "the wall clock jumps ahead by an hour",
    "ledger-full": "the disk takes no more",
}


class FaultAt(NamedTuple):
    """A fault that begins at `at_s` of the night and lasts for `for_s`.

    `size`: in its own unit (share, W, K, K/h); as `FAULTS` says if None. `sensor`: the thermometer
    it befalls, by its place in the settings; the control sensor if None.
    """

    name: str
    at_s: float
    for_s: float = math.inf
    size: float | None = None
    sensor: int | None = None

    def active(self, t_s: float) -> bool:
        """Whether it is on at `t_s`."""
        return self.at_s <= t_s < self.at_s + self.for_s

    def sized(self, usual: float) -> float:
        """Its size, or the usual one."""
        return usual if self.size is None else self.size

    def at_sensor(self, control: int) -> int:
        """The thermometer it befalls."""
        return control if self.sensor is None else self.sensor


def parse_fault(text: str) -> FaultAt:
    """A fault typed as `door-open@3h20` or, for ten minutes, `door-open@3h20+10min`.

    Raises:
        BadInput: one sentence.
    """
    name, at, times = text.partition("@")
    if name not in FAULTS:
        raise BadInput(f"--fault {text}: there is no fault '{name}'; known: {', '.join(FAULTS)}.")
    if not at:
        raise BadInput(f"--fault {text}: say when, for example {name}@3h20.")
    start, plus, length = times.partition("+")
    try:
        return FaultAt(name, parse_duration(start), parse_duration(length) if plus else math.inf)
    except ValueError as error:
        raise BadInput(f"--fault {text}: {error}") from None
