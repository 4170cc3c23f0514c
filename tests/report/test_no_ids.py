"""What people read of a night names nothing by the id under which it is recorded."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from nightcure.guard.interlocks import RULES
from nightcure.ledger.reader import LedgerReader
from nightcure.report.html import page
from nightcure.report.logbook import as_csv, logbook
from nightcure.report.sheet import Extras, sheet
from nightcure.tick import INTERLOCK_WORDS, Command, Fault, OffCode, asked_by
from tests.guard.test_interlocks import FIRES
from tests.nights import SETTINGS
from tests.recording import RecordedOven

from .reading import facts_of, words

NAMES = [
    *(name for name, said in INTERLOCK_WORDS.items() if name != said),
    *(code.value for code in OffCode if "-" in code.value),
    "laminate-opens",
    "laminate-closes",
    "not-reached",
    "not-in-time",
]
IDS = re.compile(
    rf"(?<![\w-])(?:{'|'.join(NAMES)})(?![\w-])|\((?:{'|'.join(Fault)})\)"
    r"|\bpage, [\d:]|127\.0\.0\.1"
)


def test_the_pattern_finds_them() -> None:
    for said in (
        "The night was ended by control-sensor-lost.",
        "Sensor lost: nothing believable from Lid (missing).",
        "Stopped by page, 127.0.0.1.",
    ):
        assert IDS.search(said)


@pytest.mark.parametrize("number", range(len(FIRES)))
def test_no_interlock_says_one(number: int) -> None:
    """Fails before this for a lost thermometer: "(missing)"."""
    rule, view, *_ = FIRES[number]
    one, t_s, said = rule(SETTINGS), 0.0, None
    while said is None:
        said = one.look(view(t_s))
        t_s += 2.0
    assert not IDS.search(said)


def test_every_interlock_has_words() -> None:
    assert {rule.name for rule in RULES} < set(INTERLOCK_WORDS)


@pytest.fixture(scope="module")
def stopped_on_the_page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    ledger = tmp_path_factory.mktemp("page") / "n.ledger"
    with RecordedOven(ledger) as oven:
        oven.run(100.0)
        oven.tick(Command(2, "setpoint", {"celsius": 30.0}, "page, 192.168.1.20"))
        oven.run(300.0)
        oven.tick(Command(3, "stop", {}, "page, 127.0.0.1"))
        oven.run(oven.t_s + 10.0)
    return ledger


def test_who_stops_on_the_page_is_told_by_where(stopped_on_the_page: Path) -> None:
    """Fails before this: "Stopped by page, 127.0.0.1." """
    said = [e["message"] for e in LedgerReader(stopped_on_the_page).events(1)]
    assert said[-1] == "Stopped on the page, at the board itself."
    assert any(
        m.startswith("On the page, from another device (192.168.1.20): The ramp") for m in said
    )
    assert asked_by("Ann") == "by Ann"


@pytest.mark.parametrize("name", ["done", "cards", "tripped", "stopped", "cut", "bare", "page"])
def test_no_record_says_one(name: str, shelf: dict[str, Path], stopped_on_the_page: Path) -> None:
    """Events, sheet, page and table of each kind of end; fails before this for three of them."""
    ledger = stopped_on_the_page if name == "page" else shelf[name]
    for event in LedgerReader(ledger).events(1):
        assert not IDS.search(event["message"])
    facts = facts_of(ledger)
    document = sheet(facts, Extras())
    assert not IDS.search(words(document))
    for text in re.findall(r">([^<]+)<", page(document)):
        assert not IDS.search(text)
    assert not IDS.search(as_csv(logbook([ledger])))
