"""The installer and the units under a real service manager: `python -m tests.container`.

A Debian root is made (mmdebstrap), booted (systemd-nspawn), installed into by systemd/install, and
heats the virtual oven of the workshop through the real units; then things are broken, and the time
from each event to the heater's pin being off is measured from outside (`events`). Needs root,
Linux, the packages mmdebstrap and systemd-container, a network for the first run, and some minutes.
No GPIO device is in it: the pin is a file (`simulate.bench_chip`). CI runs it with --if-possible.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from argon2 import PasswordHasher

from tests.container.box import PASSPHRASE, SOURCES, Container
from tests.container.events import Events
from tests.container.trial import CONTROLLER, Trial
from tests.stalls import PATCH
from tests.workshop import Workshop

CACHE = Path("/var/tmp/nightcure-container")
PACKAGES = "systemd,systemd-sysv,dbus,python3,python3-venv,procps"
#: Lets the units reach the bench: its thermometers and pins stand in for the board's.
BENCH = """[Service]
Environment=NIGHTCURE_W1_ROOT=/bench/w1 NIGHTCURE_BENCH=/bench/pins
Environment=NIGHTCURE_GPIOD=nightcure.simulate.bench_chip PYTHONPATH=/bench/patch
ReadWritePaths=/bench/pins
"""


class NotHere(Exception):
    """Why this machine cannot do it."""


def need_tools() -> None:
    """What the trial needs of the machine; Debian's packages are asked for where it is missing."""
    if sys.platform != "linux" or os.geteuid() != 0:
        raise NotHere("it needs root on Linux")
    tools = ("mmdebstrap", "systemd-nspawn", "nsenter")
    if not all(map(shutil.which, tools)) and shutil.which("apt-get"):
        environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
        packages = ["mmdebstrap", "systemd-container"]
        for words in (["update"], ["install", "-y", "--no-install-recommends", *packages]):
            subprocess.run(["apt-get", "-qq", *words], check=False, env=environment)
    missing = [tool for tool in tools if shutil.which(tool) is None]
    if missing:
        raise NotHere(f"{', '.join(missing)} missing: install mmdebstrap and systemd-container")


def base_root(release: str = "bookworm") -> Path:
    """A Debian root, made once."""
    base = CACHE / ("root" if release == "bookworm" else f"root-{release}")
    if not (base / "usr/bin/python3").exists():
        print(f"making a Debian root, {release}", flush=True)
        CACHE.mkdir(parents=True, exist_ok=True)
        shutil.rmtree(base, ignore_errors=True)
        words = ["mmdebstrap", "--quiet", "--variant=minbase", f"--include={PACKAGES}"]
        if subprocess.run([*words, release, base], check=False).returncode != 0:
            shutil.rmtree(base, ignore_errors=True)
            raise NotHere("mmdebstrap makes no Debian root here")
    return base


def make_wheels(folder: Path) -> Path:
    """The program and all it needs, for an installation without network."""
    print("making wheels", flush=True)
    whole = f"{SOURCES}[pi,planning]"
    words = [sys.executable, "-m", "pip", "wheel", "--quiet", whole, "-w", str(folder)]
    subprocess.run(words, check=True)
    return folder


def write_bench(shop: Workshop, root: Path) -> None:
    """The oven's settings for the units, and what lets them reach the bench."""
    folder = shop.folder
    text = shop.oven_file.read_text("utf-8")
    text = text.replace('"nightcure.ledger"', '"/var/lib/nightcure/nightcure.ledger"')
    text += f'passphrase_hash = "{PasswordHasher().hash(PASSPHRASE)}"\n'
    shop.oven_file.write_text(text)
    (folder / "patch").mkdir()
    (folder / "patch/sitecustomize.py").write_text(PATCH.replace("STALLS", "/bench"))
    for place in (folder, folder / "patch"):
        place.chmod(0o755)
    shop.pins.chmod(0o777)
    drop_in = root / f"etc/systemd/system/{CONTROLLER}.d/bench.conf"
    drop_in.parent.mkdir(parents=True)
    drop_in.write_text(BENCH)


def main() -> int:
    """Run every scenario in order; 0 when all hold."""
    parser = argparse.ArgumentParser(prog="python -m tests.container", description=__doc__)
    parser.add_argument("--wheels", type=Path, help="made before; otherwise they are made now")
    table_help = "measure every event so often, from it to the pin's being off, and no more"
    parser.add_argument("--table", type=int, default=0, metavar="RUNS", help=table_help)
    parser.add_argument("--only", default="", metavar="WORD", help="events with it in their name")
    parser.add_argument("--keep", action="store_true", help="keep the folder, to look into it")
    parser.add_argument(
        "--if-possible", action="store_true", help="where this machine cannot, say so: no failure"
    )
    asked = parser.parse_args()
    try:
        need_tools()
        run(base_root(), asked)
    except NotHere as reason:
        if not asked.if_possible:
            sys.exit(f"Not here: {reason}.")
        print(f"SKIPPED, the trial under a real service manager: {reason}.", flush=True)
    return 0


def run(base: Path, asked: argparse.Namespace) -> None:
    """The scenarios, or so many runs of the events alone."""
    folder = Path(tempfile.mkdtemp(prefix="nightcure-", dir=CACHE))
    (folder / "bench").mkdir()
    box = None
    try:
        wheels = asked.wheels or make_wheels(folder / "wheels")
        with Workshop(folder / "bench") as shop:
            box = Container(folder, base, wheels.resolve(), shop.folder)
            write_bench(shop, box.root)
            trial = Trial(box, shop)
            try:
                box.boot()
            except AssertionError:
                log = (folder / "boot.log").read_text(errors="replace")
                raise NotHere(f"the container does not boot ({log[-300:].strip()})") from None
            events = Events(trial)

            def each_event() -> None:
                events.run(asked.table or 1, quick=not asked.table, only=asked.only)

            scenarios = [*trial.scenarios]
            if asked.table:
                scenarios = [trial.install, trial.night, trial.uninstall]
            scenarios.insert(scenarios.index(trial.night) + 1, each_event)
            for scenario in scenarios:
                print(f"== {scenario.__name__}", flush=True)
                scenario()
            print(json.dumps(trial.figures, indent=2))
            print(events.table())
    except NotHere:
        raise
    except BaseException:
        if box is not None and box.leader:
            print(box.run("journalctl", "-b", "--no-pager", "-n", "60", check=False).stdout)
        raise
    finally:
        if box is not None:
            box.halt()
        if asked.keep:
            print(f"kept: {folder}")
        else:
            shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    sys.exit(main())
