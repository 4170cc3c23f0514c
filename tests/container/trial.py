"""What is done to an installation in a container: put in, used, broken, taken away."""

from __future__ import annotations

import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

from nightcure.simulate.wires import read_pin
from tests.container.box import Container
from tests.workshop import HEATER_PIN, Workshop, wait_for

CONTROLLER, WEB = "nightcure-controller.service", "nightcure-web.service"
#: From the fault to the pin's being off: watchdog (10 s), abort (2 s), the off command on a slow
#: machine. A stopped process cannot open its own relay, hence the watchdog's time.
PROMISE_S = 20.0
INSTALL = ["python3", "/src/systemd/install", "--oven=/bench/oven.toml", "--wheels=/wheels"]
PART = {
    "name": "Lid", "sensor": "Lid", "card": "epoxy-slow", "resin_kg": 0.5,
}  # fmt: skip
HOT = {
    "name": "Hot", "lag_c": 30.0, "band_c": 2.0,
    "segments": [{"kind": "soak", "at_c": 45.0, "hours": 8.0}],
}  # fmt: skip


class Trial:
    """The scenarios, and their figures."""

    def __init__(self, box: Container, shop: Workshop) -> None:
        self.box, self.shop = box, shop
        self.figures: dict[str, object] = {}
        self.scenarios: tuple[Callable[[], None], ...] = (
            *(self.install, self.planning, self.night, self.page_dies),
            *(self.limit, self.without_board, self.uninstall),
        )

    def on(self) -> bool:
        return read_pin(self.shop.pins, HEATER_PIN)

    def note(self, name: str, value: object) -> None:
        shown = f"{value:.2f}" if isinstance(value, float) else value
        print(f"{name}: {shown}", flush=True)
        self.figures[name] = round(value, 2) if isinstance(value, float) else value

    def until_off(self, name: str, break_it: Callable[[], object]) -> None:
        """Break something while it heats; time from then to the pin's being off."""
        wait_for(self.on, 60, f"the heater on before {name}")
        with ThreadPoolExecutor(1) as pool:
            doing = pool.submit(break_it)
            off_s = wait_for(lambda: not self.on(), PROMISE_S, f"off after {name}")
            doing.result()
        self.note(f"{name}_to_off_s", off_s)

    def install(self) -> None:
        """Shown, done, done again with nothing to do."""
        words = INSTALL
        shown = self.box.run(*words, "--dry-run").stdout
        assert "systemctl restart" in shown
        assert "Without --planning the page can neither" in shown
        assert not (self.box.root / "opt/nightcure").exists()
        began_s = time.monotonic()
        self.box.run(*words, "--yes")
        self.note("install_s", time.monotonic() - began_s)
        assert "Nothing to do." in self.box.run(*words, "--yes").stdout
        for unit in (CONTROLLER, WEB):
            assert self.box.show(unit, "ActiveState") == "active", unit
            assert self.box.show(unit, "SubState") == "running", unit
            said = self.box.run("systemd-analyze", "security", "--no-pager", unit).stdout
            self.note(f"exposure_{unit.split('.')[0]}", said.split(": ")[-1].split()[0])
        assert not self.on()

    def planning(self) -> None:
        """The numerics put in afterwards; a plan under the unit's own restrictions."""
        words = [*INSTALL, "--planning", "--yes"]
        began_s = time.monotonic()
        self.box.run(*words)
        self.note("planning_install_s", time.monotonic() - began_s)
        assert "Nothing to do." in self.box.run(*words).stdout
        assert "Nothing to do." in self.box.run(*INSTALL, "--yes").stdout
        wait_for(lambda: self.box.show(WEB, "ActiveState") == "active", 60, "the page again")
        began_s = time.monotonic()
        told = self.box.page("plan", {"profile": {**HOT, "parts": [PART]}, "lowest_c": 2})
        self.note("plan_s", time.monotonic() - began_s)
        assert str(told["answer"]).startswith(("Yes", "Very", "Probably", "Hardly", "No")), told

    def night(self) -> None:
        """From the page."""
        assert (
            self.box.page("start", {"profile": HOT, "limit_device_confirmed": True})["outcome"]
            == "done"
        )
        wait_for(self.on, 60, "the heater on")
        assert self.box.page("status")["phase"] == "soak"

    def pid(self, unit: str) -> int:
        return int(self.box.show(unit, "MainPID"))

    def kill(self, unit: str, word: str) -> None:
        self.box.run("kill", f"-{word}", str(self.pid(unit)))

    def offs(self) -> int:
        """How often the off command has said that everything is off."""
        said = self.box.run("journalctl", "-u", CONTROLLER, "--no-pager").stdout
        return said.count("Off: heater (GPIO17); contactor (GPIO27); fan (GPIO22).")

    def page_dies(self) -> None:
        """Killed, then hung: comes back, and the controller does not notice."""
        controller = self.pid(CONTROLLER)
        for word in ("KILL", "STOP"):
            before = self.pid(WEB)
            began_s = time.monotonic()
            self.kill(WEB, word)
            wait_for(
                lambda was=before: self.pid(WEB) not in (0, was)
                and self.box.show(WEB, "ActiveState") == "active",
                90, f"the page again after SIG{word}",
            )  # fmt: skip
            self.note(f"page_back_after_sig{word.lower()}_s", time.monotonic() - began_s)
        assert self.box.page("status")["phase"] == "soak"
        assert self.pid(CONTROLLER) == controller

    def start_again(self) -> None:
        """As a person does who has looked; the night is taken up."""
        self.box.run("systemctl", "reset-failed", CONTROLLER)
        self.box.run("systemctl", "start", CONTROLLER)
        wait_for(self.on, 60, "the night taken up")

    def limit(self) -> None:
        """Ends in quick succession leave it down, and off."""
        for _ in range(8):
            pid = self.pid(CONTROLLER)
            if pid == 0:
                break
            self.kill(CONTROLLER, "KILL")
            wait_for(
                lambda was=pid: self.pid(CONTROLLER) not in (0, was)
                or self.box.show(CONTROLLER, "ActiveState") == "failed",
                60, "started again, or given up",
            )  # fmt: skip
        assert self.box.show(CONTROLLER, "ActiveState") == "failed"
        assert not self.on()
        self.note("given_up_after", self.box.show(CONTROLLER, "Result"))

    def without_board(self) -> None:
        """The board's own pin library in the shut-in unit gets as far as the missing device."""
        drop_in = self.box.root / f"etc/systemd/system/{CONTROLLER}.d/bench.conf"
        bench = drop_in.read_text()
        drop_in.write_text("")
        self.box.run("systemctl", "daemon-reload")
        self.box.run("systemctl", "reset-failed", CONTROLLER)
        self.box.run("systemctl", "start", CONTROLLER, check=False)
        said = self.box.run("journalctl", "-u", CONTROLLER, "--no-pager", "-n", "30").stdout
        refusal = [line for line in said.splitlines() if "GPIO17 cannot be claimed" in line]
        assert refusal, said
        self.note("without_board", refusal[-1].split("]: ", 1)[1])
        drop_in.write_text(bench)
        self.box.run("systemctl", "daemon-reload")

    def uninstall(self) -> None:
        """Nothing of ours left but nights and settings."""
        self.start_again()
        words = ("python3", "/src/systemd/install", "--uninstall", "--yes")
        self.until_off("uninstall", lambda: self.box.run(*words))
        root = self.box.root
        left = {
            str(p.relative_to(root))
            for place in ("etc", "opt")
            for p in (root / place).rglob("*nightcure*")
            if not p.name.endswith(".service.d")  # the bench's own
        }
        assert left == {"etc/nightcure"}, left
        assert [p.name for p in (root / "etc/nightcure").iterdir()] == ["oven.toml"]
        assert (root / "var/lib/nightcure/nightcure.ledger").exists(), "nights stay"
        assert "Nothing to do." in self.box.run(*words).stdout
