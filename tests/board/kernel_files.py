"""The kernel's 1-Wire files with the times that the kernel takes for them."""

from __future__ import annotations

import errno
from pathlib import Path

from nightcure.clock import Clock
from nightcure.simulate.wires import W1Tree

#: A conversion at 12 bit takes up to this long (manufacturer's data sheet).
CONVERSION_S = 0.75


class TimedFiles:
    """The tree's files with the kernel's times: what a look or a bulk conversion lasts.

    As in Linux, drivers/w1/slaves/w1_therm.c: a trigger's write lasts one conversion,
    `therm_bulk_read` answers 1 until every sensor of its bus has been read, and a sensor without
    such a value converts for itself at each look.

    Args:
        clock: whose time passes.
        writable: whether `therm_bulk_read` may be written.
    """

    def __init__(self, tree: W1Tree, clock: Clock, writable: bool = True) -> None:
        self.tree, self.clock, self.writable = tree, clock, writable
        self.pending: set[str] = set()
        """Sensors that have converted in bulk and have not been read since."""
        self.looks: list[str] = []
        """Every sensor that was looked at, in order."""

    def read(self, path: Path) -> str:
        """What the file shows, after as long as the kernel takes."""
        if path.name == "therm_bulk_read":
            return f"{int(bool(self.pending & self._on_bus(path.parent)))}\n"
        if path.name == "w1_slave":
            sensor_id = path.parent.name
            self.looks.append(sensor_id)
            if sensor_id not in self.pending and path.parent.exists():
                self.clock.sleep(CONVERSION_S)
                self.converts(sensor_id)
            self.pending.discard(sensor_id)
        return path.read_text(encoding="ascii")

    def write(self, path: Path, text: str) -> None:
        """A trigger converts on every sensor of its bus."""
        if not self.writable:
            raise PermissionError(errno.EACCES, "Permission denied")
        if text != "trigger\n":  # the kernel compares the size too: eight bytes
            raise OSError(errno.EINVAL, "Invalid argument")
        self.clock.sleep(CONVERSION_S)
        self.pending |= self._on_bus(path.parent)

    def converts(self, sensor_id: str) -> None:
        """Called when a sensor has converted for itself."""

    @staticmethod
    def _on_bus(master: Path) -> set[str]:
        return set((master / "w1_master_slaves").read_text(encoding="ascii").split())
