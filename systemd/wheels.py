"""Packages for another machine than this one: its Python, its processor, its C library.

What goes into a Debian package is pinned, file by file, in `constraints/RELEASE.txt`.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

from pieces import HERE, SOURCES, Refused

#: What the package brings beyond the least: pins, plans and surveys, the record as a PDF, messages.
EXTRAS = ("pi", "planning", "notifications")
#: Published as sources only; pure Python, so any machine can build them.
FROM_SOURCES = ("http-ece",)
#: Debian's name of a processor -> Python's.
PROCESSORS = {"amd64": "x86_64", "arm64": "aarch64"}


class Release(NamedTuple):
    """A Debian release, which Raspberry Pi OS follows: its Python, and its GNU C library's minor
    version (both from its package lists)."""

    name: str
    number: int
    python: str
    glibc: int


RELEASES = {
    "bookworm": Release("bookworm", 12, "3.11", 36),
    "trixie": Release("trixie", 13, "3.13", 41),
}


def pins_file(release: Release) -> Path:
    """Where everything for a release is pinned."""
    return HERE / "constraints" / f"{release.name}.txt"


def for_machine(release: Release, processor: str) -> list[str]:
    """What pip is told of the machine. PEP 600: a wheel for an older C library will do."""
    python = PROCESSORS[processor]
    tags = [f"manylinux_2_{minor}_{python}" for minor in range(release.glibc, 16, -1)]
    tags += [f"manylinux2014_{python}", f"linux_{python}"]
    words = ["--python-version", release.python, "--implementation", "cp"]
    return [*words, *(word for tag in tags for word in ("--platform", tag))]


def requirements() -> list[str]:
    """Those of the program and of the extras that go into the package."""
    project = tomllib.loads((SOURCES / "pyproject.toml").read_text("utf-8"))["project"]
    extras = project["optional-dependencies"]
    return [*project["dependencies"], *(r for extra in EXTRAS for r in extras[extra])]


def pip(*words: str) -> None:
    """Run pip; its failure is told in its own words."""
    command = [sys.executable, "-m", "pip", "--quiet", "--disable-pip-version-check", *words]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise Refused(f"pip failed: {(done.stderr or done.stdout).strip()}")


def put_pinned(release: Release, processor: str, site: Path) -> None:
    """Every pinned package for a machine, into the folder `site`.

    Raises:
        Refused: a file is not the one that was pinned, or none fits the machine.
    """
    pip(
        *("install", "--require-hashes", "--no-deps", "--no-compile"),
        *("--target", str(site), "-r", str(pins_file(release))),
        *for_machine(release, processor),
    )


def pin(release: Release) -> None:
    """Look up the newest versions that go together, and write them down with their hashes."""
    found: dict[str, tuple[str, set[str]]] = {}
    with tempfile.TemporaryDirectory() as built:  # pip takes no sources for another machine
        pip("wheel", "--no-deps", "-w", built, *FROM_SOURCES)
        for processor in PROCESSORS:
            machine = ["--only-binary=:all:", "--find-links", built]
            machine += for_machine(release, processor)
            looked_up = [p for p in _report(requirements(), machine) if p[0] not in FROM_SOURCES]
            looked_up += _report(FROM_SOURCES, ["--no-deps"])
            for name, version, digest in looked_up:
                known = found.setdefault(name, (version, set()))
                if known[0] != version:
                    raise Refused(
                        f"{name} is {known[0]} for one processor and {version} for another."
                    )
                known[1].add(digest)
    lines = [
        f"# Everything in the package for Debian {release.number}; made by systemd/package --pin.\n"
    ]
    for name, (version, digests) in sorted(found.items()):
        hashes = "".join(f" \\\n    --hash=sha256:{digest}" for digest in sorted(digests))
        lines.append(f"{name}=={version}{hashes}\n")
    pins_file(release).parent.mkdir(exist_ok=True)
    pins_file(release).write_text("".join(lines), encoding="utf-8")


def _report(wanted: Iterable[str], how: list[str]) -> list[tuple[str, str, str]]:
    """Name, version and SHA-256 of every file that pip would take."""
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "report.json"
        target = ["--target", os.path.join(folder, "site")]
        pip("install", "--dry-run", "--ignore-installed", "--report", str(report), *target,
            *how, *wanted)  # fmt: skip
        told = json.loads(report.read_text("utf-8"))["install"]
    return [
        (
            package["metadata"]["name"].lower().replace("_", "-"),
            package["metadata"]["version"],
            package["download_info"]["archive_info"]["hashes"]["sha256"],
        )
        for package in told
    ]
