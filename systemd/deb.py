"""The Debian package: a prepared environment for one release and processor, units and rules.

The environment is complete, so nothing is fetched at the installation. Each version lies in a
folder of its own; `current` points to the one in use and is switched when all of it is there.
"""

from __future__ import annotations

import email
import gzip
import hashlib
import os
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

from pieces import HERE, Refused
from wheels import Release, pip, put_pinned

HOME = "usr/lib/nightcure"
DEBIAN = HERE / "debian"
#: In the wheels, and of no use on the oven: their own tests, stubs and headers.
LEFT_OUT = (
    *("numpy/**/tests", "scipy/**/tests", "matplotlib/**/tests", "mpl_toolkits/**/tests"),
    *("matplotlib/mpl-data/sample_data", "numpy/_core/include", "**/*.pyi", "bin", "share"),
)
SYSTEM = {
    "usr/lib/sysusers.d/nightcure.conf": "nightcure.sysusers.conf",
    "usr/lib/tmpfiles.d/nightcure.conf": "nightcure.tmpfiles.conf",
    "usr/lib/udev/rules.d/60-nightcure.rules": "60-nightcure.rules",
    "usr/lib/systemd/system.conf.d/60-nightcure-watchdog.conf": "60-nightcure-watchdog.conf",
    **{f"usr/lib/systemd/system/{u.name}": u.name for u in sorted(HERE.glob("*.service"))},
    **{f"usr/lib/systemd/system/{u.name}": u.name for u in sorted(HERE.glob("*.path"))},
}
INSTALLER = ("install", "installer.py", "pieces.py", "avahi", "debian/night-under-way")
CONTROL = """\
Package: nightcure
Version: {version}
Architecture: {processor}
Maintainer: nightcure <nightcure@localhost>
Installed-Size: {kibibytes}
Depends: python3 (>= {python}), python3 (<< {next_python}~), systemd, passwd
Recommends: udev
Suggests: avahi-daemon
Section: misc
Priority: optional
Description: closed-loop cure oven controller with a phone page
 Keeps a home-made cure oven warm through a cold night, unattended and under
 watch: reads 1-Wire thermometers, regulates a relay-driven heater through a
 cure profile, and opens the heater's circuit at any doubt. Not a safety device.
 For Debian {number}, and Raspberry Pi OS of the same age.
"""
#: As the units have it for an installation from sources.
PROGRAM = "/opt/nightcure/bin/nightcure"


def changelog_version() -> str:
    """The newest version in the changelog."""
    head = (DEBIAN / "changelog").read_text("utf-8").splitlines()[0]
    found = re.fullmatch(r"nightcure \(([^)]+)\) \w+; urgency=\w+", head)
    if found is None:
        raise Refused(f"{DEBIAN / 'changelog'}: its first line is not a version's: {head!r}.")
    return found[1]


def build(release: Release, processor: str, wheel: Path, work: Path, out: Path) -> Path:
    """The package for one release and processor, in the folder `out`."""
    version = changelog_version()
    if wheel.name.split("-")[1] != version:
        raise Refused(f"{wheel.name} is not of version {version}, which the changelog has.")
    root = work / f"{release.name}-{processor}"
    shutil.rmtree(root, ignore_errors=True)
    place = root / HOME / version
    site = place / "lib" / f"python{release.python}" / "site-packages"
    site.mkdir(parents=True)
    put_pinned(release, processor, site)
    pip("install", "--no-deps", "--no-index", "--no-compile", "--target", str(site), str(wheel))
    for pattern in LEFT_OUT:
        for path in sorted(site.glob(pattern)):
            shutil.rmtree(path) if path.is_dir() else path.unlink()
    _environment(release, place)
    _system(root)
    _documents(root, site)
    name = f"nightcure_{version}+deb{release.number}_{processor}.deb"
    _control(release, processor, f"{version}+deb{release.number}", root)
    out.mkdir(parents=True, exist_ok=True)
    words = [
        "dpkg-deb",
        "--root-owner-group",
        "-Zzstd",
        "-z9",
        "--build",
        str(root),
        str(out / name),
    ]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise Refused(f"dpkg-deb failed: {done.stderr.strip()}")
    shutil.rmtree(root)
    return out / name


def _environment(release: Release, place: Path) -> None:
    """A virtual environment of the release's own Python, as venv lays it out."""
    (place / "bin").mkdir()
    (place / "bin" / "python3").symlink_to(f"/usr/bin/python{release.python}")
    home = f"home = /usr/bin\ninclude-system-site-packages = false\nversion = {release.python}\n"
    (place / "pyvenv.cfg").write_text(home)
    command = place / "bin" / "nightcure"
    command.write_text(
        f"#!/{HOME}/current/bin/python3\nfrom nightcure.cli.entry import run\n\nrun()\n"
    )
    command.chmod(0o755)
    for name in INSTALLER:
        source, target = HERE / name, place / "systemd" / name
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copytree(source, target) if source.is_dir() else shutil.copy(source, target)


def _system(root: Path) -> None:
    """Units, rules and users, where a package has them."""
    for target, name in SYSTEM.items():
        path = root / target
        path.parent.mkdir(parents=True, exist_ok=True)
        text = (HERE / name).read_text("utf-8")
        path.write_text(text.replace(PROGRAM, f"/{HOME}/current/bin/nightcure"))
    (root / "usr/bin").mkdir()
    (root / "usr/bin/nightcure").symlink_to("../lib/nightcure/current/bin/nightcure")


def _documents(root: Path, site: Path) -> None:
    folder = root / "usr/share/doc/nightcure"
    folder.mkdir(parents=True)
    with open(folder / "changelog.gz", "wb") as file:
        data = (DEBIAN / "changelog").read_bytes()
        file.write(gzip.compress(data, mtime=0))
    licence = (HERE.parent / "LICENSE").read_text("utf-8").strip()
    lines = [f" {line}" if line else " ." for line in licence.splitlines()]
    text = (DEBIAN / "copyright").read_text("utf-8").replace("@LICENSE@", "\n".join(lines))
    (folder / "copyright").write_text(text)
    (folder / "licences.txt").write_text("".join(f"{line}\n" for line in licences(site)))


def licences(site: Path) -> Iterator[str]:
    """Name, version and licence of every package in a folder, as it declares them.

    Raises:
        Refused: one says nothing of its licence.
    """
    for metadata in sorted(site.glob("*.dist-info/METADATA")):
        told = email.message_from_string(metadata.read_text("utf-8", errors="replace"))
        trove = [c for c in told.get_all("Classifier", []) if c.startswith("License ::")]
        short = str(told.get("License") or "").strip().splitlines()
        words = (
            str(told.get("License-Expression") or "").strip()
            or ", ".join(c.rpartition(":: ")[2] for c in trove)
            or (short[0] if short else "")
        )
        if not words:
            raise Refused(f"{metadata.parent.name} declares no licence: look, and leave it out.")
        yield f"{told['Name']} {told['Version']}: {words}"


def _control(release: Release, processor: str, version: str, root: Path) -> None:
    files = [p for p in sorted(root.rglob("*")) if p.is_file() and not p.is_symlink()]
    used = sum(p.stat().st_size for p in files)
    major, minor = release.python.split(".")
    folder = root / "DEBIAN"
    folder.mkdir()
    sums = (f"{hashlib.md5(p.read_bytes()).hexdigest()}  {p.relative_to(root)}\n" for p in files)
    (folder / "md5sums").write_text("".join(sums))
    (folder / "control").write_text(
        CONTROL.format(
            version=version, processor=processor, kibibytes=-(-used // 1024),
            python=release.python, next_python=f"{major}.{int(minor) + 1}", number=release.number,
        )
    )  # fmt: skip
    night = (DEBIAN / "night-under-way").read_text("utf-8").strip()
    for name in ("preinst", "postinst", "prerm", "postrm"):
        text = (DEBIAN / name).read_text("utf-8").replace("@night-under-way@", night)
        script = folder / name
        script.write_text(text.replace("@VERSION@", changelog_version()))
        script.chmod(0o755)
    for path in (root, *root.rglob("*")):
        if not path.is_symlink():
            path.chmod(0o755 if path.is_dir() or os.access(path, os.X_OK) else 0o644)
