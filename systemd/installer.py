"""The plan of an installation and of its undoing: steps worked out first, done afterwards."""

from __future__ import annotations

import json
import shlex
import subprocess
import sys
from functools import partial
from pathlib import Path
from typing import Any

from pieces import (
    HERE,
    PACKAGED,
    SOURCES,
    STATE,
    Refused,
    Step,
    digest,
    read_oven,
    sources_digest,
    write,
)

from nightcure.setup.boot_file import (
    BEGIN,
    END,
    PLACES,
    BootFileError,
    board_model,
    with_block,
    without_block,
)

PROGRAM = "opt/nightcure"
OVEN = "etc/nightcure/oven.toml"
#: What was installed, so that it can be undone: path -> SHA-256 of what was written, and the
#: sources' own.
NOTE = "etc/nightcure/machine.json" if PACKAGED else "etc/nightcure/installed.json"
UNITS = ("nightcure-controller.service", "nightcure-web.service", "nightcure-adopt.path")
#: What the last of them starts.
ADOPT = "nightcure-adopt.service"
#: The third, where there is a file of secrets: whom it tells, and their passwords.
NOTIFIER, SECRETS = "nightcure-notifier.service", "etc/nightcure/notifications.toml"
#: The settings hold the passphrase's hash.
MODES = {OVEN: 0o640, SECRETS: 0o600}
SYSTEM = "etc/systemd/system"
SYSUSERS, TMPFILES = "etc/sysusers.d/nightcure.conf", "etc/tmpfiles.d/nightcure.conf"
RULES = "etc/udev/rules.d/60-nightcure.rules"
WATCHDOG = "etc/systemd/system.conf.d/60-nightcure-watchdog.conf"
FILES = {
    SYSUSERS: "nightcure.sysusers.conf",
    TMPFILES: "nightcure.tmpfiles.conf",
    RULES: "60-nightcure.rules",
    WATCHDOG: "60-nightcure-watchdog.conf",
    **{f"{SYSTEM}/{unit}": unit for unit in (*UNITS, ADOPT)},
}
if PACKAGED:
    FILES = {}
AVAHI = "etc/avahi/services/nightcure.service"
#: Tells whether a night is under way; the package's scripts have it in them.
NIGHT = shlex.quote(str(HERE / "debian" / "night-under-way"))
#: There while the device manager runs; a container has none.
UDEV = Path("/run/udev/control")
LOOPBACK = ("127.0.0.1", "::1", "localhost")
CHECK = "import sys; from nightcure.settings import load_settings as l; from pathlib import Path\n"
CHECK += "try: l(Path(sys.argv[1]))\nexcept Exception as e: sys.exit(str(e))"

NO_NUMERICS = (
    "Without --planning the page can neither say whether a night will do nor test the oven."
)


def boot_text(text: str, oven: dict[str, Any] | None = None, model: str = "") -> str:
    """config.txt with our lines for this oven, or without them."""
    try:
        return without_block(text) if oven is None else with_block(text, oven, model)
    except BootFileError as error:
        raise Refused(str(error)) from None


def mark(target: str, data: bytes) -> str:
    """What is noted of a file that was written; of secrets, nothing to guess them by."""
    return "" if target == SECRETS else digest(data)


class Installer:
    """Works out the steps; nothing is done before `do_all`.

    Args:
        root: where to install; `live` says that it is the running system.
        wheels: a folder of wheels to install from, for a board without network.
        planning: with the numerics that the page's plan and the oven's test need.
        secrets: the notifier's file, to be put where only root and its unit read it.
    """

    def __init__(
        self,
        root: Path,
        live: bool,
        wheels: Path | None = None,
        planning: bool = False,
        secrets: Path | None = None,
    ) -> None:
        self.root, self.live, self.wheels, self.planning = root, live, wheels, planning
        self.secrets = secrets
        self.tells = secrets is not None or (root / SECRETS).exists()
        self.units = (*UNITS, NOTIFIER) if self.tells else UNITS
        self.steps: list[Step] = []
        self.remarks: list[str] = []
        self.files: dict[str, str] = {}
        self.sources: str | None = None
        self.oven: str | None = None
        self.finished = False
        if (root / NOTE).exists():
            note = json.loads((root / NOTE).read_text("utf-8"))
            self.files, self.sources = note["files"], note["sources"]
            self.oven, self.finished = note["oven"], note["finished"]

    def run(self, *words: str) -> None:
        """A command; its failure ends the installation with its own words."""
        done = subprocess.run(words, capture_output=True, text=True, check=False)
        if done.returncode != 0:
            said = (done.stderr or done.stdout).strip()
            raise Refused(f"'{shlex.join(words)}' failed: {said}")

    def command(self, *words: str) -> None:
        """A step that runs a command, below the root where that is another."""
        first, *rest = words
        told = words if self.live else (first, f"--root={self.root}", *rest)
        self.steps.append(Step(f"run     {shlex.join(told)}", lambda: self.run(*told)))

    def answers(self, *words: str) -> bool:
        """Whether a question to the system is answered with yes."""
        return subprocess.run(words, capture_output=True, check=False).returncode == 0

    # ---- install ---------------------------------------------------------------------------

    def plan_install(self, oven_file: Path | None) -> None:
        """Every step from what is there to nightcure running.

        Of a package that has no settings yet, only what makes the bus appear at the next boot.
        """
        if PACKAGED and oven_file is None and not (self.root / OVEN).exists():
            self._plan_boot({})
            return
        oven = read_oven(oven_file or self.root / OVEN)
        if self.live and self.answers("sh", "-c", f". {NIGHT}; night_under_way"):
            raise Refused(
                "A night is under way, and this would start the controller anew. Come again when "
                "it has ended, or stop it on the page first."
            )
        renewed = not PACKAGED and self._plan_program()
        if self.live:
            chosen = oven_file or self.root / OVEN
            python = sys.executable if PACKAGED else str(self.root / PROGRAM / "bin" / "python")
            self.steps.append(
                Step(f"check   {chosen}", lambda: self.run(python, "-c", CHECK, str(chosen)))
            )
        checked = len(self.steps)
        unit = {f"{SYSTEM}/{NOTIFIER}": NOTIFIER} if self.tells and not PACKAGED else {}
        files = {**FILES, **unit}
        new = {target for target, name in files.items() if self._place(target, HERE / name)}
        if self.secrets is not None and self._place(SECRETS, self.secrets):
            new.add(SECRETS)
        if oven_file is not None:
            self._place(OVEN, oven_file)
        self.oven, before = digest((oven_file or self.root / OVEN).read_bytes()), self.oven
        if self.oven != before:  # by --oven, or edited in place
            new.add(OVEN)
        if not self.finished:  # the last attempt failed somewhere: nothing of it is relied on
            new |= {*files, OVEN}
        self._plan_avahi(oven, new)
        self._plan_boot(oven)
        if SYSUSERS in new:
            self.command("systemd-sysusers", Path(SYSUSERS).name)
        if new & {SYSUSERS, TMPFILES, OVEN}:
            self.command("systemd-tmpfiles", "--create", Path(TMPFILES).name)
        if self.live:
            self._plan_start(new, renewed)
        elif any(f"{SYSTEM}/{unit}" in new for unit in self.units):
            self.command("systemctl", "enable", *self.units)
        if len(self.steps) == checked and not renewed:
            self.steps = []

    def what(self) -> str:
        """What pip is asked for."""
        extras = "pi" + ",planning" * self.planning + ",notifications" * self.tells
        return f"nightcure[{extras}]" if self.wheels else f"{SOURCES}[{extras}]"

    def _plan_program(self) -> bool:
        place = self.root / PROGRAM
        if not self.live:
            self.remarks.append(
                f"The program is not put below another root: install it at /{PROGRAM} from within."
            )
            return False
        wanted = sources_digest()
        numerics = any(place.glob("lib/python*/site-packages/scipy"))
        if not (numerics or self.planning):
            self.remarks.append(NO_NUMERICS)
        there = (place / "bin" / "nightcure").exists() and (numerics or not self.planning)
        there = there and (not self.tells or any(place.glob("lib/python*/site-packages/apprise")))
        if wanted == self.sources and there:
            return False
        if not (place / "bin" / "python").exists():
            self.command("python3", "-m", "venv", str(place))
        pip = [str(place / "bin" / "python"), "-m", "pip", "install", "-q", "--upgrade"]
        where = ["--no-index", "--find-links", str(self.wheels)] if self.wheels else []
        what = self.what()
        # The same version may come from changed sources: what is there gives way.
        self.command(*pip, *where, what)
        self.command(*pip, *where, "--force-reinstall", "--no-deps", what)

        def remember() -> None:
            self.sources = wanted

        self.steps.append(Step(f"note    what was installed, in {self.root / NOTE}", remember))
        return True

    def _place(self, target: str, source: Path, data: bytes | None = None) -> bool:
        """Steps that put our file in place; whether there were any."""
        path, data = self.root / target, source.read_bytes() if data is None else data
        mode = MODES.get(target, 0o644)
        there = path.read_bytes() if path.exists() else None
        if there == data:
            self.files[target] = mark(target, data)
            return False
        if there is not None and digest(there) != self.files.get(target):
            old = path.with_name(path.name + ".old")
            self.steps.append(Step(f"keep    {path} as {old}", lambda: write(old, there, mode)))

        def do() -> None:
            write(path, data, mode)
            self.files[target] = mark(target, data)

        self.steps.append(Step(f"write   {path}", do))
        return True

    def _plan_avahi(self, oven: dict[str, Any], new: set[str]) -> None:
        web = oven.get("web", {})
        if web.get("address", "127.0.0.1") in LOOPBACK:
            if (self.root / AVAHI).exists() and AVAHI in self.files:
                self._take_away(AVAHI, self.files[AVAHI])
            self.remarks.append("The page is for this machine only ([web] address in oven.toml).")
        elif (self.root / AVAHI).parent.is_dir():
            source = HERE / "avahi" / "nightcure.service"
            text = source.read_text("utf-8").replace(">8733<", f">{web.get('port', 8733)}<")
            if self._place(AVAHI, source, text.encode()):
                new.add(AVAHI)

    def _plan_boot(self, oven: dict[str, Any]) -> None:
        path = next((self.root / name for name in PLACES if (self.root / name).exists()), None)
        if path is None:
            self.remarks.append("No config.txt: not a Raspberry Pi, so no pin state at boot.")
            return
        text = path.read_text("utf-8")
        wanted = boot_text(text, oven, board_model() if self.live else "")
        if text != wanted:
            lines = ", ".join(wanted.partition(BEGIN)[2].partition(END)[0].splitlines()[1:])
            self.steps.append(
                Step(
                    f"change  {path}: {lines}",
                    partial(write, path, wanted.encode(), path.stat().st_mode & 0o777),
                )
            )
            self.remarks.append("The pins' state at boot begins with the next boot: reboot once.")

    def _plan_start(self, new: set[str], renewed: bool) -> None:
        if RULES in new and UDEV.exists():
            self.command("udevadm", "control", "--reload")
            self.command("udevadm", "trigger", "--subsystem-match=gpio", "--subsystem-match=w1")
        if WATCHDOG in new:
            self.command("systemctl", "daemon-reexec")
        elif new:
            self.command("systemctl", "daemon-reload")
        if renewed or new:
            self.command("systemctl", "enable", *self.units)
            # A night under way is taken up again by the new controller.
            self.command("systemctl", "restart", *self.units)
        elif not all(
            self.answers("systemctl", "is-active", "--quiet", unit) for unit in self.units
        ):
            self.command("systemctl", "enable", "--now", *self.units)

    # ---- uninstall -------------------------------------------------------------------------

    def plan_uninstall(self, purge: bool) -> None:
        """Every step back. Nights and settings stay unless `purge`."""
        units = [u for u in (*UNITS, NOTIFIER) if (self.root / SYSTEM / u).exists()]
        if units:
            self.command("systemctl", "disable", *(["--now"] if self.live else []), *units)
        for target, written in sorted(self.files.items()):
            if target in (OVEN, SECRETS) and not purge:
                self.remarks.append(f"{self.root / target} stays; --purge takes it away too.")
            elif (self.root / target).exists():
                self._take_away(target, written)
        for name in PLACES:
            path = self.root / name
            if path.exists() and BEGIN in path.read_text("utf-8"):
                plain = boot_text(path.read_text("utf-8")).encode()
                do = partial(write, path, plain, path.stat().st_mode & 0o777)
                self.steps.append(Step(f"change  {path}: without our lines", do))
        if self.live and not PACKAGED and (self.steps or (self.root / PROGRAM).exists()):
            self.command("systemctl", "daemon-reexec")
            if UDEV.exists():
                self.command("udevadm", "control", "--reload")
            if (self.root / PROGRAM).exists() and not PACKAGED:
                self.command("rm", "-rf", str(self.root / PROGRAM))
        if purge:
            if self.live and self.answers("getent", "passwd", "nightcure"):
                self.command("userdel", "nightcure")
            for place in (STATE, "etc/nightcure"):
                if (self.root / place).exists():
                    self._remove_tree(self.root / place)
        else:
            self.remarks.append(f"Nights stay in {self.root / STATE}, and the user nightcure.")

    def _remove_tree(self, place: Path) -> None:
        words = ("rm", "-rf", str(place))
        self.steps.append(Step(f"run     {shlex.join(words)}", lambda: self.run(*words)))

    def _take_away(self, target: str, written: str) -> None:
        path = self.root / target
        old = path.with_name(path.name + ".old")
        if digest(path.read_bytes()) != written:
            self.remarks.append(f"{path} was changed since; it stays.")
        elif old.exists():
            self.steps.append(Step(f"restore {path} from {old}", lambda: old.replace(path)))
        else:
            self.steps.append(Step(f"remove  {path}", path.unlink))

    # ---- do --------------------------------------------------------------------------------

    def do_all(self, uninstall: bool) -> None:
        """Do every step; what was done is noted even when one fails."""
        self.finished = False
        try:
            for step in self.steps:
                print(step.sentence, flush=True)
                step.do()
            self.finished = True
        finally:
            if not uninstall:
                keys = ("files", "sources", "oven", "finished")
                note = {key: getattr(self, key) for key in keys}
                write(self.root / NOTE, json.dumps(note, indent=1).encode() + b"\n")
        if uninstall:
            (self.root / NOTE).unlink(missing_ok=True)
