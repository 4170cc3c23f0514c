"""Rows for the ledger's tests."""

from __future__ import annotations

import json

from nightcure.ledger.writer import EventRow, LedgerWriter, TickRow


def row(seq: int, night_id: int = 1, air_c: float | None = 20.0) -> TickRow:
    believed = json.dumps([air_c, 19.0])
    return TickRow(night_id, seq, 2.0 * seq, 1e9 + 2.0 * seq, '{"r":[]}', 1, 1, "ramp", 0, 21.5,
                   air_c, 0.45, believed, "{}")  # fmt: skip


def event(message: str, seq: int = 0, night_id: int | None = 1) -> EventRow:
    return EventRow(night_id, seq, 0.0, 1e9, "note", "n", None, message)


def begin(writer: LedgerWriter) -> int:
    return writer.begin_night(
        oven="O", profile='{"name":"P"}', settings="{}", version="0", opening="{}", started_s=1e9
    )


#: A program that writes ticks for ever, every third durably with an event, whose number it then
#: tells on its standard output.
WRITE_ON = """
import json, sys, time
from pathlib import Path
from nightcure.ledger.writer import *
w = LedgerWriter(Path(sys.argv[1]))
night = w.open_night()
with w.transaction(durable=True):
    if night is None:
        w.begin_night(oven="O", profile="{}", settings="{}", version="0", opening="{}",
                      started_s=1e9)
seq = w.last_seq(1)
while True:
    seq += 1
    durable = seq % 3 == 0
    with w.transaction(durable=durable):
        w.tick(TickRow(1, seq, 2.0 * seq, 1e9, "{}", 1, 1, "ramp", 0, 1.0, 1.0, 0.5, "[1.0]", "{}"))
        if durable:
            w.event(EventRow(1, seq, 0.0, 1e9, "note", "n", None, str(seq)))
        w.live(float(seq), "{}")
        w.snapshot(1, seq, 0.0, 0.0, "x" * 3000)
    if durable:
        sys.stdout.write(f"{seq}\\n"); sys.stdout.flush()
"""
