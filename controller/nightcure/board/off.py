"""`nightcure off`: every output off, now.

It is all that stands between a controller that was killed and a heater left on. So it needs no
valid settings, is done while other commands would still be importing, and imports nothing but the
standard library and the pin binding. Pins are taken from what the controller wrote down when it
claimed them, and from every line of oven.toml that can be made out, however the rest of it looks.
"""

from __future__ import annotations

import re
import sys
import time
from pathlib import Path

from .. import OVEN_FILES
from .claimed_pins import (
    RUNTIME,
    RUNTIME_VARIABLE,
    STATE,
    STATE_VARIABLE,
    SUFFIX,
    ClaimedPin,
    read_claimed,
    service_folder,
)
from .lines import Line, LineBusy, LineError

CONSUMER = "nightcure off"
#: The settings' default, for an output of which nothing says otherwise.
ACTIVE_HIGH = True
#: What oven.toml allows as a pin; half of a number that was cut off is none of these.
PINS = range(9, 28)
#: A process that has just been killed may let go of its lines a little later.
BUSY_S, TRY_S = 2.0, 0.05
PULL = "Pull the heater's plug."
STOP = "Stop the controller first, or pull the heater's plug."
#: Outputs that heat nothing: no plug is pulled for one of them.
TELL = ("siren", "running", "waiting", "ready", "alarm")
BUTTONS = ("stop_button", "silence_button")

#: A table's last name: of [annunciator.siren] the siren.
_TABLE = re.compile(r"\s*\[+\s*(?:[\"']?[\w-]+[\"']?\s*\.\s*)*[\"']?([\w-]+)")
_NAMED = re.compile(r"\s*([\w-]+)\s*(?:\.|=\s*\{)")  # heater.pin = 17, heater = { pin = 17 }
_KEY = re.compile(r"(?:^|[{,\s.])(pin|active_high)\s*=\s*[\"']?(\w+)")
_LEDGER = re.compile(r"\s*ledger\s*=\s*(?:\"([^\"]+)|'([^']+))")


def pins_in(text: str) -> tuple[list[ClaimedPin], str | None]:
    """Every output that the lines of an oven.toml tell of, and the ledger's name.

    Lines are read one by one, so one that is spoiled costs itself. A table that is not known counts
    as an output, too: it may be the heater's with a slip in its name. A second pin in a table is
    another output's, whose header is spoiled.
    """
    outputs: list[ClaimedPin] = []
    ledger = None
    table = ""
    current = -1  # the output whose lines these are
    for line in text.splitlines():
        bare = line.partition("#")[0]
        header, named, of_ledger = _TABLE.match(bare), _NAMED.match(bare), _LEDGER.match(line)
        if header:
            table, current = header[1], -1
            continue
        if of_ledger and not table:
            ledger = of_ledger[1] or of_ledger[2]
        what = named[1] if named else table
        if named:
            current = max((i for i, o in enumerate(outputs) if o.what == what), default=-1)
        for key, value in _KEY.findall(bare):
            pin = int(value) if key == "pin" and value.isdecimal() else -1
            if current < 0 or (pin in PINS and outputs[current].pin in PINS):
                outputs.append(ClaimedPin(what, -1, None))
                current = len(outputs) - 1
            if pin in PINS:
                outputs[current] = outputs[current]._replace(pin=pin)
            elif key == "active_high" and value in ("true", "false"):
                outputs[current] = outputs[current]._replace(active_high=value == "true")
    return [o for o in outputs if o.pin in PINS and o.what not in BUTTONS], ledger


class Off:
    """One run: what is known of the pins, what was done, what went wrong."""

    def __init__(self) -> None:
        self.found: list[ClaimedPin] = []
        """What is sure of its level first: as claimed, newest first, then as in oven.toml."""
        self.done: list[str] = []
        self.trouble: list[str] = []
        self._unread: list[str] = []

    def look(self, oven: Path) -> None:
        """Take the pins of one oven from wherever they are written."""
        ledger = oven.parent / "nightcure.ledger"
        written: list[ClaimedPin] = []
        try:
            # Nothing here needs more than ASCII; NULs are what an editor's UTF-16 has between.
            text = oven.read_bytes().replace(b"\0", b"").decode("utf-8", "replace")
        except OSError as error:
            self._unread.append(f"{oven} ({error.strerror})")
        else:
            written, name = pins_in(text)
            ledger = oven.parent / (name or ledger.name)
        runtime, state = service_folder(RUNTIME_VARIABLE), service_folder(STATE_VARIABLE)
        folders = [folder for folder in (runtime, ledger.parent) if folder is not None]
        files = [folder / (ledger.name + SUFFIX) for folder in folders]
        if not any(_there(file) for file in files):  # of another ledger, then
            folders = [runtime or Path(RUNTIME), state or Path(STATE), ledger.parent]
            unique = dict.fromkeys(folders)
            files = [file for folder in unique for file in sorted(folder.glob(f"*{SUFFIX}"))]
        for file in files:
            try:
                self.found.extend(read_claimed(file))
            except FileNotFoundError:
                continue
            except (OSError, ValueError) as error:
                self._unread.append(f"{file} ({getattr(error, 'strerror', None) or error})")
        self.found.extend(written)

    def drive(self) -> None:
        """Every pin that was found, off; each is tried whatever becomes of the others."""
        by_pin: dict[int, list[ClaimedPin]] = {}
        for one in self.found:
            by_pin.setdefault(one.pin, []).append(one)
        end_s = time.monotonic() + BUSY_S
        for pin, said in by_pin.items():
            what = said[0].what or "an output"
            highs = [one.active_high for one in said if one.active_high is not None]
            high = highs[0] if highs else ACTIVE_HIGH
            try:
                self._off(pin, not high, end_s)
            except Exception as error:  # whatever it is, the others are still to be driven
                do = f" {STOP if isinstance(error, LineBusy) else PULL}"
                do = "" if what in TELL else do
                self.trouble.append(f"{what}: GPIO{pin} cannot be driven off: {error}.{do}")
                continue
            self.done.append(f"{what} (GPIO{pin})")
            if not highs:
                self.done[-1] += ", taken to be active high since nothing says otherwise"
            elif len(set(highs)) > 1:
                level = "high" if high else "low"
                self.done[-1] += f", active {level} as it was claimed, though oven.toml differs now"
        if not any(one.what == "heater" for one in self.found):
            unread = f" Not read: {', '.join(self._unread)}." if self._unread else ""
            self.trouble.append(f"The heater's pin is written nowhere.{unread} {PULL}")

    def _off(self, pin: int, level: bool, end_s: float) -> None:
        while True:
            try:
                line = Line(pin, level, CONSUMER)
                break
            except LineBusy:
                if time.monotonic() > end_s:
                    raise
                time.sleep(TRY_S)
        try:
            if line.level is not level:
                raise LineError("it does not follow")
        finally:
            line.release()


def _there(file: Path) -> bool:
    try:
        return file.exists()
    except OSError:  # a folder that this user may not look into
        return False


def main(words: list[str]) -> int:
    """Drive everything off; 0 when all that is known is off, and the heater is among it."""
    strange = [word for word in words if word.startswith("-")]
    named = [word for word in words if not word.startswith("-")]
    run = Off()
    for oven in named or [n for n in OVEN_FILES if _there(Path(n))] or OVEN_FILES[-1:]:
        run.look(Path(oven))
    run.drive()
    if run.done:
        print(f"Off: {'; '.join(run.done)}.", file=sys.stderr)
    for sentence in run.trouble:
        print(f"nightcure: {sentence}", file=sys.stderr)
    if strange:
        print(f"nightcure: 'off' has no option {strange[0]}; see --help.", file=sys.stderr)
    return 1 if run.trouble else 2 if strange else 0
