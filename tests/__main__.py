"""Everything that must hold: `python -m tests`. Style, types, imports, the page, then pytest.

What only Debian packages (page's browser, units' checker, broker and collector) have is installed
first where it is missing; that asks for root, or for sudo. Arguments go to pytest.
"""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PAGE = ROOT / "web" / "page"
TOOLS = Path(sys.executable).parent
#: Program and the Debian package that has it.
PROGRAMS = {
    "chromium": "chromium",
    "systemd-analyze": "systemd",
    "git": "git",
    "mosquitto": "mosquitto",
    "promtool": "prometheus",
    "openssl": "openssl",
}
#: Real processes, pins and browsers: each wants the machine for itself.
ALONE = (
    "tests/loop/test_three_parts.py",
    *("tests/setup", "tests/systemd", "tests/browser"),
    *(f"tests/notifier/test_{name}.py" for name in ("mqtt", "processes")),
    *(f"tests/faults/test_{name}.py" for name in ("budget", "processes", "signals")),
    *(f"tests/cli/test_{name}.py" for name in ("check", "demo", "setup", "virtual")),
)


def install_programs() -> None:
    """Ask Debian's packages for what is missing."""
    missing = sorted(package for program, package in PROGRAMS.items() if not shutil.which(program))
    if not missing:
        return
    as_root = [] if os.geteuid() == 0 else ["sudo"]
    if shutil.which("apt-get") is None or (as_root and shutil.which("sudo") is None):
        sys.exit(f"The tests need {', '.join(missing)}; install them and come again.")
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    quiet = ["-qq", "-o", "Dpkg::Use-Pty=0"]
    for command in (["update"], ["install", "-y", "--no-install-recommends", *missing]):
        subprocess.run([*as_root, "apt-get", *quiet, *command], check=True, env=environment)


def node() -> tuple[Path, list[str]]:
    """Node.js and npm, as the page's build finds them."""
    spec = importlib.util.spec_from_file_location("build_hook", ROOT / "web" / "build_hook.py")
    assert spec is not None
    assert spec.loader is not None
    hook = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(hook)
    found: tuple[Path, list[str]] = hook.tools()
    return found


def suites() -> list[tuple[str, list[str]]]:
    """Names and arguments of pytest's runs: what only computes on every core, then the rest."""
    if len(sys.argv) > 1:
        return [("tests", sys.argv[1:])]
    cores = str(min(os.cpu_count() or 1, 8))
    computing = [f"--ignore={folder}" for folder in ALONE]
    return [
        ("tests that compute", ["-n", cores, "--dist", "loadfile", *computing]),
        ("tests of processes", [*ALONE]),
    ]


def main() -> int:
    """Run every step, even after one that failed; 0 when all hold."""
    install_programs()
    node_program, npm = node()
    environment = {**os.environ, "PATH": f"{TOOLS}:{node_program.parent}:{os.environ['PATH']}"}
    python = sys.executable
    tsc = PAGE / "node_modules" / "typescript" / "bin" / "tsc"
    steps: list[tuple[str, list[str], Path]] = [
        ("style", [python, "-m", "ruff", "check", "."], ROOT),
        ("format", [python, "-m", "ruff", "format", "--check", "."], ROOT),
        ("types", [python, "-m", "mypy"], ROOT),
        ("imports", [str(TOOLS / "lint-imports")], ROOT),
        ("page's types", [str(node_program), str(tsc), "--noEmit"], PAGE),
    ]
    steps.extend((name, [python, "-m", "pytest", *arguments], ROOT) for name, arguments in suites())
    if not (tsc.exists() and (PAGE / "node_modules" / "axe-core").exists()):
        packages = [*npm, "ci", "--ignore-scripts", "--no-audit", "--no-fund", "--loglevel=error"]
        steps.insert(4, ("page's packages", packages, PAGE))
    failed = []
    for name, command, folder in steps:
        print(f"\n== {name}: {' '.join(Path(c).name for c in command)}", flush=True)
        began_s = time.monotonic()
        done = subprocess.run(command, cwd=folder, env=environment, check=False)
        word = "holds" if done.returncode == 0 else "FAILED"
        print(f"== {name} {word}, {time.monotonic() - began_s:.0f} s", flush=True)
        if done.returncode != 0:
            failed.append(name)
    print(f"\nFailed: {', '.join(failed)}." if failed else "\nAll hold.", flush=True)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
