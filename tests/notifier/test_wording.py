"""Texts as short as a lock screen, and when people are told."""

from __future__ import annotations

import socket
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nightcure.errors import BadInput
from nightcure.ledger.outbox import Message
from nightcure.notifier.wording import (
    TEXT,
    TITLE,
    Writer,
    due_s,
    page_of,
    shortened,
    window,
    with_link,
)
from nightcure.settings import Notifications
from nightcure.settings.notifications import Kind
from tests.nights import SETTINGS
from tests.test_settings import GOOD, load

from .services import told

NIGHT = datetime(2026, 11, 30, 2, 14).astimezone()


@given(st.text(max_size=400))
def test_nothing_is_longer_than_a_lock_screen(text: str) -> None:
    assert len(shortened(text)) <= TEXT
    message = Writer(text[:60] or "x", told()).message("k", Kind.TRIP, text, 1.0, 2.0)
    assert len(message.title) <= TITLE
    assert len(message.text) <= TEXT


def test_whole_sentences_as_far_as_they_fit() -> None:
    said = "The air is at 66.2 °C, above its limit. " + "Look at the fan and at the door. " * 5
    assert shortened(said, 80) == (
        "The air is at 66.2 °C, above its limit. Look at the fan and at the door."
    )
    assert shortened("a " * 300, 20).endswith("…")


@pytest.mark.parametrize(
    ("when", "hour", "due"),
    [("now", 2, "02:14"), ("morning", 2, "07:30"), ("morning", 9, "07:30"), ("never", 2, None)],
)
def test_quiet_hours(when: str, hour: int, due: str | None) -> None:
    now = NIGHT.replace(hour=hour)
    found = due_s(told(laminate=when, morning="07:30"), Kind.LAMINATE, now.timestamp())
    if due is None:
        assert found is None
        return
    assert found is not None
    at = datetime.fromtimestamp(found).astimezone()
    assert f"{at:%H:%M}" == due
    assert 0.0 <= (at - now).total_seconds() <= 24 * 3600


def test_a_trip_is_never_quiet() -> None:
    quiet = dict.fromkeys(("warning", "laminate", "demould", "night", "odds", "no_answer"), "never")
    assert due_s(told(**quiet), Kind.TRIP, NIGHT.timestamp()) == NIGHT.timestamp()
    with pytest.raises(ValueError, match="Input should be 'now'"):
        Notifications.model_validate({"trip": "morning"})


def test_a_message_bears_its_number() -> None:
    message = Message("k", "trip", 1.0, 1.0, "t", "Too hot.", 17)
    assert with_link(message, "http://oven.local/") == "Too hot.\nhttp://oven.local/#message-17"
    assert with_link(message, None) == "Too hot. (17)"


def test_the_link_without_a_declared_page(monkeypatch: pytest.MonkeyPatch) -> None:
    alone = SETTINGS
    assert page_of(alone) is None, "nobody but this machine sees it"
    web = alone.web.model_copy(update={"address": "0.0.0.0"})
    served = alone.model_copy(update={"web": web})
    for name in ("oven-2", "oven-2.shed.example"):
        monkeypatch.setattr(socket, "gethostname", lambda name=name: name)
        assert page_of(served) == "http://oven-2.local:8733"
    declared = served.model_copy(update={"notifications": told()})
    assert page_of(declared) == "http://oven.local:8733"


def test_no_time_where_nobody_knows_it() -> None:
    writer = Writer("x", told())
    assert writer.message("k", Kind.TRIP, "Too hot.", 0.0, 2.0).text == "Too hot."
    at_s = NIGHT.timestamp()
    assert writer.message("k", Kind.TRIP, "Too hot.", at_s, 2.0).text == "02:14 Too hot."


def test_the_window_for_laminating() -> None:
    closes = {"name": "laminate-closes", "at_s": 2e9, "low_s": NIGHT.timestamp(), "high_s": None}
    live = {"cure": [{"name": "Lid", "milestones": [closes]}]}
    assert window(live, "Lid") == " until 02:14"
    assert window(live, "Rim") == window({}, "Lid") == ""


@pytest.mark.parametrize(
    ("table", "sentence"),
    [
        ("page = 'oven.local'", "page is 'oven.local'"),
        ("morning = '25:00'", "it should be a time of day, such as 08:00"),
        ("trip = 'never'", "trip is 'never'; it should be 'now'"),
        ("[notifications.mqtt]\nhost = 'b'\nca = 'x.pem'", "set tls = true"),
        ("[notifications.mqtt]\nhost = 'b'\ntopic = 'a/#'", "topic is 'a/#'"),
        ("passwort = 'x'", "is not a key that is known here"),
    ],
)
def test_wrong_settings_get_a_sentence(tmp_path: Path, table: str, sentence: str) -> None:
    with pytest.raises(BadInput) as raised:
        load(tmp_path, f"{GOOD}\n[notifications]\n{table}\n")
    assert sentence in str(raised.value)
    assert "pattern" not in str(raised.value)
