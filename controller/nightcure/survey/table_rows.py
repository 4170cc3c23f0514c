"""A table's rows: columns in bulk, each text once; a row that is unlike the others by itself."""

from __future__ import annotations

import csv
import warnings
from bisect import bisect_right
from collections.abc import Mapping
from itertools import chain
from pathlib import Path
from typing import TextIO

import numpy as np

from ..errors import BadInput
from ..oven.arrays import Array
from .table_cells import WORDS, HeaterCell, cell_number, dated, seconds, temperature, year_first
from .table_text import NOTHING, cells_of
from .table_times import Times

#: Characters of lines taken at a time: few enough for the cells' texts to be small beside numpy.
CHUNK = 1 << 20
#: So many texts of a column are remembered: a day's seconds in h:mm:ss, and more.
REMEMBERED = 200_000
#: More rows are no test: eight months of seconds. Their arrays would not fit a small board.
MOST_READ = 20_000_000
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
        self.count = 0
        self.heater = HeaterCell()
        self.times = Times(path)
        self.degrees: dict[str, set[str]] = {role: set() for role in at}
        """Letters of units that cells gave, by role."""
        self._path, self._names, self._delimiter = path, names, delimiter
        self._at, self._first_line = at, first_line
        self._values: dict[str, list[Array]] = {role: [] for role in at}
        self._known: dict[str, dict[str, float]] = {role: {} for role in at}
        self._blanks: list[int] = []

    def line(self, row: int) -> int:
        """The file's line of a row."""
        return self._first_line + row + bisect_right(self._blanks, row)

    def columns(self) -> dict[str, Array]:
        """(rows,) of every role; they are handed over, not kept."""
        return {role: np.concatenate(self._values.pop(role)) for role in list(self._values)}

    def read(self, file: TextIO) -> None:
        """All rows.

        Raises:
            BadInput: a cell or a row cannot be read; or there are more rows than any test has.
        """
        while lines := file.readlines(CHUNK):
            kept = [line for line in lines if line.strip(NOTHING)]
            if len(kept) < len(lines):
                self._note_blanks(lines)
            if not kept:
                continue
            block = self._bulk(kept)
            if block is None:
                block = self._one_by_one(kept)
            for i, role in enumerate(self._at):
                kind = np.float64 if role == "time" else np.float32
                self._values[role].append(block[i].astype(kind))
            self.count += len(kept)
            if self.count > MOST_READ:
                raise BadInput(
                    f"{self._path} has more than {MOST_READ // 10**6} million rows; cut out one "
                    f"heating and cooling: a night of seconds is 43200."
                )

    def _note_blanks(self, lines: list[str]) -> None:
        row = self.count
        for line in lines:
            if not line.strip(NOTHING):
                self._blanks.append(row)
            else:
                row += 1

    def _bulk(self, lines: list[str]) -> Array | None:
        """(roles, rows); None where some row or cell wants a look of its own."""
        if any('"' in line for line in lines):
            rows = list(csv.reader(lines, delimiter=self._delimiter))
            widths = set(map(len, rows))
            flat = list(chain.from_iterable(rows)) if len(rows) == len(lines) else []
        elif self._delimiter == " ":
            widths = {len(line.split()) for line in lines}
            flat = " ".join(lines).split()
        else:
            widths = {line.count(self._delimiter) + 1 for line in lines}
            text = "".join(lines).rstrip("\n").replace("\n", self._delimiter)
            flat = text.split(self._delimiter)
        width = widths.pop()
        if widths or not max(self._at.values()) < width <= len(self._names):
            return None
        if len(flat) != width * len(lines):
            return None
        try:
            columns = [self._column(role, flat[i::width]) for role, i in self._at.items()]
        except BadInput:
            return None  # to be told with its line
        return np.stack(columns)

    def _column(self, role: str, texts: list[str]) -> Array:
        if self._delimiter != "," and any("," in text for text in texts):
            texts = "\n".join(texts).replace(",", ".").split("\n")
        try:
            values = np.fromiter(map(float, texts), np.float64, len(texts))
            if np.isfinite(values).all():
                return values
        except ValueError:
            pass
        if role == "time" and dated(texts[0].strip()):
            stamps = _stamps([text.strip() for text in texts])
            if stamps is not None:
                self.times.see(texts[0])
                return stamps
        known = self._known[role]
        if len(known) > REMEMBERED:
            known.clear()
        for text in set(texts).difference(known):
            known[text] = self._cell(role, text.strip().strip('"'), "")
        return np.fromiter(map(known.__getitem__, texts), np.float64, len(texts))

    def _one_by_one(self, lines: list[str]) -> Array:
        block = np.empty((len(self._at), len(lines)))
        for number, line in enumerate(lines):
            cells = cells_of(line, self._delimiter)
            where = f"{self._path}, line {self.line(self.count + number)}"
            self._see_width(cells, where)
            for i, (role, place) in enumerate(self._at.items()):
                block[i, number] = self._cell(role, cells[place], f"{where}: {self._names[place]}")
        return block

    def _see_width(self, cells: list[str], where: str) -> None:
        """Refuse a row whose cells may not be those of its columns."""
        named, last = len(self._names), max(self._at.values())
        more = cells[named:]
        noted = any(more) or self._names[-1].lower() in REMARKS
        if more and noted and (last == named - 1 or not _remark(cells[named - 1])):
            raise BadInput(
                f"{where} has {len(cells)} values; the first line names {named}. A "
                f"number with a decimal comma, or a text with one, needs double quotes."
            )
        if last >= len(cells):
            raise BadInput(f"{where} has {len(cells)} values; the first line names {named}.")

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


def _stamps(texts: list[str]) -> Array | None:
    """Dates and times written all alike, s since 1970 as `seconds` has them; None if they are not.

    Args:
        texts: each of a date, a time to the minute at least, and one and the same zone or none.
    """
    first_s = seconds(texts[0], None, "time")
    zone = next((texts[0][i:] for i in range(16, len(texts[0])) if texts[0][i] in "Z+-"), "")
    if zone:
        if not all(text.endswith(zone) for text in texts):
            return None
        texts = [text[: -len(zone)] for text in texts]
    if year_first(texts[0]) != texts[0]:
        texts = [year_first(text) for text in texts]
    if min(map(len, texts)) < 16:
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            at_us = np.array(texts, dtype="datetime64[us]").astype(np.int64)
        except (ValueError, UserWarning):
            return None
    at_s: Array = at_us / 1e6
    at_s += first_s - at_s[0]
    return at_s
