"""A table's column of times: h:mm past midnight, dates, plain numbers; and rows noted twice."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from ..errors import BadInput
from ..oven.arrays import Array
from .table_cells import PER_UNIT_S, dated

#: A log shorter than this whose times have no unit is more likely in minutes or hours, s.
SHORTEST_UNSAID_S = 600.0
#: No test noted as h:mm counts up to so many seconds: its times are minutes and seconds.
LONGEST_CLOCK_S = 48 * 3600.0
#: Going back by more than this is midnight, s.
MIDNIGHT_S = 12 * 3600.0


class Times:
    """How a table writes its times, as its rows are read, and what they are in seconds."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self.clock = False
        """Whether h:mm was seen, with a date or without."""
        self.dated = False

    def see(self, text: str) -> None:
        """One cell."""
        self.clock |= ":" in text
        self.dated |= dated(text)

    def rising(self, values: Array, unit: str, guessed: bool, line: Callable[[int], int]) -> Array:
        """The column in s, one midnight after another, never going back.

        Args:
            values: (rows,), in s where they are of a clock, else in `unit`.
            guessed: nobody said that `unit` is seconds.
            line: the file's line of a row.

        Raises:
            BadInput: they fall, or are hardly in this unit.
        """
        time_s = values if self.clock else values * PER_UNIT_S[unit]
        if self.clock and not self.dated:
            if time_s.max() >= LONGEST_CLOCK_S:
                raise BadInput(
                    f"{self._path}: the times go to {self._shown(float(time_s.max()))}, in h:mm; "
                    f"if they are minutes and seconds, write them as 0:mm:ss."
                )
            time_s = time_s + 86400.0 * np.cumsum(np.r_[0.0, np.diff(time_s) < -MIDNIGHT_S])
        back = np.flatnonzero(np.diff(time_s) < 0)
        if len(back):
            before_s, then_s = float(time_s[back[0]]), float(time_s[back[0] + 1])
            noon = self.clock and before_s - then_s > 10 * 3600.0
            hint = " A clock of twelve hours wants am and pm." if noon else ""
            raise BadInput(
                f"{self._path}, line {line(int(back[0]) + 1)}: the time is {self._shown(then_s)} "
                f"after {self._shown(before_s)}; times must rise.{hint}"
            )
        length_s = float(time_s[-1] - time_s[0])
        if guessed and length_s < SHORTEST_UNSAID_S:
            raise BadInput(
                f"{self._path}: the whole log is {length_s:g} s long if its times are seconds; if "
                f"they are minutes, say --time-unit min; h for hours, d for a spreadsheet's days."
            )
        return time_s

    def _shown(self, time_s: float) -> str:
        if not self.clock or self.dated:
            return f"{time_s:.15g} s"
        minutes, rest = divmod(time_s % 86400.0 if time_s < LONGEST_CLOCK_S else time_s, 60.0)
        return f"{minutes // 60:.0f}:{minutes % 60:02.0f}" + (f":{rest:02.0f}" if rest else "")


def once(columns: dict[str, Array]) -> dict[str, Array]:
    """The table with the last row of every time; `columns` has a "time" that never falls."""
    last = np.r_[np.diff(columns["time"]) > 0, True]
    return {role: values[last] for role, values in columns.items()}
