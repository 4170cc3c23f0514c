"""The outbox: once, in order, durable, and never in the way."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from nightcure.ledger.outbox import KEPT_S, Message, Outbox, outbox_path, read_outbox
from nightcure.notifier.service import Refused, Service
from tests.workshop import wait_for


def message(key: str, due_s: float | None = 0.0) -> Message:
    return Message(key, "warning", 1000.0, due_s, f"title {key}", "text")


@pytest.fixture
def outbox(tmp_path: Path) -> Outbox:
    return Outbox(tmp_path / "n.ledger.outbox")


def take(outbox: Outbox, service: str, now_s: float | None = 10.0) -> list[str]:
    """Everything the service is handed, taken one by one."""
    found = []
    while (one := outbox.next(service, now_s)) is not None:
        found.append(one.key)
        outbox.sent(service, one.id, now_s or 10.0)
    return found


def test_a_happening_that_is_found_again_is_put_in_once(outbox: Outbox) -> None:
    outbox.join("phone")
    outbox.put([message("a"), message("b")], read="1")
    outbox.put([message("b"), message("c"), message("c")], read="2")
    assert take(outbox, "phone") == ["a", "b", "c"]
    assert outbox.place("read") == "2"


def test_each_service_has_its_own_pace_and_order(outbox: Outbox) -> None:
    outbox.join("phone")
    outbox.put([message("a")])
    outbox.join("mail")
    outbox.put([message("b"), message("c")])
    assert take(outbox, "phone") == ["a", "b", "c"]
    assert take(outbox, "mail") == ["b", "c"], "what was before it is not for it"


def test_what_is_for_the_morning_holds_up_nothing(outbox: Outbox) -> None:
    outbox.join("phone")
    outbox.join("mqtt")
    outbox.put([message("a"), message("later", 100.0), message("never", None), message("b")])
    assert take(outbox, "phone") == ["a", "b"]
    assert take(outbox, "phone", 100.0) == ["later"]
    assert take(outbox, "mqtt", None) == ["a", "later", "never", "b"], "a machine hears it all"


def test_it_outlasts_a_kill(tmp_path: Path) -> None:
    """What was put in is there after SIGKILL, and so is what was taken."""
    path = tmp_path / "k.outbox"
    code = (
        "import sys; from pathlib import Path\n"
        "from nightcure.ledger.outbox import Message, Outbox\n"
        "o = Outbox(Path(sys.argv[1])); o.join('phone')\n"
        "for i in range(100000):\n"
        "    o.put([Message(str(i), 'trip', 1.0, 0.0, 't', 'x')], read=str(i))\n"
        "    print(i, flush=True)\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code, str(path)], stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        for line in process.stdout:
            if int(line) >= 20:
                break
        process.send_signal(signal.SIGKILL)
        said = [int(line), *(int(x) for x in process.stdout)]
    outbox = Outbox(path)
    keys = [int(k) for k in take(outbox, "phone")]
    assert keys[: said[-1] + 1] == list(range(said[-1] + 1))
    assert int(outbox.place("read") or -1) == keys[-1], "message and place go together"


def test_a_full_disk_keeps_nothing_untold(outbox: Outbox, monkeypatch: pytest.MonkeyPatch) -> None:
    outbox.join("phone")
    outbox.put([message("a")])
    plain = Outbox._all

    def full(self: Outbox, statements: object) -> None:
        if not self.in_memory:
            raise sqlite3.OperationalError("database or disk is full")
        plain(self, statements)  # type: ignore[arg-type]

    monkeypatch.setattr(Outbox, "_all", full)
    outbox.put([message("b")])
    assert outbox.in_memory
    assert take(outbox, "phone") == ["a", "b"]


def test_a_spoiled_file_is_set_aside(tmp_path: Path) -> None:
    path = tmp_path / "s.outbox"
    path.write_bytes(b"no database at all" * 1000)
    outbox = Outbox(path)
    outbox.join("phone")
    outbox.put([message("a")])
    assert take(outbox, "phone") == ["a"]
    assert path.with_name("s.outbox.spoiled").exists()


def test_others_cannot_read_it(outbox: Outbox) -> None:
    assert outbox.path.stat().st_mode & 0o007 == 0


def test_old_messages_go(outbox: Outbox) -> None:
    outbox.put([message("a")])
    outbox.forget_before(1000.0 + KEPT_S - 1.0)
    assert [m.key for m in outbox.last()] == ["a"]
    outbox.put([message("b")._replace(kind="trip")])
    outbox.forget_before(1000.0 + KEPT_S + 1.0)
    assert [m.key for m in outbox.last()] == ["b"], "a trip may still stand, and is told once"


def test_a_reader_sees_how_it_stands(outbox: Outbox, tmp_path: Path) -> None:
    outbox.join("phone")
    outbox.put([message("a"), message("b")])
    outbox.failed("phone", "It refused.", 7.0)
    outbox.failed("phone", "It was not reached.", 9.0)
    state = read_outbox(outbox_path(tmp_path / "n.ledger"), 10.0)
    assert state is not None
    (phone,) = state.services
    assert (phone.waiting, phone.failing_s, phone.sentence) == (2, 7.0, "It was not reached.")
    assert [m[3] for m in state.messages] == ["title b", "title a"]
    outbox.sent("phone", 1, 11.0)
    state = read_outbox(outbox_path(tmp_path / "n.ledger"), 12.0)
    assert state is not None
    assert state.services[0][1:] == (1, 11.0, None, None)
    assert read_outbox(tmp_path / "none", 0.0) is None
    assert os.path.exists(outbox.path)


# ---- a service -----------------------------------------------------------------------------------


def test_a_service_that_hangs_keeps_nobody_waiting(outbox: Outbox) -> None:
    free = threading.Event()
    quick: list[str] = []
    hanging = Service("hangs", lambda _: (free.wait(60), None)[1], outbox)
    other = Service("quick", lambda m: quick.append(m.key), outbox)
    for one in (hanging, other):
        one.start()
    began_s = time.monotonic()
    outbox.put([message(str(i)) for i in range(10)])
    for one in (hanging, other):
        one.wake()
    took_s = wait_for(lambda: len(quick) == 10, 10, "the other one is told")
    assert quick == [str(i) for i in range(10)]
    hanging.look(began_s + 100.0, 1.0)
    states = {s.name: s for s in outbox.services(1.0)}
    assert states["hangs"].sentence == "It does not answer; it is waited for."
    assert states["quick"].failing_s is None
    before_s = time.monotonic()
    hanging.stop(0.5)
    other.stop(2.0)
    assert time.monotonic() - before_s < 5.0
    assert took_s < 5.0
    free.set()


def test_what_is_refused_is_tried_again_in_order_and_no_secret_is_told(
    outbox: Outbox, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("nightcure.notifier.service.FIRST_RETRY_S", 0.01)
    monkeypatch.setattr("nightcure.notifier.service.LAST_RETRY_S", 0.02)
    answers = [Refused("It refused."), ValueError("https://secret@host"), None, None]
    tried: list[str] = []

    def send(m: Message) -> None:
        tried.append(m.key)
        answer = answers.pop(0)
        if answer is not None:
            raise answer

    service = Service("phone", send, outbox)
    outbox.put([message("a"), message("b")])
    service.start()
    wait_for(lambda: len(tried) == 4, 10, "both are told")
    assert tried == ["a", "a", "a", "b"]
    service.stop(2.0)
    dump = outbox.path.read_bytes() + Path(f"{outbox.path}-wal").read_bytes()
    assert b"secret" not in dump


def test_an_outbox_that_fails_for_a_moment_ends_no_service(
    outbox: Outbox, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Fails before this: its thread ended, and nothing was told any more."""
    monkeypatch.setattr("nightcure.notifier.service.FIRST_RETRY_S", 0.01)
    plain, left = Outbox.next, [3]

    def fails(self: Outbox, service: str, now_s: float | None) -> Message | None:
        if left[0]:
            left[0] -= 1
            raise sqlite3.OperationalError("disk I/O error")
        return plain(self, service, now_s)

    monkeypatch.setattr(Outbox, "next", fails)
    tried: list[str] = []
    service = Service("phone", lambda m: tried.append(m.key), outbox)
    outbox.put([message("a")])
    service.start()
    wait_for(lambda: tried == ["a"], 10, "it goes on")
    service.stop(2.0)
