"""The paced clock: threads take turns, never faster than asked, and nobody is left behind.

Real time is only ever bounded from below, or waited for generously.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from nightcure.clock import MachineClock, PacedClock, boot_id, clock_is_set

FAST = 1e6
WAIT_S = 30.0


def together(clock: PacedClock, *jobs: Callable[[], None]) -> None:
    """Run jobs as threads that have all joined the clock before the first of them sleeps."""
    gate = threading.Barrier(len(jobs))

    def member(job: Callable[[], None]) -> None:
        clock.join()
        gate.wait(WAIT_S)
        try:
            job()
        finally:
            clock.leave()

    threads = [threading.Thread(target=member, args=(job,), daemon=True) for job in jobs]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(WAIT_S)
        assert not thread.is_alive(), "a thread never woke up"


def test_threads_take_turns_in_order_of_their_wake_ups() -> None:
    clock, log = PacedClock(FAST, 1000.0), []

    def sleeper(name: str, period_s: float, count: int) -> Callable[[], None]:
        def job() -> None:
            for _ in range(count):
                clock.sleep(period_s)
                log.append((clock.monotonic(), name))

        return job

    together(clock, sleeper("a", 2.0, 30), sleeper("b", 3.1, 20), sleeper("c", 0.73, 90))
    expected = [(2.0 * i, "a") for i in range(1, 31)]
    expected += [(3.1 * i, "b") for i in range(1, 21)]
    expected += [(0.73 * i, "c") for i in range(1, 91)]
    assert sorted(log) == log, "time never goes back"
    assert [n for _, n in log] == [n for _, n in sorted(expected)]
    assert [t for t, _ in log] == pytest.approx([t for t, _ in sorted(expected)])


def test_wake_ups_at_the_same_time_both_come_before_time_moves_on() -> None:
    clock, log = PacedClock(FAST, 0.0), []

    def job() -> None:
        for _ in range(200):
            clock.sleep(1.0)
            log.append(clock.monotonic())

    together(clock, job, job)
    assert log == [float(i // 2 + 1) for i in range(400)]


def test_time_stands_still_while_a_member_works() -> None:
    clock, awake, done = PacedClock(FAST, 0.0), threading.Event(), threading.Event()
    seen = []

    def worker() -> None:
        clock.sleep(1.0)
        awake.set()
        assert done.wait(WAIT_S)
        seen.append(clock.monotonic())
        clock.sleep(1.0)

    def other() -> None:
        clock.sleep(1.0)
        threading.Timer(0.3, done.set).start()
        clock.sleep(0.001)
        seen.append(clock.monotonic())

    together(clock, worker, other)
    assert seen == [1.0, pytest.approx(1.001)], "the other waited until the worker slept again"
    assert awake.is_set()


def test_it_is_never_faster_than_asked() -> None:
    began_s = time.monotonic()
    clock = PacedClock(20.0, 0.0)
    clock.join()
    for i in range(1, 41):
        clock.sleep(0.25)
        assert time.monotonic() - began_s >= clock.monotonic() / 20.0 - 1e-3
        if i == 20:
            time.sleep(0.1)  # falling behind must not be made up by more than is owed
    assert clock.monotonic() == pytest.approx(10.0)


def test_what_a_slow_machine_loses_is_not_chased() -> None:
    """After a second's stall at speed 1 at most a quarter of a second is caught up."""
    clock = PacedClock(10.0, 0.0)
    clock.join()
    clock.sleep(0.1)
    time.sleep(1.0)
    clock.sleep(0.1)
    began_s = time.monotonic()
    clock.sleep(5.0)
    assert time.monotonic() - began_s >= 0.5 - 0.25 - 0.01


def test_a_thread_that_leaves_holds_nobody_up() -> None:
    clock = PacedClock(FAST, 0.0)
    times = []

    def short() -> None:
        clock.sleep(1.0)

    def long() -> None:
        clock.sleep(3600.0)
        times.append(clock.monotonic())

    together(clock, short, long)
    assert times == [3600.0]


def test_a_leaver_without_a_last_sleep_wakes_those_who_wait() -> None:
    clock, slept = PacedClock(FAST, 0.0), threading.Event()

    def sleeper() -> None:
        slept.set()
        clock.sleep(10.0)

    def leaver() -> None:
        assert slept.wait(WAIT_S)
        time.sleep(0.2)
        assert clock.monotonic() == 0.0

    together(clock, sleeper, leaver)
    assert clock.monotonic() == 10.0


def test_the_wall_runs_along_and_steps_alone() -> None:
    clock = PacedClock(FAST, 1_763_064_000.0, mono_start_s=50.0)
    assert (clock.monotonic(), clock.wall()) == (50.0, 1_763_064_000.0)
    clock.join()
    clock.sleep(7.5)
    assert (clock.monotonic(), clock.wall()) == (57.5, 1_763_064_007.5)
    clock.step_wall(3600.0)
    assert (clock.monotonic(), clock.wall()) == (57.5, 1_763_067_607.5)
    clock.sleep(1.0)
    assert clock.wall() == 1_763_067_608.5


@pytest.mark.parametrize("duration_s", [0.0, -5.0])
def test_no_sleep_is_no_wait(duration_s: float) -> None:
    clock = PacedClock(1e-3, 0.0)
    clock.join()
    clock.sleep(duration_s)
    assert clock.monotonic() == 0.0


@pytest.mark.parametrize("speed", [0.0, -1.0, float("nan")])
def test_a_clock_that_does_not_run_is_refused(speed: float) -> None:
    with pytest.raises(ValueError, match="speed"):
        PacedClock(speed, 0.0)


def test_the_machines_clock_is_real() -> None:
    clock = MachineClock()
    clock.join()
    before, real_s = clock.monotonic(), time.monotonic()
    clock.sleep(0.05)
    assert clock.monotonic() - before >= 0.05
    assert abs(clock.monotonic() - real_s) < WAIT_S
    assert abs(clock.wall() - time.time()) < WAIT_S
    clock.leave()


def test_the_machines_boot_is_the_kernels_word() -> None:
    told = MachineClock().boot()
    assert told == Path("/proc/sys/kernel/random/boot_id").read_text().strip()
    assert boot_id(Path("/nowhere/boot_id")) == ""


def test_a_clock_is_set_where_a_time_server_or_a_battery_has_set_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The kernel's own word (adjtimex(2)) is left out: a test machine's clock may be set or not."""
    monkeypatch.setattr("nightcure.clock._disciplined", lambda: False)
    timesync, rtc = tmp_path / "synchronized", tmp_path / "rtc0"
    assert not clock_is_set(timesync, rtc)
    rtc.mkdir()
    (rtc / "hctosys").write_text("1\n")
    (rtc / "since_epoch").write_text("812\n")  # a Pi 5 without a battery counts from 1970
    assert not clock_is_set(timesync, rtc)
    (rtc / "since_epoch").write_text(f"{int(time.time())}\n")
    assert clock_is_set(timesync, rtc)
    (rtc / "hctosys").write_text("0\n")  # the time did not come from it
    assert not clock_is_set(timesync, rtc)
    timesync.touch()
    assert clock_is_set(timesync, rtc)


def test_a_clock_that_was_set_stays_set_for_the_boot(monkeypatch: pytest.MonkeyPatch) -> None:
    """The network may fail again; a crystal is off by seconds a day."""
    answers = iter([False, True, False])
    monkeypatch.setattr("nightcure.clock.clock_is_set", lambda: next(answers))
    clock = MachineClock()
    assert [clock.is_set() for _ in range(3)] == [False, True, True]
