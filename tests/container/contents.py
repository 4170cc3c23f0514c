"""What is in a Debian package, for a processor that this machine need not have."""

from __future__ import annotations

import email
import io
import re
import subprocess
import tarfile
from pathlib import Path
from typing import NamedTuple

from packaging.tags import Tag, cpython_tags, parse_tag

#: ELF's numbers of processors (elf.h), and Python's names of them.
PROCESSORS = {"amd64": (0x3E, "x86_64"), "arm64": (0xB7, "aarch64")}
#: Debian's release -> Python, and the GNU C library's minor version (its package lists).
RELEASES = {12: ((3, 11), 36), 13: ((3, 13), 41)}
WANTED = (
    *("usr/bin/nightcure", "usr/lib/udev/rules.d/60-nightcure.rules"),
    *("usr/lib/sysusers.d/nightcure.conf", "usr/lib/tmpfiles.d/nightcure.conf"),
    *("usr/lib/systemd/system/nightcure-controller.service",),
    *("usr/lib/systemd/system/nightcure-web.service", "usr/share/doc/nightcure/licences.txt"),
    *("usr/share/doc/nightcure/copyright", "usr/share/doc/nightcure/changelog.gz"),
)


class Contents(NamedTuple):
    """What was found."""

    files: int
    compiled: int
    packages: int


def contents(package: Path) -> Contents:
    """Check one package by its name's release and processor.

    Every compiled file is for that processor, every wheel's tags are among those that the release's
    Python takes, and nothing needed is missing.
    """
    named = re.fullmatch(r"nightcure_([\d.]+)\+deb(\d+)_(\w+)\.deb", package.name)
    assert named is not None, package.name
    version, number, processor = named[1], int(named[2]), named[3]
    machine, name = PROCESSORS[processor]
    python, glibc = RELEASES[number]
    plats = [f"manylinux_2_{minor}_{name}" for minor in range(glibc, 4, -1)]
    plats += [f"manylinux2014_{name}", f"manylinux2010_{name}", f"linux_{name}"]
    fits = {*cpython_tags(python, platforms=plats), Tag("py3", "none", "any")}
    fits |= {Tag("py2", "none", "any"), Tag(f"py{python[0]}{python[1]}", "none", "any")}
    fits |= {Tag("py3", "none", plat) for plat in plats}
    data = subprocess.run(["dpkg-deb", "--fsys-tarfile", package], check=True, capture_output=True)
    site = f"usr/lib/nightcure/{version}/lib/python{python[0]}.{python[1]}/site-packages/"
    compiled = packages = 0
    with tarfile.open(fileobj=io.BytesIO(data.stdout)) as tar:
        names = {member.name.removeprefix("./"): member for member in tar}
        for path, member in names.items():
            if not member.isfile():
                continue
            file = tar.extractfile(member)
            assert file is not None
            head = file.read(20)
            if head[:4] == b"\x7fELF":
                compiled += 1
                assert int.from_bytes(head[18:20], "little") == machine, path
            if path.endswith(".dist-info/WHEEL"):
                packages += 1
                told = email.message_from_bytes(head + file.read())
                tags = {t for text in told.get_all("Tag", []) for t in parse_tag(text)}
                assert tags & fits, f"{path}: {sorted(map(str, tags))}"
    for path in (*WANTED, f"{site}nightcure/board/off.py", f"{site}nightcure_web/static/main.js"):
        assert path in names, path
    assert names["usr/bin/nightcure"].linkname == "../lib/nightcure/current/bin/nightcure"
    assert compiled > 20, "gpiod, pydantic, numpy and scipy are compiled"
    owners = {(member.uname, member.gname) for member in names.values()}
    assert owners == {("root", "root")}, owners
    return Contents(len(names), compiled, packages)
