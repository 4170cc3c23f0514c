"""Tables of ten million rows, as a forgotten logger leaves them: how long, and how much memory."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

ROWS = 10_000_000
MOST_S, MOST_MB = 30.0, 1000.0
OFF_S = 14_400.0
SPAN_S = 43_200.0

Row = Callable[[float, float, bool], str]


def air_c(t_s: float) -> float:
    """A lump of two hours, heated for four."""
    warm = 1.0 - 2.718281828 ** (-min(t_s, OFF_S) / 7200.0)
    return 9.0 + 75.0 * warm * 2.718281828 ** (-max(t_s - OFF_S, 0.0) / 7200.0)


#: Name -> its header, and a row of a time, an air and whether the heater is on.
TABLES: dict[str, tuple[str, Row]] = {
    "numbers": ("time_s,air_c,heater", lambda t, a, on: f"{t:.3f},{a:.2f},{on:d}"),
    "on and off": (
        "time_s,air_c,heater", lambda t, a, on: f"{t:.3f},{a:.2f},{'on' if on else 'off'}"
    ),
    "gaps": (
        "time_s,air_c,heater",
        lambda t, a, on: f"{t:.3f},{'-' if int(t) % 3 else f'{a:.2f}'},{on:d}",
    ),
    "of no use": ("time_s,air_c,heater", lambda t, a, on: f"{t:.3f},9.00,0"),
}  # fmt: skip


def write(path: Path, name: str) -> None:
    """One of the tables, 10 million rows; its readings repeat every 4.32 ms."""
    header, row = TABLES[name]
    step_s = SPAN_S / ROWS
    with path.open("w", encoding="utf-8") as file:
        file.write(header + "\n")
        for first in range(0, ROWS, 1000):
            t_s = first * step_s
            a, on = air_c(t_s), t_s < OFF_S
            file.write("".join(row((first + i) * step_s, a, on) + "\n" for i in range(1000)))


def measure(path: Path) -> tuple[int, float, float, str]:
    """Exit code, s, MB at most, and the last line said, of a survey in a process of its own."""
    began_s = time.monotonic()
    program = [sys.executable, "-m", "nightcure", "survey", str(path), "--power", "300"]
    with tempfile.TemporaryFile() as said:
        pid = subprocess.Popen([*program, "--ambient", "9"], stdout=said, stderr=said).pid
        _, status, used = os.wait4(pid, 0)
        said.seek(0)
        lines = said.read().decode().strip().splitlines()
    took_s = time.monotonic() - began_s
    loss = next((line for line in lines if "W/K" in line), lines[-1] if lines else "")
    return os.waitstatus_to_exitcode(status), took_s, used.ru_maxrss / 1024.0, loss.strip()


def tell_long_tables() -> bool:
    """A line for each table; whether all were answered in the time and memory allowed."""
    fine = True
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.csv"
        for name in TABLES:
            write(path, name)
            code, took_s, most_mb, said = measure(path)
            print(f"rows, {name}: exit {code}, {took_s:.1f} s, {most_mb:.0f} MB: {said[:100]}")
            right = 2 if name == "of no use" else 0
            fine &= code == right and took_s <= MOST_S and most_mb <= MOST_MB
    return fine
