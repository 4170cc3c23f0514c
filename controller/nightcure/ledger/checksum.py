"""A tick's checksum: CRC-32 of its times and inputs, kept as the last key of the inputs' JSON."""

from __future__ import annotations

import zlib

#: What stands before the checksum.
MARK = ',"k":'


def with_checksum(mono_s: float, wall_s: float, text: str) -> str:
    """Inputs (a JSON object as text) with their checksum added."""
    before = text[:-1]
    return f"{before}{MARK}{_checksum(mono_s, wall_s, before)}}}"


def intact(mono_s: float, wall_s: float, text: str) -> bool:
    """Whether a tick's inputs and times are as they were written; True if it has no checksum."""
    before, mark, after = text.rpartition(MARK)
    return not mark or after == f"{_checksum(mono_s, wall_s, before)}}}"


def _checksum(mono_s: float, wall_s: float, text: str) -> int:
    return zlib.crc32(f"{float(mono_s)!r} {float(wall_s)!r} {text}".encode())
