"""The Debian package's recipe: versions, scripts, pins. Built and installed for real in booted
containers (python -m tests.container.package)."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from itertools import pairwise
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.specifiers import SpecifierSet
from packaging.utils import canonicalize_name

from nightcure import __version__
from nightcure.ledger.latch_file import ARMED, CLEAR, TRIPPED, Latch, LatchFile

SYSTEMD = Path(__file__).parents[2] / "systemd"
DEBIAN = SYSTEMD / "debian"
SCRIPTS = ("preinst", "postinst", "prerm", "postrm")
CONSTRAINTS = sorted((SYSTEMD / "constraints").glob("*.txt"))


def recipe(code: str, *words: str) -> str:
    """What a few lines in the recipe's own folder print."""
    done = subprocess.run(
        [sys.executable, "-c", code, *words], cwd=SYSTEMD, capture_output=True, text=True,
        env={"PYTHONPATH": str(SYSTEMD.parent / "controller")}, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_one_version_everywhere() -> None:
    assert recipe("import deb; print(deb.changelog_version())").strip() == __version__
    text = (SYSTEMD.parent / "pyproject.toml").read_text("utf-8")
    assert f'version = "{__version__}"' in text


def test_the_changelog_is_in_debians_form() -> None:
    """Debian Policy 4.4: head, changes indented by two, trailer with one space and two."""
    trailer = r" -- .+ <.+>  \w{3}, \d\d \w{3} \d{4} \d\d:\d\d:\d\d \+0000"
    entry = rf"nightcure \([\d.]+\) unstable; urgency=medium\n\n(?:  .+\n)+\n{trailer}\n"
    text = (DEBIAN / "changelog").read_text("utf-8")
    assert re.fullmatch(rf"{entry}(?:\n{entry})*", text)


@pytest.mark.parametrize("name", SCRIPTS)
def test_the_shell_reads_the_scripts(name: str, tmp_path: Path) -> None:
    night = (DEBIAN / "night-under-way").read_text("utf-8")
    script = tmp_path / name
    text = (DEBIAN / name).read_text("utf-8").replace("@night-under-way@", night)
    script.write_text(text.replace("@VERSION@", "1.2"))
    subprocess.run(["sh", "-n", script], check=True)
    assert text.startswith("#!/bin/sh\n")
    assert "\nset -e\n" in text
    assert "@" not in text.replace("@VERSION@", ""), "nothing left to fill in"


def says(folder: Path, active: bool) -> tuple[str, bool]:
    """What the scripts make of a latch, with a service manager that says what it is told to."""
    (folder / "systemctl").write_text(f"#!/bin/sh\nexit {0 if active else 3}\n")
    (folder / "systemctl").chmod(0o755)
    text = (DEBIAN / "night-under-way").read_text("utf-8")
    text = text.replace("/var/lib/nightcure", str(folder))
    script = f"{text}\nlatch_says\nnight_under_way && echo night"
    done = subprocess.run(
        ["sh", "-c", script], capture_output=True, text=True,
        env={"PATH": f"{folder}:/usr/bin:/bin"}, check=False,
    )  # fmt: skip
    words = done.stdout.split()
    return (words[0] if words and words[0] != "night" else ""), "night" in words


def test_a_night_is_known_by_its_latch(tmp_path: Path) -> None:
    """As the controller writes it, in either slot; without a controller there is no night."""
    assert says(tmp_path, True) == ("", False), "no latch yet"
    latch = LatchFile(tmp_path)
    for state, night in ((CLEAR, False), (ARMED, True), (CLEAR, False), (ARMED, True),
                         (TRIPPED, False), (CLEAR, False), (ARMED, True)):  # fmt: skip
        latch.write(Latch(state, "a token", 1.0, "over-temperature", 'Too "hot": 61 °C.'))
        assert says(tmp_path, True) == (state, night)
        assert says(tmp_path, False) == (state, False)
    latch.close()


def wanted() -> dict[str, SpecifierSet]:
    """What pyproject.toml asks for, with the extras that make plans, sheets, pictures, messages."""
    project = tomllib.loads((SYSTEMD.parent / "pyproject.toml").read_text("utf-8"))["project"]
    extras = project["optional-dependencies"]
    asked = [*project["dependencies"], *extras["pi"], *extras["planning"], *extras["notifications"]]
    return {canonicalize_name(r.name): r.specifier for r in map(Requirement, asked)}


def test_everything_is_pinned_by_its_hash_and_no_place_is_named() -> None:
    assert [p.stem for p in CONSTRAINTS] == ["bookworm", "trixie"]
    for path in CONSTRAINTS:
        text = path.read_text("utf-8")
        assert not re.search(r"https?:|index|//", text), path.name
        entries = re.findall(
            r"^(\S+)==(\S+) \\$((?:\n    --hash=sha256:[0-9a-f]{64}(?: \\)?)+)", text, re.M
        )
        lines = [line for line in text.splitlines() if "==" in line]
        assert len(entries) == len(lines) > 30
        names = {name for name, _, _ in entries}
        assert {"gpiozero", "gpiod", "fastapi", "pydantic-core", "numpy", "scipy", "reportlab",
                "simple-pid", "tomlkit", "w1thermsensor"} <= names  # fmt: skip
        versions = {name: version for name, version, _ in entries}
        for name, fits in wanted().items():
            # A person at an installed board can install nothing more.
            assert versions.get(name, "") in fits, name
        # Compiled ones have a file for each processor.
        by_name = {name: hashes.count("sha256:") for name, _, hashes in entries}
        for compiled in ("gpiod", "numpy", "scipy", "pydantic-core"):
            assert by_name[compiled] == 2, compiled
        assert by_name["gpiozero"] == 1


def test_pip_is_told_of_the_release_not_of_this_machine() -> None:
    """PEP 600: Debian 12 has glibc 2.36, Debian 13 has 2.41 (their package lists)."""
    code = "import sys, wheels as w; print(*w.for_machine(w.RELEASES[sys.argv[1]], sys.argv[2]))"
    words = recipe(code, "bookworm", "arm64").split()
    assert words[words.index("--python-version") + 1] == "3.11"
    tags = [after for word, after in pairwise(words) if word == "--platform"]
    assert tags[0] == "manylinux_2_36_aarch64"
    assert "manylinux2014_aarch64" in tags
    assert not any("x86_64" in tag for tag in tags)
    assert "manylinux_2_41_x86_64" in recipe(code, "trixie", "amd64")


def test_licences_are_listed_and_one_without_is_refused(tmp_path: Path) -> None:
    for name, head in {
        "a": "Name: a\nVersion: 1\nLicense-Expression: MIT",
        "b": "Name: b\nVersion: 2\nClassifier: License :: OSI Approved :: BSD License",
        "c": "Name: c\nVersion: 3\nLicense: Apache 2\n        and more",
    }.items():
        (tmp_path / f"{name}.dist-info").mkdir()
        (tmp_path / f"{name}.dist-info/METADATA").write_text(f"Metadata-Version: 2.4\n{head}\n\n")
    code = "import sys, deb; from pathlib import Path as P; "
    code += "print(*deb.licences(P(sys.argv[1])), sep='|')"
    assert recipe(code, str(tmp_path)).strip() == "a 1: MIT|b 2: BSD License|c 3: Apache 2"
    (tmp_path / "b.dist-info/METADATA").write_text("Name: b\nVersion: 2\n\n")
    with pytest.raises(AssertionError, match="declares no licence"):
        recipe(code, str(tmp_path))
