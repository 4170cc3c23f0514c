"""Everything that must hold: `python -m tests`. Style, types, imports and pytest, side by side.

What only Debian packages (page's browser, units' checker, broker and collector) have is installed
first where it is missing; that asks for root, or for sudo. Arguments go to pytest.
"""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from concurrent.futures import ThreadPoolExecutor
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
#: Real processes and pins, which mostly wait; those that take longest come first.
PROCESSES = (
    *("tests/cli/test_check.py", "tests/notifier/test_processes.py"),
    *("tests/faults/test_ledger_and_latch.py", "tests/faults/test_processes.py"),
    *("tests/faults/test_budget.py", "tests/cli/test_demo.py", "tests/cli/test_setup.py"),
    *("tests/faults/test_overrun_page.py", "tests/notifier/test_mqtt.py"),
    *("tests/faults/test_signals.py", "tests/cli/test_virtual.py"),
    *("tests/faults/test_box_command.py", "tests/systemd", "tests/setup"),
)
BROWSER = ("tests/browser",)
#: What computes stands back for what is timed.
GIVES_WAY = ("nice", "-n", "15")


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


def suites(tests: list[str]) -> dict[str, list[str]]:
    """Commands of pytest by what is said of them.

    What only computes takes every core, and gives way to real processes, pins and browsers, whose
    waits have ends.
    """
    pytest = [sys.executable, "-m", "pytest"]
    if tests:
        return {"tests": [*pytest, *tests]}
    cores = str(min(os.cpu_count() or 1, 8))
    computing = [f"--ignore={folder}" for folder in (*PROCESSES, *BROWSER)]
    # Left to itself it begins with the files of most tests, and ends on one core with long ones.
    by_file = ["--dist", "loadfile", "--no-loadscope-reorder"]
    return {
        "browser": [*pytest, *BROWSER],
        "processes": [*pytest, "-n", "2", *by_file, *PROCESSES],
        "computing": [*GIVES_WAY, *pytest, "-n", cores, *by_file, *computing],
    }


class Steps:
    """Steps that run side by side; what each said is told when it is over."""

    def __init__(self, environment: dict[str, str]) -> None:
        self._environment = environment
        self._telling = threading.Lock()
        self.failed: list[str] = []

    def run(self, name: str, commands: list[tuple[list[str], Path]]) -> None:
        """Commands one after the other, also after one that fails."""
        began_s = time.monotonic()
        with tempfile.TemporaryFile("w+") as said:
            for command, folder in commands:
                print(f"$ {' '.join(command)}", file=said, flush=True)
                done = subprocess.run(
                    command, cwd=folder, env=self._environment, stdout=said,
                    stderr=subprocess.STDOUT, stdin=subprocess.DEVNULL, check=False,
                )  # fmt: skip
                if done.returncode != 0 and name not in self.failed:
                    self.failed.append(name)
            said.seek(0)
            word = "FAILED" if name in self.failed else "holds"
            with self._telling:
                shutil.copyfileobj(said, sys.stdout)
                print(f"== {name} {word}, {time.monotonic() - began_s:.0f} s\n", flush=True)


def main() -> int:
    """Run every step, even after one that failed; 0 when all hold."""
    install_programs()
    node_program, npm = node()
    environment = {**os.environ, "PATH": f"{TOOLS}:{node_program.parent}:{os.environ['PATH']}"}
    python = [*GIVES_WAY, sys.executable, "-m"]
    tsc = PAGE / "node_modules" / "typescript" / "bin" / "tsc"
    steps = Steps(environment)
    if not (tsc.exists() and (PAGE / "node_modules" / "axe-core").exists()):
        packages = [*npm, "ci", "--ignore-scripts", "--no-audit", "--no-fund", "--loglevel=error"]
        steps.run("page's packages", [(packages, PAGE)])
    side_by_side: dict[str, list[tuple[list[str], Path]]] = {
        name: [(command, ROOT)] for name, command in suites(sys.argv[1:]).items()
    }
    side_by_side["style, imports and types"] = [
        ([*python, "ruff", "check", "."], ROOT),
        ([*python, "ruff", "format", "--check", "."], ROOT),
        ([*GIVES_WAY, str(TOOLS / "lint-imports")], ROOT),
        ([*GIVES_WAY, str(node_program), str(tsc), "--noEmit"], PAGE),
        ([*python, "mypy"], ROOT),
    ]
    began_s = time.monotonic()
    print(f"Side by side: {', '.join(side_by_side)}. Each is told when it is over.\n", flush=True)
    with ThreadPoolExecutor(len(side_by_side)) as pool:
        list(pool.map(steps.run, side_by_side, side_by_side.values()))
    took = f"{time.monotonic() - began_s:.0f} s"
    failed = ", ".join(steps.failed)
    print(f"Failed: {failed}; {took}." if failed else f"All hold, {took}.", flush=True)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
