"""DS18B20 thermometers on the kernel's 1-Wire buses, through w1thermsensor.

One conversion for all on a bus (bulk read) where the kernel offers it, else one after the other,
read by a thread of its own, so that neither sixteen sensors nor a hanging bus delays the loop.
"""

from __future__ import annotations

import io
import logging
import os
import re
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

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
#: Bulk conversions in a row that changed no sensor's value by a bit are followed by one round read
#: one by one: the kernel calls a bulk conversion done even where no sensor heard the command.
ALIKE_ROUNDS = 60
#: Values so far apart in those two rounds, °C, show that the bulk conversions were not done.
NOT_CONVERTED_C = 0.25
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


class Files(Protocol):
    """How the kernel's files are read and written; a bench may stand in for it."""

    def read(self, path: Path) -> str:
        """What the file shows now."""

    def write(self, path: Path, text: str) -> None:
        """Write `text`, as the kernel takes it."""


class KernelFiles:
    """The kernel's own."""

    def read(self, path: Path) -> str:
        """What the file shows now."""
        return path.read_text(encoding="ascii")

    def write(self, path: Path, text: str) -> None:
        """Write `text`, as the kernel takes it."""
        path.write_text(text, encoding="ascii")


class OneLook:
    """A sensor's file as w1thermsensor opens it, looked at once and kept.

    The kernel converts anew at every look, so a second one shows another measurement.
    """

    def __init__(self, path: Path, files: Files) -> None:
        self._path, self._files = path, files
        self.text = ""

    def open(self, mode: str) -> io.StringIO:
        """What the kernel shows now."""
        del mode
        self.text = self._files.read(self._path)
        return io.StringIO(self.text)


class Bus:
    """Several DS18B20 on one bus or more.

    Args:
        sensor_ids: such as `28-0123456789ab`, in the order of the readings wanted.
        clock: stamps readings and waits for conversions.
        root: the kernel's device tree, or the environment's `NIGHTCURE_W1_ROOT`.
        files: what stands in for the kernel's files.
    """

    def __init__(
        self,
        sensor_ids: tuple[str, ...],
        clock: Clock,
        root: Path | None = None,
        files: Files | None = None,
    ) -> None:
        chosen = bus_root(root)
        self._root = chosen
        self._ids = sensor_ids
        self._clock = clock
        self._files: Files = files or KernelFiles()
        self._class = sensor_class(chosen)
        self._drained: set[Path] = set()
        self._alike = 0
        """Rounds in a row in which bulk conversions changed nothing."""
        self._last_c: tuple[float | None, ...] = ()
        self._not_converted: set[Path] = set()
        """Buses whose bulk conversions have been found not to be done."""

    def read_all(self) -> tuple[Reading, ...]:
        """One reading of every sensor, from one conversion a bus where it can do that. Blocks.

        Readings are stamped with the start of the conversion that made them.
        """
        found: dict[int, Reading] = {}
        self.read_round(found.__setitem__)
        return tuple(found[i] for i in range(len(self._ids)))

    def read_round(self, seen: Callable[[int, Reading], None]) -> None:
        """As `read_all`; every reading is handed over with its number as soon as it is there."""
        values: dict[int, float | None] = {}

        def see(i: int, reading: Reading) -> None:
            values[i] = reading.value_c
            seen(i, reading)

        doubted = self._alike >= ALIKE_ROUNDS
        one_by_one = set(range(len(self._ids)))
        bulk: list[tuple[Path, set[int]]] = []
        for trigger, on_it in self._buses():
            taken_s = self._now_s()
            if trigger in self._not_converted:
                continue
            if doubted:
                bulk.append((trigger, on_it))
            elif self._convert(trigger):
                bulk.append((trigger, on_it))
                one_by_one -= on_it
                for i in sorted(on_it):
                    see(i, self.read(self._ids[i], taken_s))
            else:
                self._drain(trigger, on_it)
        for i in sorted(one_by_one):
            see(i, self.read(self._ids[i], self._now_s()))
        self._compare(bulk, tuple(values[i] for i in range(len(self._ids))), doubted)

    def _buses(self) -> list[tuple[Path, set[int]]]:
        """Every bus that offers bulk conversions: its trigger, and which sensors are on it."""
        triggers = sorted(self._root.glob("w1_bus_master*/therm_bulk_read"))
        if len(triggers) == 1 and len(list(self._root.glob("w1_bus_master*"))) == 1:
            return [(triggers[0], set(range(len(self._ids))))]
        found = []
        for trigger in triggers:
            try:
                on_bus = self._files.read(trigger.parent / "w1_master_slaves").split()
            except (OSError, UnicodeDecodeError):
                continue
            found.append((trigger, {i for i, name in enumerate(self._ids) if name in on_bus}))
        return found

    def _compare(
        self, bulk: list[tuple[Path, set[int]]], now_c: tuple[float | None, ...], doubted: bool
    ) -> None:
        """Count rounds in which nothing changed, and judge bulk conversions by one without."""
        if doubted:
            for trigger, on_it in bulk:
                if any(_apart(self._last_c[i], now_c[i]) for i in on_it):
                    log.warning("%s converts nothing; read one by one.", trigger)
                    self._not_converted.add(trigger)
        same = bool(bulk) and not doubted and now_c == self._last_c
        self._alike = self._alike + 1 if same else 0
        self._last_c = now_c

    def _now_s(self) -> float:
        return round(self._clock.monotonic(), 3)

    def _convert(self, trigger: Path) -> bool:
        """Convert on all sensors of a bus; False where the kernel allows or did nothing.

        The kernel's file answers the write only when the conversion is over. Another process's may
        be in progress still, and a bench's plain file answers at once: those are waited for here.
        """
        try:
            self._files.write(trigger, "trigger\n")
        except OSError:
            return False
        state = self._state(trigger)
        if state not in (NONE_PENDING, COMPLETE):
            self._clock.sleep(CONVERSION_S)
        return state != NONE_PENDING

    def _drain(self, trigger: Path, on_it: set[int]) -> None:
        """Once, before reading one by one: drop what a bulk conversion of somebody else left.

        The kernel keeps such values and would give them out, however old, as fresh.
        """
        if trigger not in self._drained and self._state(trigger) == COMPLETE:
            for i in sorted(on_it):
                self.read(self._ids[i], self._now_s())
        self._drained.add(trigger)

    def _state(self, trigger: Path) -> str:
        """What `therm_bulk_read` says, unreadable as none pending."""
        try:
            return self._files.read(trigger).strip()
        except (OSError, UnicodeDecodeError):
            return NONE_PENDING

    def read(self, sensor_id: str, taken_s: float) -> Reading:
        """One sensor's value or what is wrong with it; never raises."""
        try:
            sensor = self._class(Sensor.DS18B20, sensor_id.removeprefix("28-"))
        except (NoSensorFoundError, OSError):
            gone = not (self._root / sensor_id).exists()
            return Reading(None, taken_s, Fault.MISSING if gone else Fault.BUS)
        look = OneLook(sensor.sensorpath, self._files)
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


def _apart(before_c: float | None, now_c: float | None) -> bool:
    """Whether two values of a sensor, a round apart, show that the first was an old one."""
    return before_c is not None and now_c is not None and abs(now_c - before_c) >= NOT_CONVERTED_C
