"""DS18B20 thermometers on the kernel's 1-Wire bus, through w1thermsensor.

One conversion for all of them (bulk read where the kernel offers it), read by a thread of its own,
so that neither eight sensors nor a hanging bus ever delays the loop.
"""

from __future__ import annotations

import logging
import os
import threading
from contextlib import suppress
from pathlib import Path

from ..clock import Clock
from .reading import Fault, Reading

os.environ.setdefault("W1THERMSENSOR_NO_KERNEL_MODULE", "1")

from w1thermsensor import Sensor, W1ThermSensor
from w1thermsensor.errors import NoSensorFoundError, ResetValueError, SensorNotReadyError

log = logging.getLogger("nightcure")

#: Where another tree stands in for the kernel's (bench and tests).
ROOT_VARIABLE = "NIGHTCURE_W1_ROOT"
#: A conversion at 12 bit takes up to this long (manufacturer's data sheet).
CONVERSION_S = 0.75
#: Byte 6 of the scratchpad is this after power-on, 10h after a conversion (kernel's w1_therm).
POWER_ON_BYTE_6 = "0c"
LOWEST_C, HIGHEST_C = -55.0, 125.0


def sensor_class(root: Path) -> type[W1ThermSensor]:
    """w1thermsensor's class, looking for its devices under `root`."""

    class RootedSensor(W1ThermSensor):  # type: ignore[misc]
        BASE_DIRECTORY = root

    return RootedSensor


class Bus:
    """Several DS18B20 on one bus.

    Args:
        sensor_ids: such as `28-0123456789ab`, in the order of the readings wanted.
        clock: stamps readings and waits for conversions.
        root: the kernel's device tree, or the environment's `NIGHTCURE_W1_ROOT`.
    """

    def __init__(self, sensor_ids: tuple[str, ...], clock: Clock, root: Path | None = None) -> None:
        chosen = root or Path(os.environ.get(ROOT_VARIABLE, str(W1ThermSensor.BASE_DIRECTORY)))
        self._root = chosen
        self._ids = sensor_ids
        self._clock = clock
        self._class = sensor_class(chosen)

    def read_all(self) -> tuple[Reading, ...]:
        """One reading of every sensor, from one conversion where the bus can do that. Blocks."""
        triggers = sorted(self._root.glob("w1_bus_master*/therm_bulk_read"))
        bulk = bool(triggers)
        for trigger in triggers:
            try:
                trigger.write_text("trigger\n", encoding="ascii")
            except OSError:
                bulk = False
        taken_s = round(self._clock.monotonic(), 3)
        if bulk:
            self._clock.sleep(CONVERSION_S)
            return tuple([self.read(sensor_id, taken_s) for sensor_id in self._ids])
        return tuple(
            [self.read(sensor_id, round(self._clock.monotonic(), 3)) for sensor_id in self._ids]
        )

    def read(self, sensor_id: str, taken_s: float) -> Reading:
        """One sensor's value or what is wrong with it; never raises."""
        try:
            sensor = self._class(Sensor.DS18B20, sensor_id.removeprefix("28-"))
        except (NoSensorFoundError, OSError):
            gone = not (self._root / sensor_id).exists()
            return Reading(None, taken_s, Fault.MISSING if gone else Fault.BUS)
        try:
            value_c = float(sensor.get_temperature())
        except ResetValueError:
            return self._eighty_five(sensor, taken_s)
        except SensorNotReadyError:
            return Reading(None, taken_s, self._not_ready(sensor))
        except NoSensorFoundError:
            gone = not (self._root / sensor_id).exists()
            return Reading(None, taken_s, Fault.MISSING if gone else Fault.BUS)
        except Exception:
            return Reading(None, taken_s, Fault.BUS)
        if not LOWEST_C <= value_c <= HIGHEST_C:
            return Reading(value_c, taken_s, Fault.RANGE)
        return Reading(value_c, taken_s)

    @staticmethod
    def _eighty_five(sensor: W1ThermSensor, taken_s: float) -> Reading:
        """w1thermsensor refuses every 85 °C; only the scratchpad tells a true one."""
        with suppress(Exception):
            words = sensor.get_raw_sensor_strings()[0].split()
            if words[6].lower() != POWER_ON_BYTE_6:
                return Reading(85.0, taken_s)
        return Reading(85.0, taken_s, Fault.POWER_ON)

    @staticmethod
    def _not_ready(sensor: W1ThermSensor) -> Fault:
        """A failed checksum, or (as 6.x kernels show it) nothing at all."""
        with suppress(OSError, UnicodeDecodeError):
            if not sensor.sensorpath.read_text(encoding="ascii").strip():
                return Fault.BUS
        return Fault.CRC


class Reader:
    """A thread that keeps reading a bus; `latest` never blocks.

    Args:
        period_s: least time between the starts of two rounds.
    """

    def __init__(self, bus: Bus, clock: Clock, count: int, period_s: float = 1.0) -> None:
        self._bus = bus
        self._clock = clock
        self._period_s = period_s
        self._latest: tuple[Reading, ...] = tuple(
            Reading(None, round(clock.monotonic(), 3), Fault.MISSING) for _ in range(count)
        )
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._work, name="reader", daemon=True)

    def latest(self) -> tuple[Reading, ...]:
        """The newest round of readings; their times say how old they are."""
        return self._latest

    def start(self) -> None:
        """Begin to read."""
        self._thread.start()

    def stop(self, timeout_s: float = 3.0) -> None:
        """Stop reading; a bus that hangs is left behind."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join(timeout_s)

    def _work(self) -> None:
        self._clock.join()
        while not self._stopping.is_set():
            began_s = self._clock.monotonic()
            try:
                self._latest = self._bus.read_all()
            except Exception:
                log.exception("The 1-Wire bus could not be read.")
                now_s = round(self._clock.monotonic(), 3)
                self._latest = tuple(Reading(None, now_s, Fault.BUS) for _ in self._latest)
            passed_s = self._clock.monotonic() - began_s
            self._clock.sleep(max(self._period_s - passed_s, 0.01))
        self._clock.leave()
