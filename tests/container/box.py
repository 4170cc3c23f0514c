"""A booted Debian container with the workshop's folder as /bench, steered from outside."""

from __future__ import annotations

import json
import signal
import subprocess
from pathlib import Path

from tests.workshop import wait_for

SOURCES = Path(__file__).resolve().parents[2]
PASSPHRASE = "a heron on the sluice"
#: A browser's part, inside: log in, post, say what was answered.
CLIENT = """
import http.cookiejar, json, sys, urllib.request as u
base = "http://127.0.0.1:8733"
opener = u.build_opener(u.HTTPCookieProcessor(http.cookiejar.CookieJar()))
def ask(path, body=None):
    data = None if body is None else json.dumps(body).encode()
    request = u.Request(base + path, data, {"Content-Type": "application/json", "Origin": base})
    return json.load(opener.open(request, timeout=130))
word, args = sys.argv[1], json.loads(sys.argv[2])
if word == "status":
    print(json.dumps(ask("/api/status")))
else:
    ask("/api/login", {"passphrase": sys.argv[3]})
    ask("/api/cautions/accept", {})
    print(json.dumps(ask(("/api/" if word == "plan" else "/api/commands/") + word, args)))
"""


class Container:
    """A booted copy of the root, with the workshop's folder as /bench."""

    def __init__(self, folder: Path, base: Path, wheels: Path, bench: Path) -> None:
        self.root = folder / "root"
        print("copying the root", flush=True)
        subprocess.run(["cp", "-a", "--reflink=auto", base, self.root], check=True)
        binds = [
            f"--bind={bench}:/bench",
            f"--bind-ro={SOURCES}:/src",
            f"--bind-ro={wheels}:/wheels",
        ]
        self.log = open(folder / "boot.log", "w")  # noqa: SIM115 (open for life)
        self.nspawn = subprocess.Popen(
            ["systemd-nspawn", "-q", "-D", self.root, "-b", "--register=no", "--keep-unit",
             "--private-network", "--console=pipe", *binds],
            stdin=subprocess.DEVNULL, stdout=self.log, stderr=self.log,
        )  # fmt: skip
        self.leader = 0

    def boot(self) -> float:
        """Wait until it is up; how long that took (s)."""
        children = Path(f"/proc/{self.nspawn.pid}/task/{self.nspawn.pid}/children")

        def up() -> bool:
            found = children.read_text().split()
            if not found:
                return False
            self.leader = int(found[0])
            state = self.run("systemctl", "is-system-running", check=False).stdout.strip()
            return state in ("running", "degraded")

        return wait_for(up, 120, "the container is up")

    def run(self, *words: str, check: bool = True) -> subprocess.CompletedProcess[str]:
        """A command inside."""
        enter = ["nsenter", f"--target={self.leader}", "--all", "--wdns=/"]
        done = subprocess.run(
            [*enter, *words], capture_output=True, text=True, timeout=300, check=False
        )
        if check and done.returncode != 0:
            raise AssertionError(f"{' '.join(words)}: {done.stdout}{done.stderr}")
        return done

    def show(self, unit: str, field: str) -> str:
        """A property of a unit."""
        return self.run("systemctl", "show", "--value", f"--property={field}", unit).stdout.strip()

    def page(self, word: str, args: object = None) -> dict[str, object]:
        """Ask the page, as a browser inside would."""
        words = ("python3", "-c", CLIENT, word, json.dumps(args), PASSPHRASE)
        answer: dict[str, object] = json.loads(self.run(*words).stdout)
        return answer

    def halt(self) -> None:
        """Power off, without waiting for anybody inside: the root is thrown away."""
        if self.leader:
            self.run("systemctl", "poweroff", "-ff", check=False)
        self.nspawn.send_signal(signal.SIGTERM)
        try:
            self.nspawn.wait(30)
        except subprocess.TimeoutExpired:
            self.nspawn.kill()
            self.nspawn.wait(10)
        self.log.close()
