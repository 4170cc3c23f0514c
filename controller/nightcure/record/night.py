"""A recorded night read back: what every tick of it said, as columns."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from ..errors import BadInput
from ..ledger.reader import LedgerReader
from ..ledger.rows import time_of_night


class Night:
    """One night of a ledger; its columns have a value for every recorded tick.

    Raises:
        BadInput: there is no such night.
        LedgerLost: the ledger cannot be read, or this night's rows are damaged.
    """

    def __init__(self, reader: LedgerReader, number: int | None = None) -> None:
        """`number`: the newest night's if None."""
        if number is None:
            newest = reader.nights(limit=1)
            if not newest:
                raise BadInput(f"{reader.path} holds no night yet.")
            number = int(newest[0]["id"])
        row = reader.night(number)
        if row is None:
            raise BadInput(f"{reader.path} holds no night {number}; 'nightcure nights' lists them.")
        self.number, self.row = number, row
        self.profile: dict[str, Any] = reader.parsed(row.profile)
        self.settings: dict[str, Any] = reader.parsed(row.settings)
        self.thermometers: list[dict[str, Any]] = self.settings["thermometers"]
        self.tick_s = float(self.settings["timing"]["tick_s"])
        told = reader.columns(
            number,
            *("mono_s", "wall_s", "inputs", "heater", "contactor", "phase", "segment"),
            *("setpoint_c", "control_c", "duty", "believed", "decision"),
        )
        decisions = told["decision"]
        self.time_s = time_of_night(
            told["mono_s"], told["wall_s"], told["inputs"], decisions, self.tick_s
        )
        """s since the night's first tick; a pause counts for as long as it lasted."""
        self.wall_s: list[float] = told["wall_s"]
        self.phase: list[str] = told["phase"]
        self.segment: list[int | None] = told["segment"]
        self.setpoint_c: list[float | None] = told["setpoint_c"]
        self.control_c: list[float | None] = told["control_c"]
        self.duty: list[float] = told["duty"]
        self.heater: list[int] = told["heater"]
        self.contactor: list[int] = told["contactor"]
        self.believed_c: list[list[float | None]] = told["believed"]
        """Of every tick, what was believed of each thermometer."""
        self.decision: list[dict[str, Any]] = reader.parsed(f"[{','.join(decisions)}]")
        """What else was decided; empty where there was nothing to tell."""

    @classmethod
    def at(cls, path: Path, number: int | None = None) -> Night:
        """A night of the ledger at `path`; raises BadInput for a file that is none, too."""
        return cls(LedgerReader(path), number)

    def __len__(self) -> int:
        """How many ticks were recorded."""
        return len(self.time_s)

    def indices(self, *roles: str) -> list[int]:
        """Places of the thermometers of these roles."""
        return [i for i, t in enumerate(self.thermometers) if t["role"] in roles]

    def thermometer_c(self, index: int) -> list[float | None]:
        """What was believed of one thermometer."""
        return [believed[index] for believed in self.believed_c]
