"""An emulated machine: started, asked by its second serial line, reset or cut off."""

from __future__ import annotations

import contextlib
import json
import os
import socket
import subprocess
import threading
import time
from pathlib import Path
from typing import Any

#: The board's 14 s are too short for a machine in emulation on busy cores.
WATCHDOG_S = 40


class Machine:
    """One machine, with a disk that keeps what a power cut leaves on it.

    Args:
        disk: the image it begins from; what it writes goes into a file in `folder`.
    """

    def __init__(self, folder: Path, kernel: Path, initrd: Path, disk: Path) -> None:
        self.folder = folder
        self._kernel, self._initrd = kernel, initrd
        self._disk = folder / "disk.qcow2"
        subprocess.run(
            ["qemu-img", "create", "-q", "-f", "qcow2", "-F", "raw", "-b", disk, self._disk],
            check=True,
        )  # fmt: skip
        self.qemu: subprocess.Popen[bytes] | None = None
        self._number = 0
        self._boot = ""
        self._replies: dict[int, dict[str, Any]] = {}
        self._came = threading.Condition()
        self.hellos = 0
        """How often the guest has come up."""
        self.lines = (False, False)
        """Heater and contactor, as last told; low while the machine is off or begins anew."""
        self.resets: list[float] = []
        """When the machine was reset, in this process's monotonic time (s)."""

    def start(self) -> None:
        """Power on."""
        for name in ("guest", "qmp"):
            (self.folder / name).unlink(missing_ok=True)
        self.qemu = subprocess.Popen(
            ["timeout", "--kill-after=5", "1800", "qemu-system-x86_64", "-nodefaults",
             "-no-user-config", "-display", "none", "-accel", "tcg", "-cpu", "max", "-m", "768",
             "-smp", "1",
             "-kernel", self._kernel, "-initrd", self._initrd,
             "-append", "console=ttyS0 quiet loglevel=4 panic=0 net.ifnames=0 mitigations=off "
                        f"systemd.show_status=false systemd.watchdog_sec={WATCHDOG_S}",
             "-drive", f"file={self._disk},if=virtio,format=qcow2,cache=writeback",
             "-device", "i6300esb", "-action", "watchdog=reset",
             "-serial", f"file:{self.folder / 'console'}",
             "-serial", f"unix:{self.folder / 'guest'},server=on,wait=off",
             "-qmp", f"unix:{self.folder / 'qmp'},server=on,wait=off"],
            stdin=subprocess.DEVNULL, stdout=open(self.folder / "qemu.log", "ab"),  # noqa: SIM115
            stderr=subprocess.STDOUT, start_new_session=True,
        )  # fmt: skip
        self._guest = self._connect("guest")
        threading.Thread(target=self._listen, args=(self._guest,), daemon=True).start()
        qmp = self._connect("qmp")
        qmp.sendall(b'{"execute": "qmp_capabilities"}\n')
        threading.Thread(target=self._watch, args=(qmp,), daemon=True).start()

    def _connect(self, name: str) -> socket.socket:
        end_s = time.monotonic() + 30
        while True:
            line = socket.socket(socket.AF_UNIX)
            try:
                line.connect(str(self.folder / name))
                return line
            except OSError:
                line.close()
                if time.monotonic() > end_s:
                    raise AssertionError((self.folder / "qemu.log").read_text()) from None
                time.sleep(0.1)

    def _watch(self, qmp: socket.socket) -> None:
        with contextlib.suppress(OSError, ValueError), qmp.makefile() as lines:
            for line in lines:
                if json.loads(line).get("event") == "RESET":
                    self.resets.append(time.monotonic())
                    self.lines = (False, False)

    def _listen(self, line: socket.socket) -> None:
        with contextlib.suppress(OSError), line.makefile(errors="replace") as lines:
            for text in lines:
                try:
                    said = json.loads(text)
                except ValueError:
                    continue  # cut off by a reset
                if not isinstance(said, dict):
                    continue
                with self._came:
                    if "lines" in said:
                        self.lines = (bool(said["lines"][0]), bool(said["lines"][1]))
                        self.hellos += said["boot"] != self._boot
                        self._boot = said["boot"]
                    else:
                        self._replies[int(said["number"])] = said
                    self._came.notify_all()

    def up(self, before: int, within_s: float = 300.0) -> float:
        """Wait until the guest has come up once more than `before`; how long that took (s)."""
        began_s = time.monotonic()
        with self._came:
            if not self._came.wait_for(lambda: self.hellos > before, within_s):
                console = (self.folder / "console").read_text(errors="replace")[-3000:]
                raise AssertionError(f"the machine does not come up: {console}")
        return time.monotonic() - began_s

    def send(self, do: str, **args: Any) -> int:
        """Ask without waiting; the question's number."""
        self._number += 1
        text = json.dumps({"number": self._number, "do": do, **args})
        self._guest.sendall(text.encode() + b"\n")
        return self._number

    def ask(self, do: str, patience_s: float = 600.0, **args: Any) -> Any:
        """Ask, and wait for the answer."""
        number = self.send(do, **args)
        with self._came:
            if not self._came.wait_for(lambda: number in self._replies, patience_s):
                raise AssertionError(f"no answer within {patience_s:g} s: {do} {args}")
            reply = self._replies.pop(number)
        if "error" in reply:
            raise AssertionError(f"{do} {args}: {reply['error']}")
        return reply["answer"]

    def tell(self, do: str, **args: Any) -> None:
        """As `send`, of what wants no answer; nobody may be there to hear it."""
        with contextlib.suppress(OSError, AttributeError):
            self._guest.sendall(json.dumps({"number": 0, "do": do, **args}).encode() + b"\n")

    def sh(self, text: str, check: bool = True, patience_s: float = 600.0) -> str:
        """A shell command in the guest; what it said, standard error too."""
        status, said = self.ask("sh", patience_s, text=text)
        if check and status != 0:
            raise AssertionError(f"{text}: {said}")
        return str(said)

    def cut(self) -> None:
        """Pull the plug: nothing that was not on the disk stays."""
        if self.qemu is not None and self.qemu.poll() is None:
            os.killpg(self.qemu.pid, 9)
            self.qemu.wait(20)
        self.lines = (False, False)
        with contextlib.suppress(OSError, AttributeError):
            self._guest.close()
