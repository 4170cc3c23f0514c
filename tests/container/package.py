"""The Debian packages under a real service manager: `python -m tests.container.package`.

For Debian 12 and 13: the package is built, installed in a booted container without network, set up
on the virtual oven's bus, heats, is refused an upgrade and a removal in mid-night, is upgraded
afterwards while something always looks whether the program is whole, and is purged. Needs root,
Linux, the packages mmdebstrap and systemd-container, and a network for what is built before.
"""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from nightcure import __version__
from nightcure.simulate.wires import read_pin
from tests.container.__main__ import BENCH, CACHE, NotHere, base_root, need_tools
from tests.container.box import PASSPHRASE, SOURCES, Container
from tests.container.contents import contents
from tests.container.trial import CONTROLLER, HOT, WEB
from tests.workshop import HEATER_PIN, Workshop, wait_for

NUMBERS = {"bookworm": 12, "trixie": 13}
#: The same program as the version before this, for an upgrade from it.
BEFORE = "0.1.9"
APT = ("apt-get", "-q", "-y", "--no-install-recommends", "-o", "Dpkg::Use-Pty=0")
BUS = "NIGHTCURE_W1_ROOT=/bench/w1"
#: Looks until it is told to stop, and writes down every moment without a whole program.
WATCH = """
while [ ! -e /run/watched ]; do sleep 0.02
    [ -e /usr/lib/nightcure/current/bin/nightcure ] &&
        [ -e /usr/lib/nightcure/current/lib/python3*/site-packages/nightcure/board/off.py ] ||
        echo broken
done
"""
ANSWERS = (
    *("--yes", "--sensor=28-0000000000a1=air:Air", "--sensor=28-0000000000b1=part:Lid"),
    *("--sensor=28-0000000000b2=part:Rim", "--sensor=28-0000000000c1=ambient:Shed"),
    *("--power=300", "--relay=solid-state", "--pin=17", "--contactor=27", "--fan=22"),
    *("--cut-out=65", "--cut-outs=2", "--alarm=cold-rated", "--sleep=elsewhere"),
    *("--inside=1.2x0.6x0.6", "--board=25", "--moulds=15", "--passphrase-file=/bench/phrase"),
)


def earlier(package: Path, work: Path) -> Path:
    """The package again, as of an earlier version."""
    tree = work / "tree"
    shutil.rmtree(tree, ignore_errors=True)
    subprocess.run(["dpkg-deb", "-R", package, tree], check=True)
    home = tree / "usr/lib/nightcure"
    (home / __version__).rename(home / BEFORE)
    changed = [*(tree / "DEBIAN").iterdir(), *home.rglob("nightcure/__init__.py")]
    for path in changed:
        path.write_text(path.read_text("utf-8").replace(__version__, BEFORE))
    made = work / package.name.replace(__version__, BEFORE)
    subprocess.run(["dpkg-deb", "--root-owner-group", "-Zgzip", "-z1", "-b", tree, made],
                   check=True, stdout=subprocess.DEVNULL)  # fmt: skip
    shutil.rmtree(tree)
    return made


class Packaged:
    """One release's package in a booted container, and its figures."""

    def __init__(self, box: Container, shop: Workshop, package: Path, before: Path) -> None:
        self.box, self.shop = box, shop
        self.package, self.before = f"/wheels/{package.name}", f"/wheels/{before.name}"
        self.figures: dict[str, object] = {"package_mb": round(package.stat().st_size / 1e6, 1)}

    @property
    def steps(self) -> tuple[Callable[[], None], ...]:
        """In their order."""
        first = (self.install, self.set_up, self.draws, self.adopt)
        return (*first, self.night, self.upgrade, self.purge)

    def note(self, name: str, value: float) -> None:
        self.figures[name] = round(value, 1)
        print(f"{name}: {value:.1f}", flush=True)

    def on(self) -> bool:
        return read_pin(self.shop.pins, HEATER_PIN)

    def pid(self, unit: str) -> str:
        return self.box.show(unit, "MainPID")

    def timed(self, name: str, *words: str) -> str:
        began_s = time.monotonic()
        said = self.box.run(*words).stdout
        self.note(name, time.monotonic() - began_s)
        return said

    def install(self) -> None:
        """Without network; nothing is started before there are settings."""
        said = self.timed("install_s", *APT, "install", self.before)
        assert "Next: sudo nightcure setup" in said, said
        assert self.box.run("nightcure", "--version").stdout == f"nightcure {BEFORE}\n"
        assert self.box.show(CONTROLLER, "UnitFileState") == "disabled"
        used = self.box.run("du", "-sm", "--apparent-size", "/usr/lib/nightcure").stdout.split()[0]
        self.note("installed_mb", float(used))

    def set_up(self) -> None:
        """As a person does, with every answer as an option; then both run."""
        said = self.timed("setup_s", "env", BUS, "nightcure", "setup", *ANSWERS)
        assert "It runs." in said, said
        for unit in (CONTROLLER, WEB):
            assert self.box.show(unit, "ActiveState") == "active", unit
            assert self.box.show(unit, "UnitFileState") == "enabled", unit
        mode = self.box.run("stat", "-c", "%a %U %G", "/etc/nightcure/oven.toml").stdout
        assert mode == "640 root nightcure\n", mode
        page = "import urllib.request as u; print(u.urlopen('http://127.0.0.1:8733/').read()[:15])"
        assert "doctype html" in self.box.run("python3", "-c", page).stdout.lower()

    def propose(self, loss_w_per_k: float) -> None:
        """As the page does: numbers for oven.toml, which it may not write itself."""
        model = {
            "loss_w_per_k": loss_w_per_k, "air_capacity_j_per_k": 15e3, "measured": True,
            "mould_capacity_j_per_k": 14e3, "mould_lag_s": 2600.0, "heater_lag_s": 180.0,
        }  # fmt: skip
        asked = json.dumps({"night_id": 1, "model": model, "regulator": {"gain_w_per_k": 40.0}})
        put = f"umask 027; cd /var/lib/nightcure && printf %s '{asked}' >.asked"
        put += " && mv .asked survey-to-write.json"
        self.box.run("runuser", "-u", "nightcure", "--", "sh", "-c", put)

    def oven(self) -> str:
        return self.box.run("cat", "/etc/nightcure/oven.toml").stdout

    def adopt(self) -> None:
        """What the page found is written by root's own unit, and both begin anew."""
        before, pid = self.oven(), self.pid(CONTROLLER)
        self.propose(3.21)
        took_s = wait_for(lambda: "loss_w_per_k = 3.21" in self.oven(), 60, "it is written")
        self.note("adopted_s", took_s)
        assert self.box.run("cat", "/etc/nightcure/oven.toml.bak").stdout == before
        mode = self.box.run("stat", "-c", "%a %U %G", "/etc/nightcure/oven.toml").stdout
        assert mode == "640 root nightcure\n", mode
        self.box.run("rm", "/var/lib/nightcure/survey-to-write.json")
        wait_for(lambda: self.pid(CONTROLLER) not in ("0", pid), 60, "the controller anew")
        for unit in (CONTROLLER, WEB, "nightcure-adopt.path"):
            wait_for(lambda u=unit: self.box.show(u, "ActiveState") == "active", 60, unit)

    def draws(self) -> None:
        """Whoever asks for a picture or a sheet gets it; a browser can be told."""
        text = "cd /tmp && nightcure rehearse --ledger try.ledger >/dev/null && "
        text += "nightcure record last --ledger try.ledger --out night.pdf >/dev/null && "
        text += "nightcure plan --by 8:00 --lowest 2 --nights 40 --plot plan.png >/dev/null && "
        text += "head -c 4 night.pdf && head -c 4 plan.png | tail -c 3"
        assert self.box.run("sh", "-c", text).stdout == "%PDFPNG"
        text = "import pywebpush, py_vapid, apprise, paho.mqtt.client"
        self.box.run("/usr/lib/nightcure/current/bin/python3", "-c", text)

    def night(self) -> None:
        """Heats; neither an upgrade nor a removal comes through, and it heats on."""
        answer = self.box.page("start", {"profile": HOT, "limit_device_confirmed": True})
        assert answer["outcome"] == "done", answer
        wait_for(self.on, 60, "the heater on")
        pid = self.pid(CONTROLLER)
        for words in (("install", self.package), ("remove", "nightcure"), ("purge", "nightcure")):
            done = self.box.run(*APT, *words, check=False)
            assert done.returncode != 0, done.stdout
            assert "A night is under way" in done.stdout + done.stderr, done.stdout + done.stderr
            assert self.pid(CONTROLLER) == pid
            assert self.box.page("status")["phase"] == "soak"
        settings = self.oven()
        self.propose(4.56)
        failed = lambda: self.box.show("nightcure-adopt.service", "Result") == "exit-code"  # noqa: E731
        wait_for(failed, 60, "nothing is written in a night")
        assert self.oven() == settings
        assert self.pid(CONTROLLER) == pid
        assert self.box.run("nightcure", "--version").stdout == f"nightcure {BEFORE}\n"
        status = self.box.run("dpkg-query", "-W", "-f", "${Status} ${Version}", "nightcure").stdout
        assert status.startswith(f"install ok installed {BEFORE}"), status
        for name, unit in (("controller", CONTROLLER), ("page", WEB)):
            text = self.box.run("cat", f"/proc/{self.pid(unit)}/smaps_rollup").stdout
            pss = next(line.split()[1] for line in text.splitlines() if line.startswith("Pss:"))
            rss = next(line.split()[1] for line in text.splitlines() if line.startswith("Rss:"))
            self.note(f"{name}_rss_mb", float(rss) / 1024)
            self.note(f"{name}_pss_mb", float(pss) / 1024)

    def upgrade(self) -> None:
        """When the night has ended; at no moment is there half a program."""
        assert self.box.page("stop", {})["outcome"] == "done"
        wait_for(lambda: not self.on(), 10, "off")
        wait_for(lambda: self.box.page("status")["phase"] in ("idle", "done"), 30, "at rest")
        pid = self.pid(CONTROLLER)
        with ThreadPoolExecutor(1) as pool:
            watching = pool.submit(self.box.run, "sh", "-c", WATCH)
            try:
                said = self.timed("upgrade_s", *APT, "install", self.package)
            finally:
                self.box.run("touch", "/run/watched")
            assert watching.result().stdout == "", "half a program, for a moment"
        assert "Next: sudo nightcure setup" not in said
        assert self.box.run("nightcure", "--version").stdout == f"nightcure {__version__}\n"
        assert self.pid(CONTROLLER) not in ("0", pid)
        wait_for(lambda: self.box.show(WEB, "ActiveState") == "active", 60, "the page again")
        nights = json.loads(
            self.box.run(
                "nightcure",
                "nights",
                "--json",
                "--ledger",
                "/var/lib/nightcure/nightcure.ledger",
            ).stdout
        )
        assert len(nights["nights"]) == 1, nights
        left = self.box.run("ls", "-A", "/usr/lib/nightcure").stdout.split()
        assert left == [__version__, "current"], left

    def purge(self) -> None:
        """Nothing left but the ledger; then it comes back to it."""
        self.timed("purge_s", *APT, "purge", "nightcure")
        found = self.box.run("sh", "-c",
            "find / -xdev -name '*nightcure*' -not -path '/proc/*' -not -path '/bench/*' "
            "-not -path '/src/*' -not -path '/wheels/*'").stdout.split()  # fmt: skip
        drop_ins = "/etc/systemd/system/nightcure-controller.service.d"
        logs = ("/var/log/", "/var/cache/", "/run/systemd/", drop_ins)
        left = [path for path in found if not path.startswith(logs)]
        ledger = "/var/lib/nightcure/nightcure.ledger"  # with what SQLite keeps beside it
        assert set(left) <= {"/var/lib/nightcure", ledger, f"{ledger}-wal", f"{ledger}-shm"}, left
        assert ledger in left
        known = self.box.run("systemctl", "list-unit-files", "nightcure*", check=False).stdout
        assert "0 unit files" in known, known
        assert self.box.run("getent", "passwd", "nightcure", check=False).returncode != 0
        self.box.run(*APT, "install", self.package)
        self.box.run("nightcure", "nights", "check",
                     "--ledger", "/var/lib/nightcure/nightcure.ledger")  # fmt: skip
        owner = self.box.run("stat", "-c", "%U", "/var/lib/nightcure/nightcure.ledger").stdout
        assert owner == "nightcure\n", owner


def package_of(release: str, processor: str, folder: Path) -> Path:
    """This version's package, built unless it is there; what is in it is looked at."""
    made = folder / f"nightcure_{__version__}+deb{NUMBERS[release]}_{processor}.deb"
    if not made.exists():
        print(f"building the package for {release}, {processor}", flush=True)
        words = ["--release", release, "--arch", processor, "--out", str(folder)]
        subprocess.run([sys.executable, SOURCES / "systemd/package", *words], check=True)
    print(f"{made.name}: {contents(made)}", flush=True)
    return made


def run(release: str, folder: Path) -> dict[str, object]:
    """Every scenario for one release."""
    base = base_root(release)
    package_of(release, "arm64", folder)
    package = package_of(release, "amd64", folder)
    before = earlier(package, folder)
    work = Path(tempfile.mkdtemp(prefix=f"nightcure-{release}-", dir=CACHE))
    (work / "bench").mkdir()
    box = None
    try:
        with Workshop(work / "bench") as shop:
            box = Container(work, base, folder, shop.folder)
            shop.pins.chmod(0o777)
            shop.folder.chmod(0o755)
            (shop.folder / "phrase").write_text(f"{PASSPHRASE}\n")
            drop_in = box.root / f"etc/systemd/system/{CONTROLLER}.d/bench.conf"
            drop_in.parent.mkdir(parents=True)
            drop_in.write_text(BENCH)
            box.boot()
            trial = Packaged(box, shop, package, before)
            for step in trial.steps:
                print(f"== {release}: {step.__name__}", flush=True)
                step()
            return trial.figures
    except BaseException:
        if box is not None and box.leader:
            print(box.run("journalctl", "-b", "--no-pager", "-n", "60", check=False).stdout)
        raise
    finally:
        if box is not None:
            box.halt()
        shutil.rmtree(work, ignore_errors=True)


def main() -> int:
    """0 when all holds for both releases."""
    parser = argparse.ArgumentParser(prog="python -m tests.container.package", description=__doc__)
    parser.add_argument("--release", choices=NUMBERS, help="only this one")
    parser.add_argument("--packages", type=Path, help="a folder with packages built before")
    asked = parser.parse_args()
    try:
        need_tools()
    except NotHere as reason:
        sys.exit(f"Not here: {reason}.")
    CACHE.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="nightcure-packages-", dir=CACHE) as made:
        folder = (asked.packages or Path(made)).resolve()
        for release in [asked.release] if asked.release else NUMBERS:
            print(json.dumps({release: run(release, folder)}), flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
