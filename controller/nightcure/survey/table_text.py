"""A table's text as spreadsheets and loggers write it: its encoding, its rows, its cells."""

from __future__ import annotations

import codecs
import csv
from pathlib import Path
from typing import TextIO

from ..errors import BadInput

#: A row of nothing but these is blank.
NOTHING = ' \t\r\n,;"'
#: So much of a file is looked at to tell its encoding, bytes.
HEAD = 1 << 16


def opened(path: Path) -> TextIO:
    """A CSV open for reading, in UTF-8, in UTF-16 with its mark, or as Windows writes it (cp1252).

    Raises:
        BadInput: it is not there, or no text.
    """
    try:
        with path.open("rb") as file:
            head = file.read(HEAD)
        if head.startswith(b"PK\x03\x04"):
            raise BadInput(f"{path} is a spreadsheet's own file; save its table as CSV.")
        if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            return path.open(encoding="utf-16", newline=None)
        if b"\0" in head:
            raise BadInput(f"{path} cannot be read: it is not text; a CSV is wanted.")
        try:
            codecs.getincrementaldecoder("utf-8")().decode(head)
        except UnicodeDecodeError:
            return path.open(encoding="cp1252", newline=None)
        return path.open(encoding="utf-8-sig", newline=None)
    except FileNotFoundError:
        raise BadInput(f"{path}: there is no such file.") from None
    except OSError as error:
        raise BadInput(f"{path} cannot be read: {error.strerror}.") from None


def header_of(file: TextIO) -> tuple[str, int]:
    """The line that names the columns, and its number; before it may be remarks (#) or sep=."""
    number = 0
    for line in iter(file.readline, ""):
        number += 1
        if line.strip(NOTHING) and not line.startswith(("#", "sep=")):
            return line, number
    return "", number


def delimiter_of(header: str) -> str:
    """What separates the names: comma, semicolon, tab; a space stands for any run of blanks."""
    found = max((",", ";", "\t"), key=header.count)
    return found if found in header or " " not in header.strip() else " "


def cells_of(line: str, delimiter: str) -> list[str]:
    """A row's cells; a delimiter within double quotes is text."""
    text = " ".join(line.split()) if delimiter == " " else line.strip("\r\n")
    cells = next(csv.reader([text], delimiter=delimiter)) if '"' in text else text.split(delimiter)
    return [cell.strip().strip('"') for cell in cells]
