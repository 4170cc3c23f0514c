"""How often a passphrase may be guessed, and that nobody locks the others out."""

from __future__ import annotations

from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from nightcure_web import access
from nightcure_web.app import create_app
from nightcure_web.login_limits import LoginLimits

from .conftest import PASSPHRASE, settings_for

DAY_S = 24 * 3600.0


def guesses_looked_at(guesses: LoginLimits, clients: list[str], until_s: float) -> dict[str, int]:
    """Clients that guess wrong as fast as they are let, each in turn every second."""
    looked_at = dict.fromkeys(clients, 0)
    now_s = 0.0
    while now_s < until_s:
        for client in clients:
            if guesses.wait_s(client, now_s) == 0.0:
                guesses.wrong(client, now_s)
                looked_at[client] += 1
        now_s += 5.0
    return looked_at


def test_one_client_has_twenty_guesses_an_hour_five_at_a_time() -> None:
    guesses = LoginLimits()
    assert guesses_looked_at(guesses, ["10.0.0.9"], 59.0) == {"10.0.0.9": 5}
    assert guesses_looked_at(LoginLimits(), ["10.0.0.9"], 3600.0) == {"10.0.0.9": 20}
    assert guesses_looked_at(LoginLimits(), ["10.0.0.9"], DAY_S / 4)["10.0.0.9"] <= 6 * 20


def test_one_client_locks_nobody_else_out() -> None:
    guesses = LoginLimits()
    guesses_looked_at(guesses, ["10.0.0.9"], 3600.0)
    assert guesses.wait_s("10.0.0.9", 3600.0 - 5.0) > 0.0
    assert guesses.wait_s("10.0.0.2", 3600.0 - 5.0) == 0.0


def test_all_together_have_a_hundred_an_hour() -> None:
    clients = [f"10.0.1.{i}" for i in range(8)]
    assert sum(guesses_looked_at(LoginLimits(), clients, 3600.0).values()) == 100


def test_who_has_logged_in_before_is_not_locked_out_by_a_crowd() -> None:
    guesses = LoginLimits()
    guesses.right("10.0.0.2")
    crowd = [f"10.0.1.{i}" for i in range(200)]
    guesses_looked_at(guesses, crowd, 600.0)
    assert guesses.wait_s("10.0.0.3", 600.0) > 0.0, "a stranger waits"
    assert guesses.wait_s("10.0.0.2", 600.0) == 0.0
    known = guesses_looked_at(guesses, ["10.0.0.2"], 3600.0)
    assert known["10.0.0.2"] == 20, "but it does not guess for ever either"


def test_an_ipv6_client_is_one_whatever_half_it_chooses() -> None:
    guesses = LoginLimits()
    for i in range(5):
        guesses.wrong(f"2001:db8:1:2::{i:x}", 0.0)
    assert guesses.wait_s("2001:db8:1:2:ffff::1", 1.0) > 0.0
    assert guesses.wait_s("2001:db8:1:3::1", 1.0) == 0.0
    for _ in range(5):
        guesses.wrong("::ffff:10.0.0.9", 0.0)
    assert guesses.wait_s("10.0.0.9", 1.0) > 0.0
    assert guesses.wait_s("10.0.0.8", 1.0) == 0.0


def test_neighbours_in_one_network_do_not_lock_the_owner_out() -> None:
    """A home's devices share the first half of their IPv6 addresses, and so does a guest's.

    Fails before this: their guesses counted for the owner's device, too.
    """
    guesses, mine = LoginLimits(), "2001:db8:1:2::5"
    guesses.right(mine)
    guesses_looked_at(guesses, [f"2001:db8:1:2::1:{n:x}" for n in range(50)], 3600.0)
    assert guesses.wait_s("2001:db8:1:2::1:7", 3599.0) > 0.0
    assert guesses.wait_s("2001:db8:1:2::77", 3599.0) > 0.0, "one more neighbour is no stranger"
    assert guesses.wait_s(mine, 3599.0) == 0.0
    moved = "2001:db8:1:2:1234:5678:9abc:def0"
    assert guesses.wait_s(moved, 3599.0) > 0.0
    assert guesses.wait_s(moved, 3599.0, "device") == 0.0, "by its cookie, whatever its address"
    for n in range(5):
        guesses.wrong(moved, 3599.0 + n, "device")
    assert guesses.wait_s(moved, 3605.0, "device") > 0.0, "a device has an allowance, no more"
    assert guesses.wait_s(mine, 3605.0) == 0.0


def test_a_device_that_has_logged_in_before_is_known_by_its_cookie(
    night_ledger: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Fails before this."""
    now = {"s": 1000.0}
    monkeypatch.setattr(access.time, "monotonic", lambda: now["s"])
    app = create_app(settings_for(night_ledger))
    wrong, right = {"passphrase": "kelp"}, {"passphrase": PASSPHRASE}
    with TestClient(app, client=("2001:db8:1:2::5", 50000)) as person:
        assert person.post("/api/login", json=right).status_code == 200
        assert person.post("/api/logout").status_code == 200
        kept = dict(person.cookies)
    assert kept.keys() == {access.DEVICE_COOKIE}
    for n in range(30):
        with TestClient(app, client=(f"2001:db8:1:2::a:{n:x}", 50000)) as neighbour:
            answer = neighbour.post("/api/login", json=wrong)
            assert answer.status_code in (401, 429)
        now["s"] += 61.0 if n % 5 == 4 else 0.0
    elsewhere = ("2001:db8:1:2:fade:fade:fade:fade", 50000)
    with TestClient(app, client=elsewhere) as stranger:
        assert stranger.post("/api/login", json=right).status_code == 429
    forged = {access.DEVICE_COOKIE: kept[access.DEVICE_COOKIE][:-3] + "abc"}
    with TestClient(app, client=elsewhere, cookies=forged) as stranger:
        assert stranger.post("/api/login", json=right).status_code == 429
    with TestClient(app, client=elsewhere, cookies=kept) as moved:
        assert moved.post("/api/login", json=right).status_code == 200


def test_a_crowd_does_not_fill_the_memory() -> None:
    guesses = LoginLimits()
    for i in range(2000):
        guesses.right(f"10.{i // 250}.{i % 250}.1")
        if guesses.wait_s(f"11.{i // 250}.{i % 250}.1", float(i)) == 0.0:
            guesses.wrong(f"11.{i // 250}.{i % 250}.1", float(i))
    assert len(guesses._known) == 64
    assert len(guesses._wrong) == 100


def test_a_guesser_at_the_door_and_the_person_behind_it(
    night_ledger: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    now = {"s": 1000.0}
    monkeypatch.setattr(access.time, "monotonic", lambda: now["s"])
    app = create_app(settings_for(night_ledger))
    with (
        TestClient(app, client=("10.0.0.9", 50000)) as guesser,
        TestClient(app, client=("10.0.0.2", 50000)) as person,
    ):
        wrong, right = {"passphrase": "kelp"}, {"passphrase": PASSPHRASE}
        answers = [guesser.post("/api/login", json=wrong).status_code for _ in range(9)]
        assert answers == [401] * 5 + [429] * 4
        assert guesser.post("/api/login", json=right).status_code == 429
        assert person.post("/api/login", json=right).status_code == 200
    assert "A wrong passphrase from 10.0.0.9." in caplog.text
    assert "kelp" not in caplog.text
