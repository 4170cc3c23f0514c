"""The live stream: at once, in order, and taken up again where it broke off."""

from __future__ import annotations

import threading
from itertools import islice
from pathlib import Path

import httpx
import pytest

from nightcure_web import live
from nightcure_web.access import COOKIE
from nightcure_web.app import create_app
from tests.nights import changed, word
from tests.recording import RecordedOven
from tests.workshop import wait_for

from .conftest import PASSPHRASE, settings_for
from .serving import Heard, listening, served


@pytest.fixture
def oven(tmp_path: Path) -> RecordedOven:
    return RecordedOven(tmp_path / "s.ledger", settings_for(tmp_path / "s.ledger"))


def written(oven: RecordedOven) -> None:
    wait_for(lambda: oven.recorder.silent_s(oven.t_s) == 0.0, 20, "the ledger caught up")


def ask_nonsense(oven: RecordedOven, count: int) -> None:
    """So many events: each a refused command."""
    for number in range(count):
        oven.tick(word("dance", number + 10))
    written(oven)


def test_the_first_live_comes_at_once_with_an_id_and_when_to_come_back(oven: RecordedOven) -> None:
    with oven:
        oven.run(10.0)
        written(oven)
        with served(create_app(oven.settings)) as (address, _), listening(address) as heard:
            first = next(heard)
    assert first.event == "live"
    assert first.data["night_id"] == 1
    assert first.data["now_s"] >= first.data["host_s"]
    assert first.id == "1", "the start is the last event there was"
    assert 500 <= int(first.retry) <= 10_000


def test_what_happens_is_told_before_the_state_it_led_to(oven: RecordedOven) -> None:
    with oven:
        oven.run(10.0)
        written(oven)
        with served(create_app(oven.settings)) as (address, _), listening(address) as heard:
            next(heard)
            oven.tick(word("stop"))
            stopped, after = islice(heard, 2)
    assert (stopped.event, stopped.data["kind"], stopped.data["name"]) == (
        "happened", "night", "stopped"
    )  # fmt: skip
    assert (after.event, after.data["phase"]) == ("live", "idle")
    assert stopped.id == after.id == str(stopped.data["id"])


def test_a_reader_that_comes_back_hears_what_it_missed(oven: RecordedOven) -> None:
    with oven:
        oven.run(10.0)
        written(oven)
        with served(create_app(oven.settings)) as (address, _):
            with listening(address) as heard:
                last = next(heard)
            ask_nonsense(oven, 5)
            with listening(address, **{"Last-Event-ID": last.id}) as heard:
                missed = list(islice(heard, 6))
            assert [h.event for h in missed] == ["happened"] * 5 + ["live"]
            begun = int(last.id)
            assert [int(h.id) for h in missed] == [*range(begun + 1, begun + 6), begun + 5]
            with listening(address, **{"Last-Event-ID": missed[-1].id}) as heard:
                assert next(heard).event == "live", "nothing is told twice"


def test_missed_events_are_bounded(oven: RecordedOven) -> None:
    with oven:
        ask_nonsense(oven, 230)
        with (
            served(create_app(oven.settings)) as (address, _),
            listening(address, **{"Last-Event-ID": "3"}) as heard,
        ):
            told = list(islice(heard, 201))
    assert [h.event for h in told] == ["happened"] * 200 + ["live"]
    assert told[0].data["id"] == 31


@pytest.mark.parametrize("nonsense", ["", "x", "-1", "1e3", "99999", "9" * 400, "1; DROP", "³"])
def test_an_id_that_is_none_costs_nothing(oven: RecordedOven, nonsense: str) -> None:
    with oven:
        ask_nonsense(oven, 3)
        with (
            served(create_app(oven.settings)) as (address, _),
            listening(address, **{"Last-Event-ID": nonsense}) as heard,
        ):
            first = next(heard)
    assert (first.event, first.id) == ("live", "3")


def test_a_closed_stream_is_for_the_logged_in_and_ends_with_the_login(oven: RecordedOven) -> None:
    settings = changed(oven.settings, web={"reading": "login"})
    with oven:
        oven.run(10.0)
        written(oven)
        with served(create_app(settings)) as (address, _):
            assert httpx.get(f"{address}/api/stream").status_code == 401
            with httpx.Client(base_url=address) as person:
                person.post("/api/login", json={"passphrase": PASSPHRASE})
                cookie = f"{COOKIE}={person.cookies[COOKIE]}"
                with listening(address, Cookie=cookie) as heard:
                    assert isinstance(next(heard), Heard)
                    assert person.post("/api/logout-everywhere").status_code == 200
                    assert list(heard) == [], "it ends, and says nothing more"


def test_as_many_as_are_let_in_are_let_in_however_they_come(
    oven: RecordedOven, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Fails before this: who came while others were being let in was not counted yet."""
    monkeypatch.setattr(live, "MOST_OF_ONE", 3)
    statuses: list[int] = []
    together = threading.Barrier(24)

    def listen(address: str) -> None:
        together.wait(20)
        with httpx.stream("GET", f"{address}/api/stream", timeout=20) as answer:
            statuses.append(answer.status_code)
            wait_for(lambda: len(statuses) == 24, 20, "all were answered")

    with oven:
        oven.run(10.0)
        written(oven)
        app = create_app(oven.settings)
        with served(app) as (address, _):
            threads = [threading.Thread(target=listen, args=(address,)) for _ in range(24)]
            for thread in threads:
                thread.start()
            for thread in threads:
                thread.join(30)
            assert sorted(statuses) == [200] * 3 + [503] * 21
            wait_for(lambda: not app.state.services.listening, 10, "the places are free again")


def test_strangers_leave_places_to_who_is_logged_in(
    oven: RecordedOven, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(live, "MOST_OF_STRANGERS", 1)
    with oven:
        oven.run(10.0)
        written(oven)
        with served(create_app(oven.settings)) as (address, _), listening(address) as first:
            assert next(first).event == "live"
            assert httpx.get(f"{address}/api/stream").status_code == 503
            with httpx.Client(base_url=address) as person:
                person.post("/api/login", json={"passphrase": PASSPHRASE})
                cookie = f"{COOKIE}={person.cookies[COOKIE]}"
            with listening(address, Cookie=cookie) as heard:
                assert next(heard).event == "live"


def test_one_client_cannot_take_every_place(
    oven: RecordedOven, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(live, "MOST_OF_ONE", 2)
    with oven:
        oven.run(10.0)
        written(oven)
        app = create_app(oven.settings)
        with served(app) as (address, _):
            with listening(address) as one, listening(address) as two:
                assert next(one).event == next(two).event == "live"
                refused = httpx.get(f"{address}/api/stream")
                assert refused.status_code == 503
                assert refused.headers["content-type"] == "application/problem+json"
                assert httpx.get(f"{address}/api/status").status_code == 200
            wait_for(lambda: not app.state.services.listening, 10, "both places are free again")
            with listening(address) as three:
                assert next(three).event == "live"
