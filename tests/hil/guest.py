"""Inside the emulated machine: tells how the lines stand, puts temperatures on the wires, and does
what it is asked. One JSON object a line, on the second serial line. Of the program only what the
page has, too: the ledger's reader and its inbox.
"""

from __future__ import annotations

import glob
import json
import os
import subprocess
import sys
import termios
import threading
import time
import tty
from pathlib import Path
from typing import Any

from nightcure.errors import NightcureError
from nightcure.ledger.inbox import Inbox
from nightcure.ledger.reader import LedgerReader

LEDGER = Path("/var/lib/nightcure/nightcure.ledger")
HEATER, CONTACTOR = 17, 27
CONTROL = Path("/sys/kernel/w1_bench/control")
CHIPS = Path("/sys/kernel/config/gpio-sim")
LOOK_S, TELL_S = 0.005, 0.1


def chip(name: str, label: str, lines: int) -> None:
    """A simulated chip, there until `chip_away`."""
    bank = CHIPS / name / "bank0"
    bank.mkdir(parents=True)
    (bank / "num_lines").write_text(str(lines))
    (bank / "label").write_text(label)
    (CHIPS / name / "live").write_text("1")


def chip_away(name: str) -> None:
    """Take a simulated chip out."""
    (CHIPS / name / "live").write_text("0")
    (CHIPS / name / "bank0").rmdir()
    (CHIPS / name).rmdir()


def line_file(number: int, what: str) -> str:
    """Where the kernel shows a line's `value` or `pull`; empty while there is no such chip."""
    found = glob.glob(f"/sys/devices/platform/gpio-sim.*/gpiochip*/sim_gpio{number}/{what}")
    return found[0] if found else ""


def high(number: int) -> bool:
    """The level of a line, whoever drives it."""
    try:
        with open(line_file(number, "value")) as file:
            return file.read().strip() == "1"
    except OSError:
        return False


def pull(line: int, word: str) -> None:
    """What a line is at while nobody drives it: pull-up or pull-down."""
    Path(line_file(line, "pull")).write_text(word)


def status() -> Any:
    """What the controller shows of itself now; None before it has said anything."""
    try:
        return LedgerReader(LEDGER).live()
    except NightcureError:
        return None


def command(word: str, args: dict[str, Any]) -> tuple[str, str]:
    """Ask the controller for something, as the page does: its outcome and sentence."""
    inbox = Inbox(LEDGER)
    try:
        number = inbox.put(word, args, "hil", time.time())
        end_s = time.monotonic() + 60.0
        while (outcome := inbox.outcome(number)) is None and time.monotonic() < end_s:
            time.sleep(0.1)
    finally:
        inbox.close()
    return outcome or ("unanswered", "")


def sh(text: str) -> tuple[int, str]:
    """A shell command: status, and what it said."""
    done = subprocess.run(["sh", "-c", text], capture_output=True, text=True, check=False)
    return done.returncode, (done.stdout + done.stderr)[-20000:]


def until(level: bool, within_s: float, text: str = "") -> float:
    """From a command's start to the heater's line being at `level`, s; -1 where it never was."""
    began_s = time.monotonic()
    doing = subprocess.Popen(["sh", "-c", text]) if text else None
    while high(HEATER) is not level:
        if time.monotonic() - began_s > within_s:
            return -1.0
        time.sleep(LOOK_S)
    took_s = time.monotonic() - began_s
    if doing is not None:
        doing.wait()
    return round(took_s, 3)


def never(level: bool, for_s: float) -> bool:
    """Whether the heater's line is never at `level` for so long."""
    end_s = time.monotonic() + for_s
    while time.monotonic() < end_s:
        if high(HEATER) is level:
            return False
        time.sleep(LOOK_S)
    return True


def control(lines: list[str]) -> None:
    """Tell the simulated bus master."""
    for text in lines:
        CONTROL.write_text(text + "\n")


WORDS = {
    "sh": sh, "status": status, "command": command, "until": until, "never": never, "chip": chip,
    "chip_away": chip_away,
    "control": control, "pull": pull,
}  # fmt: skip


class Wire:
    """The second serial line."""

    def __init__(self) -> None:
        self._wire = os.open("/dev/ttyS1", os.O_RDWR | os.O_NOCTTY)
        tty.setraw(self._wire, termios.TCSANOW)
        self._lock = threading.Lock()

    def say(self, said: dict[str, Any]) -> None:
        """One object."""
        data = json.dumps(said).encode() + b"\n"
        with self._lock:
            while data:
                data = data[os.write(self._wire, data) :]

    def tell_lines(self) -> None:
        """How the two lines stand and which boot this is: at every change, and every second."""
        boot = Path("/proc/sys/kernel/random/boot_id").read_text().strip()
        was: tuple[bool, bool] | None = None
        told_s = 0.0
        while True:
            now, now_s = (high(HEATER), high(CONTACTOR)), time.monotonic()
            if now != was or now_s - told_s > 1.0:
                self.say({"lines": now, "boot": boot})
                was, told_s = now, now_s
            time.sleep(TELL_S)

    def answer(self, asked: dict[str, Any]) -> None:
        """Do what was asked; number 0 wants no answer."""
        number, do = asked.pop("number"), asked.pop("do")
        try:
            said = {"number": number, "answer": WORDS[do](**asked)}
        except Exception as error:
            said = {"number": number, "error": repr(error)}
        if number:
            self.say(said)

    def listen(self) -> None:
        """For ever."""
        with open(self._wire, closefd=False) as lines:
            for text in lines:
                try:
                    asked = json.loads(text)
                except ValueError:
                    continue
                threading.Thread(target=self.answer, args=(asked,), daemon=True).start()


def main() -> None:
    """Tell and answer, from now on."""
    wire = Wire()
    threading.Thread(target=wire.tell_lines, daemon=True).start()
    wire.listen()


if __name__ == "__main__":
    sys.exit(main())
