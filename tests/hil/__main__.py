"""The board's part under a real kernel, in emulation: `tests/hil/run`.

A Debian machine is booted in qemu with the kernel's GPIO simulation (several chips, one with a
Raspberry Pi's label) and a simulated 1-Wire master under the kernel's own w1_therm. The package is
installed in it and the controller's unit runs (the page's is tried in containers). Two machines at
once, one for each core: in one everything happens to the controller and to the wires, in the other
above all to the board itself. The virtual oven lives outside, so it cools while a board is off.

Needs root, Linux, a network for what is made at the first run, and Debian's packages mmdebstrap,
qemu-system-x86, qemu-utils, e2fsprogs and cpio, which are asked for where they are missing.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from nightcure import __version__
from tests.hil.emulated_board import CONTROLLER, OVEN, Board
from tests.hil.kernel import HERE, Kernel, disk_of, run
from tests.hil.machine import Machine
from tests.hil.trial import Trial
from tests.stalls import PATCH
from tests.workshop import WITHOUT_A_PAUSE, wait_for

SOURCES = HERE.parents[1]
CACHE = Path("/var/tmp/nightcure-hil")
TOOLS = {
    "mmdebstrap": "mmdebstrap", "qemu-system-x86_64": "qemu-system-x86", "qemu-img": "qemu-utils",
    "mkfs.ext4": "e2fsprogs", "cpio": "cpio",
}  # fmt: skip
SERVICES = {
    "hil-board.service": "[Unit]\nDescription=What a board has at its boot\n"
    "DefaultDependencies=no\nAfter=systemd-udevd.service\nBefore=nightcure-controller.service\n"
    "[Service]\nType=oneshot\nRemainAfterExit=yes\nExecStart=/opt/hil/board\n"
    "[Install]\nWantedBy=multi-user.target\n",
    "hil-guest.service": "[Unit]\nDescription=What asks and answers\nAfter=hil-board.service\n"
    "[Service]\nExecStart=/usr/lib/nightcure/current/bin/python3 /opt/hil/guest.py\n"
    "Restart=always\nNice=-10\n"
    "[Install]\nWantedBy=multi-user.target\n",
}
#: An emulated core is some twenty times slower than a desktop's, and has other things to do.
PATIENCE = "TimeoutStartSec=300\n"
#: Nobody is there for them, or they would take the machine's time.
MASKED = (
    *("getty@.service", "serial-getty@.service", "systemd-timesyncd.service", "apt-daily.timer"),
    *("e2scrub_reap.service", "systemd-logind.service", "systemd-binfmt.service"),
    *("apt-daily-upgrade.timer", "fstrim.timer", "dpkg-db-backup.timer", "e2scrub_all.timer"),
)


def need_tools() -> None:
    """Ask Debian's packages for what is missing."""
    if sys.platform != "linux" or os.geteuid() != 0:
        sys.exit("Not here: it needs root on Linux.")
    missing = sorted(package for tool, package in TOOLS.items() if shutil.which(tool) is None)
    if missing:
        environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
        for words in (["update"], ["install", "-y", "--no-install-recommends", *missing]):
            subprocess.run(["apt-get", "-qq", *words], check=True, env=environment)


def package_in(folder: Path) -> Path:
    """The package for the root's Debian, built unless it is there."""
    made = folder / f"nightcure_{__version__}+deb12_amd64.deb"
    if not made.exists():
        words = ["--release", "bookworm", "--arch", "amd64", "--out", str(folder)]
        subprocess.run([sys.executable, SOURCES / "systemd/package", *words], check=True)
    return made


def oven_file(root: Path) -> None:
    """The scenario's settings for the service; without shades, so that it heats without a pause."""
    from nightcure.simulate.scenario import OVEN_FILE

    text = OVEN_FILE.read_text("utf-8")
    for plain, changed in {
        **WITHOUT_A_PAUSE, '"nightcure.ledger"': '"/var/lib/nightcure/nightcure.ledger"',
    }.items():  # fmt: skip
        assert text.count(plain) == 1, plain
        text = text.replace(plain, changed)
    place = root / OVEN.lstrip("/")
    place.parent.mkdir(mode=0o750, exist_ok=True)
    place.write_text(text)


def make_disk(kernel: Kernel, package: Path, folder: Path) -> Path:
    """The machine's disk: the root with the package installed by dpkg, settings, our services."""
    root = folder / "root"
    run("cp", "-a", "--reflink=auto", kernel.root, root)
    shutil.copy(package, root / "root")
    oven_file(root)
    run("mount", "-t", "proc", "proc", root / "proc")
    try:
        run("chroot", root, "dpkg", "-i", f"/root/{package.name}")
    finally:
        run("umount", root / "proc")
    kernel.put_modules(root)
    for name in ("board", "guest.py"):
        shutil.copy(HERE / name, root / "opt/hil")
    (root / "opt/hil/patch").mkdir()
    (root / "opt/hil/patch/sitecustomize.py").write_text(PATCH.replace("STALLS", "/run/hil"))
    (root / "etc/tmpfiles.d/hil.conf").write_text("d /run/hil 0755 root root -\n")
    for name, text in SERVICES.items():
        (root / "etc/systemd/system" / name).write_text(text)
    stalls = root / f"etc/systemd/system/{CONTROLLER}.service.d/stalls.conf"
    stalls.parent.mkdir()
    stalls.write_text(f"[Service]\nEnvironment=PYTHONPATH=/opt/hil/patch\n{PATIENCE}")
    run("systemctl", f"--root={root}", "mask", *MASKED)
    run("systemctl", f"--root={root}", "enable", *SERVICES, f"{CONTROLLER}.service")
    (root / "etc/systemd/journald.conf").write_text("[Journal]\nStorage=volatile\n")
    (root / "etc/fstab").write_text("/dev/vda / ext4 defaults 0 1\n")
    disk = disk_of(root, folder / "disk", 2600)
    shutil.rmtree(root)
    return disk


def watched(name: str, machine: Machine, package: str, runs: int, steps: str) -> Trial:
    """One machine from power on through its scenarios."""
    machine.start()
    board = Board(machine)
    trial = Trial(board, package, runs)
    try:
        print(f"{name}: up after {machine.up(0):.0f} s", flush=True)
        wait_for(lambda: board.phase() != "none", 300, "the controller shows itself")
        for step in steps.split():
            began_s = time.monotonic()
            print(f"== {name}: {step}", flush=True)
            scenario: Callable[[], None] = getattr(trial, step)
            scenario()
            print(f"== {name}: {step}: {time.monotonic() - began_s:.0f} s", flush=True)
    except BaseException:
        try:
            print(machine.ask("sh", 60, text="journalctl -b --no-pager -n 80")[1], flush=True)
        except AssertionError:
            print((machine.folder / "console").read_text(errors="replace")[-3000:], flush=True)
        raise
    finally:
        board.close()
    return trial


def table(times: dict[str, list[float]]) -> str:
    """From each event to the heater's line being low."""
    rows = [
        f"| {event} | {len(t)} | {statistics.median(t):.1f} | {max(t):.1f} |"
        for event, t in times.items()
    ]
    head = "| event | runs | median (s) | longest (s) |\n| --- | --- | --- | --- |"
    return "\n".join([head, *rows])


CONTROLLERS = (
    "found upgrade_refused brief_night ends thermometers lost_converts late_bus wrong_chip"
)
BOARDS = "clock_steps panic power_cut strict sixteen"


def main() -> int:
    """0 when everything holds."""
    parser = argparse.ArgumentParser(prog="tests/hil/run", description=__doc__)
    parser.add_argument("--runs", type=int, default=5, help="of every event")
    parser.add_argument("--package", type=Path, help="a folder with the package, built before")
    parser.add_argument("--controller", default=CONTROLLERS, help="scenarios of the first machine")
    parser.add_argument("--board", default=BOARDS, help="scenarios of the second machine")
    parser.add_argument("--disk", type=Path, help="a disk of an earlier run that was kept")
    parser.add_argument("--keep", action="store_true", help="keep the folder, to look into it")
    asked = parser.parse_args()
    began_s = time.monotonic()
    need_tools()
    CACHE.mkdir(parents=True, exist_ok=True)
    folder = Path(tempfile.mkdtemp(prefix="run-", dir=CACHE))
    try:
        with ThreadPoolExecutor(2) as pool:
            making = pool.submit(Kernel, CACHE)
            package = package_in((asked.package or folder).resolve())
            kernel = making.result()
        disk = asked.disk or make_disk(kernel, package, folder)
        print(f"made after {time.monotonic() - began_s:.0f} s", flush=True)
        initrd = kernel.initrd()
        wanted = {"controller": asked.controller, "board": asked.board}
        with ThreadPoolExecutor(2) as pool:
            doing = []
            for name, steps in wanted.items():
                if not steps:
                    continue
                (folder / name).mkdir()
                machine = Machine(folder / name, kernel.image, initrd, disk.resolve())
                inside = f"/root/{package.name}"
                doing.append(pool.submit(watched, name, machine, inside, asked.runs, steps))
            trials = [one.result() for one in doing]
    finally:
        if asked.keep:
            print(f"kept: {folder}")
        else:
            shutil.rmtree(folder, ignore_errors=True)
    times = {event: t for trial in trials for event, t in trial.times.items()}
    for trial in trials:
        print(trial.figures)
    print(table(times))
    print(f"Everything holds, after {(time.monotonic() - began_s) / 60:.1f} min.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
