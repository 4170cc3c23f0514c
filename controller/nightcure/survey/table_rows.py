"""A table's rows, read one by one; each text of a column is understood once."""

from __future__ import annotations

from array import array
from collections.abc import Mapping
from pathlib import Path
from typing import TextIO

import numpy as np

from ..errors import BadInput
from ..oven.arrays import Array
from .table_cells import WORDS, HeaterCell, cell_number, seconds, temperature
from .table_text import NOTHING, cells_of
from .table_times import Times

#: More rows are no test: eleven days of seconds.
MOST_READ = 1_000_000
#: What a last column of free text is called.
REMARKS = ("note", "notes", "remark", "remarks", "comment", "comments")


class Rows:
    """The rows under a table's names.

    Args:
        names: of all columns.
        at: the place of each role's column.
        first_line: the file's line of the first row.
    """

    def __init__(
        self, path: Path, names: list[str], delimiter: str, at: Mapping[str, int], first_line: int
    ) -> None:
        self.heater = HeaterCell()
        self.times = Times(path)
        self.degrees: dict[str, set[str]] = {role: set() for role in at}
        """Letters of units that cells gave, by role."""
        self._path, self._names, self._delimiter = path, names, delimiter
        self._at, self._first_line = at, first_line
        self._values: dict[str, array[float]] = {role: array("d") for role in at}
        self._known: dict[str, dict[str, float]] = {role: {} for role in at}
        self._lines = array("L")

    @property
    def count(self) -> int:
        """How many rows were read."""
        return len(self._lines)

    def line(self, row: int) -> int:
        """The file's line of a row."""
        return self._lines[row]

    def columns(self) -> dict[str, Array]:
        """(rows,) of every role."""
        return {role: np.array(values) for role, values in self._values.items()}

    def read(self, file: TextIO) -> None:
        """All rows.

        Raises:
            BadInput: a cell or a row cannot be read; or there are more rows than any test has.
        """
        for number, line in enumerate(file, self._first_line):
            if not line.strip(NOTHING):
                continue
            if self.count >= MOST_READ:
                raise BadInput(
                    f"{self._path} has more than {MOST_READ} rows; cut out one heating and "
                    f"cooling: a night of seconds is 43200."
                )
            cells = cells_of(line, self._delimiter)
            self._see_width(cells, number)
            for role, place in self._at.items():
                self._values[role].append(self._value(role, cells[place], number))
            self._lines.append(number)

    def _value(self, role: str, text: str, line: int) -> float:
        known = self._known[role]
        if text not in known:
            where = f"{self._path}, line {line}: {self._names[self._at[role]]}"
            value = self._cell(role, text, where)
            if role == "time":  # no two alike
                return value
            known[text] = value
        return known[text]

    def _see_width(self, cells: list[str], line: int) -> None:
        """Refuse a row whose cells may not be those of its columns."""
        named, last = len(self._names), max(self._at.values())
        more = cells[named:]
        noted = any(more) or self._names[-1].lower() in REMARKS
        if more and noted and (last == named - 1 or not _remark(cells[named - 1])):
            raise BadInput(
                f"{self._path}, line {line} has {len(cells)} values; the first line names {named}. "
                f"A number with a decimal comma, or a text with one, needs double quotes."
            )
        if last >= len(cells):
            raise BadInput(
                f"{self._path}, line {line} has {len(cells)} values; the first line names {named}."
            )

    def _cell(self, role: str, text: str, where: str) -> float:
        text = text.replace(",", ".")
        if role == "time":
            self.times.see(text)
            return seconds(text, "s" if ":" in text else None, where)
        if role == "heater":
            return self.heater.share(text, where)
        value, letter = temperature(text, where)
        if letter is not None:
            self.degrees[role].add(letter)
        return value


def _remark(text: str) -> bool:
    """Whether a cell can only be the beginning of a remark: no number, no heater's word."""
    try:
        cell_number(text, "")
    except BadInput:
        return text.lower() not in WORDS
    return False
