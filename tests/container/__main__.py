"""The installer and the units under a real service manager: `python -m tests.container`.

A Debian root is made (mmdebstrap), booted (systemd-nspawn), installed into by systemd/install, and
heats the virtual oven of the workshop through the real units; then things are broken, and the time
from each fault to the heater's pin being off is measured from outside. Needs root, Linux, the
packages mmdebstrap and systemd-container, a network for the first run, and some minutes. No GPIO
device is in it: the pin is a file (`simulate.wires`). Not part of the test run.
"""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from argon2 import PasswordHasher

from tests.container.box import PASSPHRASE, SOURCES, Container
from tests.container.trial import CONTROLLER, Trial
from tests.workshop import Workshop

CACHE = Path("/var/tmp/nightcure-container")
PACKAGES = "systemd,systemd-sysv,dbus,python3,python3-venv,procps"
#: Lets the units reach the bench: its thermometers and pins stand in for the board's.
BENCH = """[Service]
Environment=NIGHTCURE_W1_ROOT=/bench/w1 NIGHTCURE_BENCH=/bench/pins
Environment=NIGHTCURE_GPIOD=nightcure.simulate.bench_chip PYTHONPATH=/bench/patch
ReadWritePaths=/bench/pins
"""
#: The loop hangs for as long as a file is there; read by every Python of the controller's unit.
STALL = """
import time
from pathlib import Path
import nightcure.loop.loop as loop
plain = loop.Loop.tick
def tick(self, inputs):
    while Path("/bench/stall").exists():
        time.sleep(0.2)
    return plain(self, inputs)
loop.Loop.tick = tick
"""


def base_root() -> Path:
    """The Debian root, made once."""
    base = CACHE / "root"
    if not (base / "usr/bin/python3").exists():
        print("making a Debian root", flush=True)
        CACHE.mkdir(parents=True, exist_ok=True)
        shutil.rmtree(base, ignore_errors=True)
        subprocess.run(
            [
                "mmdebstrap",
                "--quiet",
                "--variant=minbase",
                f"--include={PACKAGES}",
                "bookworm",
                base,
            ],
            check=True,
        )
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
    (folder / "patch/sitecustomize.py").write_text(STALL)
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
    parser.add_argument("--keep", action="store_true", help="keep the folder, to look into it")
    asked = parser.parse_args()
    missing = [p for p in ("mmdebstrap", "systemd-nspawn", "nsenter") if shutil.which(p) is None]
    if missing:
        sys.exit(f"Not here: {', '.join(missing)}. Install mmdebstrap and systemd-container.")
    base = base_root()
    folder = Path(tempfile.mkdtemp(prefix="nightcure-", dir=CACHE))
    wheels = asked.wheels or make_wheels(folder / "wheels")
    (folder / "bench").mkdir()
    box = None
    try:
        with Workshop(folder / "bench") as shop:
            box = Container(folder, base, wheels.resolve(), shop.folder)
            write_bench(shop, box.root)
            trial = Trial(box, shop)
            box.boot()
            for scenario in trial.scenarios:
                print(f"== {scenario.__name__}", flush=True)
                scenario()
            print(json.dumps(trial.figures, indent=2))
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
    return 0


if __name__ == "__main__":
    sys.exit(main())
