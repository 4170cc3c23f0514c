"""What happens to the installed package on the emulated board, and what is measured."""

from __future__ import annotations

import time
from typing import Any

from tests.hil.emulated_board import CONTROLLER, OVEN, Board
from tests.workshop import wait_for

#: Reached at once, held for some seconds, and over.
BRIEF = {
    "name": "Brief", "lag_c": 30.0, "band_c": 5.0,
    "segments": [{"kind": "soak", "at_c": 37.0, "hours": 0.02}],
}  # fmt: skip
PANIC = "echo 1 > /proc/sys/kernel/sysrq; echo c > /proc/sysrq-trigger"


def note(name: str, figure: object, figures: dict[str, object]) -> None:
    shown = f"{figure:.2f}" if isinstance(figure, float) else figure
    print(f"{name}: {shown}", flush=True)
    figures[name] = figure


class Trial:
    """Scenarios on a board that has its settings; each leaves it heating, or says so."""

    def __init__(self, board: Board, package: str, runs: int) -> None:
        self.board, self.package, self.runs = board, package, runs
        self.times: dict[str, list[float]] = {}
        self.figures: dict[str, object] = {}

    def took(self, event: str, took_s: float) -> None:
        self.times.setdefault(event, []).append(took_s)
        print(f"{event}: {took_s:.2f} s", flush=True)

    # ---- the board as it is found ----------------------------------------------------------------

    def found(self) -> None:
        """The check names chip and lines; the controller holds them under its name."""
        b = self.board
        said = b.sh(f"nightcure check {OVEN} --json", check=False)
        assert "pinctrl-bcm2835" in said, said
        b.heats()
        info = b.sh("cat /sys/kernel/debug/gpio || true")
        note("lines", [line for line in info.splitlines() if "nightcure" in line], self.figures)
        assert info.count("nightcure") >= 2, info

    def brief_night(self) -> None:
        """A night from its start to its end."""
        b = self.board
        b.heats()
        b.command("stop")
        wait_for(lambda: b.phase() in ("idle", "done"), 60, "at rest")
        b.cool()
        b.start(BRIEF)
        wait_for(lambda: b.machine.lines[0], 60, "it heats")

        def over() -> bool:
            time.sleep(2.0)
            return b.phase() == "done"

        wait_for(over, 300, "the night is over")
        assert not b.machine.lines[0]
        b.heats()

    # ---- ends of the controller ------------------------------------------------------------------

    def ends(self) -> None:
        """Killed, stopped, hung, and killed with its settings spoiled; each drives the line off."""
        b = self.board
        kill = f"systemctl kill --kill-whom=main --signal={{}} {CONTROLLER}"
        spoil = f"cp {OVEN} /root/whole.toml; head -c 300 /dev/zero >> {OVEN}; sync; "
        spoil += f"sed -i 's/pin = 17/pin = seventeen/' {OVEN}; "
        events = {
            "SIGKILL": (kill.format("KILL"), 30.0, ""),
            "SIGSTOP": (kill.format("STOP"), 60.0, ""),
            "hang": ("touch /run/hil/stall-MainThread", 60.0, "rm /run/hil/stall-MainThread"),
            "spoiled oven.toml, SIGKILL": (
                spoil + kill.format("KILL"), 30.0, f"cat /root/whole.toml > {OVEN}",
            ),
        }  # fmt: skip
        for number in range(self.runs):
            b.cool()
            for event, (text, within_s, mend) in events.items():
                b.heats()
                offs = b.offs()
                took_s = b.until_off(text, within_s)
                self.took(event, took_s)
                if event != "hang":  # the dead-man's
                    wait_for(lambda was=offs: b.offs() > was, 60, f"{event}: off was run")
                if mend:
                    b.sh(mend)
                print(f"  run {number + 1}", flush=True)
        b.heats()

    def strict(self) -> None:
        """With the kernel's letting go of a dead process's lines the pull has it at once."""
        b = self.board
        switch = "/sys/module/gpio_sim/parameters/persist_gpio_outputs"
        b.sh(f"echo 0 > {switch}")
        b.machine.ask("pull", line=17, word="pull-down")
        for _ in range(self.runs):
            b.heats()
            kill = f"systemctl kill --kill-whom=main --signal=KILL {CONTROLLER}"
            self.took("SIGKILL, strict_gpiod and a pull-down", b.until_off(kill, 30.0))
        b.sh(f"echo 1 > {switch}")
        b.machine.ask("pull", line=17, word="pull-up")
        b.heats()

    def upgrade_refused(self) -> None:
        """In a night neither replaced nor removed, and it heats on."""
        b = self.board
        b.heats()
        pid = b.sh(f"systemctl show --value -p MainPID {CONTROLLER}")
        for words in (f"dpkg -i {self.package}", "dpkg -r nightcure"):
            said = b.sh(f"{words}; true")
            assert "A night is under way" in said, said
            status = b.sh("dpkg-query -W -f '${db:Status-Status}' nightcure")
            assert status == "installed", status
            assert b.sh(f"systemctl show --value -p MainPID {CONTROLLER}") == pid
        assert b.phase() == "soak"

    # ---- the thermometers ------------------------------------------------------------------------

    def thermometers(self) -> None:
        """Under the kernel's own driver: pulled, garbled, dead, late."""
        b = self.board
        air = b.ids[0]
        for event, mode in (("air's thermometer pulled", "gone"), ("every CRC wrong", "crc")):
            b.heats()
            which = [air] if mode == "gone" else b.ids
            began_s = time.monotonic()
            b.modes.update(dict.fromkeys(which, mode))
            wait_for(lambda: not b.machine.lines[0], 60, f"off: {event}")
            self.took(event, time.monotonic() - began_s)
            assert b.machine.ask("never", level=True, for_s=5.0), "it stays off"
            b.modes.update(dict.fromkeys(which, "ok"))
            b.heats()
        began_s = time.monotonic()
        b.machine.ask("control", lines=["bus 1 dead"])
        wait_for(lambda: not b.machine.lines[0], 60, "off: dead bus")
        self.took("the bus dead", time.monotonic() - began_s)
        b.machine.ask("control", lines=["bus 1 on"])
        b.heats()

    def late_bus(self) -> None:
        """A bus that comes after the controller."""
        b = self.board
        b.command("stop")
        b.sh(f"systemctl stop {CONTROLLER}")
        b.machine.ask("control", lines=["bus 1 off"])
        assert "28-" not in b.sh("ls /sys/bus/w1/devices/")
        b.sh(f"systemctl start {CONTROLLER}")

        def blind() -> bool:
            time.sleep(0.5)
            return all(thermometer["fault"] for thermometer in b.status()["thermometers"])

        wait_for(blind, 60, "it runs, and says that it has no thermometer")
        b.machine.ask("control", lines=["bus 1 on"])
        began_s = time.monotonic()

        def believed() -> bool:
            time.sleep(1.0)
            return not any(t["fault"] for t in b.status()["thermometers"])

        wait_for(believed, 120, "every thermometer believed")
        note("late_bus_believed_after_s", time.monotonic() - began_s, self.figures)
        b.heats()

    def lost_converts(self) -> None:
        """Convert commands that no sensor heard, which the kernel calls done."""
        b = self.board
        b.heats()
        before = int(b.sh("cat /sys/kernel/w1_bench/conversions"))
        b.machine.ask("control", lines=["lose 5"])
        time.sleep(15.0)
        assert int(b.sh("cat /sys/kernel/w1_bench/conversions")) > before, "it converts again"
        assert b.phase() == "soak"

    def sixteen(self) -> None:
        """As many thermometers as an oven may have, converted in bulk and one by one; all believed
        for a whole minute, in the driver's own times."""
        b, count = self.board, 16
        b.command("stop")
        more = [f"{number:010x}" for number in range(0xD01, 0xD01 + count - len(b.ids))]
        b.machine.ask("control", lines=[f"sensor 1 {i} 576 ok" for i in more])
        tables = "".join(
            f'[[thermometers]]\nid = "28-00{i}"\nrole = "part"\nname = "Part {i[-2:]}"\n'
            for i in more
        )
        b.sh(f"cp {OVEN} /root/few.toml; printf '%s' '{tables}' >> {OVEN}")
        for _ in range(60):  # the kernel looks for new ones now and then
            if b.sh("ls -d /sys/bus/w1/devices/28-* | wc -l").strip() == str(count):
                break
            time.sleep(2.0)
        trigger = "/sys/bus/w1/devices/w1_bus_master1/therm_bulk_read"
        for how, mode in (("in bulk", "0664"), ("one by one", "0444")):
            b.sh(f"chmod {mode} {trigger}; systemctl restart {CONTROLLER}")

            def believed() -> bool:
                told = b.status()["thermometers"]
                time.sleep(1.0)
                return len(told) == count and not any(t["fault"] for t in told)

            wait_for(believed, 180, f"sixteen believed, {how}")
            oldest_s, begun_s, end_s = 0.0, time.monotonic(), time.monotonic() + 300.0
            while time.monotonic() - begun_s < 60.0:
                told = b.status()["thermometers"]
                oldest_s = max(oldest_s, *(t["age_s"] for t in told))
                if any(t["fault"] for t in told):  # the emulator itself may stand still
                    oldest_s, begun_s = 0.0, time.monotonic()
                    assert begun_s < end_s, told
                time.sleep(1.0)
            note(f"sixteen, {how}: oldest reading_s", oldest_s, self.figures)
        b.machine.ask("control", lines=[f"sensor 1 {i} 576 gone" for i in more])
        b.sh(f"chmod 0664 {trigger}; cat /root/few.toml > {OVEN}; systemctl restart {CONTROLLER}")
        b.heats()

    def clock_steps(self) -> None:
        """The time of day jumps, as on a board without a battery when the network answers."""
        b = self.board
        b.heats()
        before = b.status()
        for step_s in (10_000, -10_000):
            b.sh(f"date -s @$(($(date +%s) + {step_s}))")
            time.sleep(10.0)
            now = b.status()
            assert (now["phase"], now["night_id"]) == ("soak", before["night_id"]), now
            assert now["trip"] is None, now
            note("night_s after a step", now["night_s"] - before["night_s"], self.figures)
            assert 0.0 < now["night_s"] - before["night_s"] < 300.0, "timed by the board's clock"
        b.heats()

    def wrong_chip(self) -> None:
        """A chip with other pins is not driven, and is named."""
        b = self.board
        b.command("stop")
        b.sh(f"systemctl stop {CONTROLLER}")
        b.machine.ask("chip_away", name="header")
        b.machine.ask("chip", name="other", label="pinctrl-another", lines=54)
        b.sh(f"systemctl start {CONTROLLER}", check=False)
        said = b.sh(f"journalctl -u {CONTROLLER} --no-pager -n 40")
        assert "is 'pinctrl-another'" in said, said
        assert "raspberrypi-exp-gpio" in said, said
        b.sh(f"systemctl stop {CONTROLLER}; systemctl reset-failed {CONTROLLER}", check=False)
        assert "is 'pinctrl-another'" in b.sh(f"nightcure check {OVEN}; true")
        b.machine.ask("chip_away", name="other")
        b.machine.ask("chip", name="header", label="pinctrl-bcm2835", lines=54)
        b.machine.ask("pull", line=17, word="pull-up")

    # ---- ends of the board -----------------------------------------------------------------------

    def panic(self) -> None:
        """The kernel stops; the board's own watchdog resets it."""
        b, machine = self.board, self.board.machine
        for _ in range(self.runs):
            b.heats()
            before, resets = machine.hellos, len(machine.resets)
            began_s = time.monotonic()
            machine.send("sh", text=PANIC)
            wait_for(lambda was=resets: len(machine.resets) > was, 120, "the watchdog's reset")
            self.took("panic", machine.resets[resets] - began_s)
            machine.up(before)
            self.again()

    def power_cut(self) -> None:
        """The plug is pulled while it heats, and put in again."""
        b, machine = self.board, self.board.machine
        for _ in range(self.runs):
            b.heats()
            before = machine.hellos
            began_s = time.monotonic()
            machine.cut()
            self.took("power cut", time.monotonic() - began_s)
            machine.start()
            machine.up(before)
            self.again()

    def again(self) -> None:
        """After a boot: nothing is on before the controller has judged; the night goes on."""
        b = self.board
        began_s = time.monotonic()
        told: dict[str, Any] = {}

        def judged() -> bool:
            told.update(b.status())
            time.sleep(1.0)
            return told["phase"] in ("soak", "tripped")

        wait_for(judged, 180, f"the night is judged: {told}")
        assert told["phase"] == "soak", told
        note("judged_after_boot_s", round(time.monotonic() - began_s, 1), self.figures)
