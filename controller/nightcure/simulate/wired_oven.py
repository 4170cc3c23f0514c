"""The virtual oven behind stand-in wires, in a folder: pins come in, temperatures go out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from types import MappingProxyType

from ..settings import Heater, Output, Thermometer
from ..tick import Fault
from .virtual import VirtualOven
from .wires import W1Tree, bench_environment, read_pin

NOTHING_ADDED: Mapping[str, float] = MappingProxyType({})


class WiredOven:
    """One virtual oven, its 1-Wire-like tree `folder/w1` and its pins `folder/pins`.

    Args:
        contactor: in series with the heater; None where there is none.
    """

    def __init__(
        self,
        folder: Path,
        oven: VirtualOven,
        thermometers: Sequence[Thermometer],
        heater: Heater | Output,
        contactor: Output | None,
    ) -> None:
        self.oven = oven
        self.bus = folder / "w1"
        self.pins = folder / "pins"
        self._thermometers = tuple(thermometers)
        self._heater, self._contactor = heater, contactor
        self._tree = W1Tree(self.bus, [t.id for t in thermometers])
        self.put()

    @property
    def environment(self) -> dict[str, str]:
        """What makes a command use these wires instead of the board's."""
        return {
            "NIGHTCURE_W1_ROOT": str(self.bus.absolute()),
            **bench_environment(self.pins),
        }

    def contactor_closed(self) -> bool:
        """Whether current may reach the relay."""
        c = self._contactor
        return c is None or read_pin(self.pins, c.pin) is c.active_high

    def heater_switched_on(self) -> bool:
        """Whether the relay is driven on."""
        return read_pin(self.pins, self._heater.pin) is self._heater.active_high

    def step(self, dt_s: float, moulds_w: Sequence[float] = ()) -> None:
        """Let `dt_s` pass with the pins as they are; `moulds_w` as in `VirtualOven.step`."""
        self.oven.step(dt_s, self.heater_switched_on(), self.contactor_closed(), moulds_w)

    def put(self, added_k: Mapping[str, float] = NOTHING_ADDED) -> None:
        """Put every thermometer's value on the wire, with what a hand adds to it (K, by id).

        A sensor whose supply failed shows the 85 °C of its power-on.
        """
        power_on = "sensor-power-on-85" in self.oven.active()
        for thermometer, said in zip(self._thermometers, self.oven.sense(), strict=True):
            if said.fault is Fault.MISSING:
                self._tree.missing(thermometer.id)
            elif said.fault is Fault.CRC:
                self._tree.crc(thermometer.id)
            elif said.value_c == 85.0 and power_on:
                self._tree.power_on(thermometer.id)
            elif said.value_c is not None:
                value_c = said.value_c + added_k.get(thermometer.id, 0.0)
                self._tree.set_c(thermometer.id, value_c)
