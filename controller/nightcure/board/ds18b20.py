"""DS18B20 thermometers on the kernel's 1-Wire bus, through w1thermsensor.

One conversion for all of them (bulk read where the kernel offers it), read by a thread of its own,
so that neither eight sensors nor a hanging bus ever delays the loop.
"""

from __future__ import annotations

import io
import logging
import os
import re
import threading
from pathlib import Path

from ..clock import Clock
from ..tick import Fault, Reading

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
#: What the kernel answers in therm_bulk_read; -1 is in progress (its w1_therm documentation).
NONE_PENDING, COMPLETE = "0", "1"
LOWEST_C, HIGHEST_C = -55.0, 125.0
DS18B20_ID = re.compile(r"28-[0-9a-f]{12}")


def sensor_class(root: Path) -> type[W1ThermSensor]:
    """w1thermsensor's class, looking for its devices under `root`."""

    class RootedSensor(W1ThermSensor):  # type: ignore[misc]
        BASE_DIRECTORY = root

    return RootedSensor


def bus_root(root: Path | None = None) -> Path:
    """The 1-Wire tree in use: `root`, or the environment's `NIGHTCURE_W1_ROOT`, or the kernel's."""
    return root or Path(os.environ.get(ROOT_VARIABLE, str(W1ThermSensor.BASE_DIRECTORY)))


def sensors_on(root: Path) -> tuple[str, ...]:
    """Ids of every DS18B20 on the bus, sorted; none where there is no bus."""
    try:
        return tuple(sorted(p.name for p in root.iterdir() if DS18B20_ID.fullmatch(p.name)))
    except OSError:
        return ()


class OneLook:
    """A sensor's file as w1thermsensor opens it, looked at once and kept.

    The kernel converts anew at every look, so a second one shows another measurement.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self.text = ""

    def open(self, mode: str) -> io.StringIO:
        """What the kernel shows now."""
        del mode
        self.text = self._path.read_text(encoding="ascii")
        return io.StringIO(self.text)


class Bus:
    """Several DS18B20 on one bus.

    Args:
        sensor_ids: such as `28-0123456789ab`, in the order of the readings wanted.
        clock: stamps readings and waits for conversions.
        root: the kernel's device tree, or the environment's `NIGHTCURE_W1_ROOT`.
    """

    def __init__(self, sensor_ids: tuple[str, ...], clock: Clock, root: Path | None = None) -> None:
        chosen = bus_root(root)
        self._root = chosen
        self._ids = sensor_ids
        self._clock = clock
        self._class = sensor_class(chosen)
        self._drained = False

    def read_all(self) -> tuple[Reading, ...]:
        """One reading of every sensor, from one conversion where the bus can do that. Blocks.

        Readings are stamped with the start of the conversion that made them.
        """
        triggers = sorted(self._root.glob("w1_bus_master*/therm_bulk_read"))
        taken_s = self._now_s()
        if self._convert(triggers):
            return tuple([self.read(sensor_id, taken_s) for sensor_id in self._ids])
        self._drain(triggers)
        return tuple([self.read(sensor_id, self._now_s()) for sensor_id in self._ids])

    def _now_s(self) -> float:
        return round(self._clock.monotonic(), 3)

    def _convert(self, triggers: list[Path]) -> bool:
        """Convert on all sensors at once; False where the kernel offers, allows or did nothing.

        The kernel's file answers the write only when the conversion is over. Another process's may
        be in progress still, and a bench's plain file answers at once: those are waited for here.
        """
        try:
            for trigger in triggers:
                trigger.write_text("trigger\n", encoding="ascii")
        except OSError:
            return False
        states = _states(triggers)
        if any(state not in (NONE_PENDING, COMPLETE) for state in states):
            self._clock.sleep(CONVERSION_S)
        return any(state != NONE_PENDING for state in states)

    def _drain(self, triggers: list[Path]) -> None:
        """Once, before reading one by one: drop what a bulk conversion of somebody else left.

        The kernel keeps such values and would give them out, however old, as fresh.
        """
        if not self._drained and COMPLETE in _states(triggers):
            for sensor_id in self._ids:
                self.read(sensor_id, self._now_s())
        self._drained = True

    def read(self, sensor_id: str, taken_s: float) -> Reading:
        """One sensor's value or what is wrong with it; never raises."""
        try:
            sensor = self._class(Sensor.DS18B20, sensor_id.removeprefix("28-"))
        except (NoSensorFoundError, OSError):
            gone = not (self._root / sensor_id).exists()
            return Reading(None, taken_s, Fault.MISSING if gone else Fault.BUS)
        look = OneLook(sensor.sensorpath)
        sensor.sensorpath = look
        try:
            value_c = float(sensor.get_temperature())
        except ResetValueError:
            return Reading(85.0, taken_s, _eighty_five(look.text))
        except SensorNotReadyError:
            # A failed checksum, or (as 6.x kernels show it) nothing at all.
            return Reading(None, taken_s, Fault.CRC if look.text.strip() else Fault.BUS)
        except NoSensorFoundError:
            gone = not (self._root / sensor_id).exists()
            return Reading(None, taken_s, Fault.MISSING if gone else Fault.BUS)
        except Exception:
            return Reading(None, taken_s, Fault.BUS)
        if not LOWEST_C <= value_c <= HIGHEST_C:
            return Reading(value_c, taken_s, Fault.RANGE)
        return Reading(value_c, taken_s)


def _eighty_five(text: str) -> Fault | None:
    """w1thermsensor refuses every 85 °C; only the scratchpad tells a true one."""
    words = text.split()
    true_one = len(words) > 6 and words[6].lower() != POWER_ON_BYTE_6
    return None if true_one else Fault.POWER_ON


def _states(triggers: list[Path]) -> list[str]:
    """What each bus says of its bulk conversion; one that cannot be asked has none pending."""
    found = []
    for trigger in triggers:
        try:
            found.append(trigger.read_text(encoding="ascii").strip())
        except (OSError, UnicodeDecodeError):
            found.append(NONE_PENDING)
    return found


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
        failing = False
        try:
            while not self._stopping.is_set():
                began_s = self._clock.monotonic()
                try:
                    self._latest = self._bus.read_all()
                    failing = False
                except Exception:
                    if not failing:  # once a spell: a night of these would fill the disk
                        log.exception("The 1-Wire bus could not be read.")
                    failing = True
                    now_s = round(self._clock.monotonic(), 3)
                    self._latest = tuple(Reading(None, now_s, Fault.BUS) for _ in self._latest)
                passed_s = self._clock.monotonic() - began_s
                self._clock.sleep(max(self._period_s - passed_s, 0.01))
        finally:
            self._clock.leave()
