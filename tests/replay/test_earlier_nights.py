"""Nights recorded by earlier versions decide the same, in every field their version recorded but
how much heat: feed-forward has since become a model that runs beside the oven, and what it asks for
is another duty (`HEAT`).

`nights/` holds ledgers written by the real recorder on the virtual oven, by 0.1.0 before a decision
said why the heater was off: a plain night, one with two faults, one that is steered, one with two
power cuts, one with a resin card, and one that a later version took up after a cut. To the bit, on
a machine whose mathematics library gives the same last bits as the one they were recorded on
(x86-64, glibc).
"""

from __future__ import annotations

import json
import lzma
import sqlite3
from pathlib import Path
from typing import Any

import pytest

from nightcure.errors import BadInput
from nightcure.ledger.reader import LedgerReader
from nightcure.loop.loop import Loop
from nightcure.record.codec import decode_inputs, encode_inputs
from nightcure.record.recorded_settings import settings_of
from nightcure.replay.verify import Difference, Verified, verify
from nightcure.settings import Settings
from nightcure.tick import Command
from tests.nights import SETTINGS, SHORT, still
from tests.recording import RecordedOven

NIGHTS = Path(__file__).parent / "nights"
#: What the regulator asks for, and when the relay gives it.
HEAT = {"duty", "heater"}


def not_heat(found: Verified) -> list[Difference]:
    """The differences in everything else."""
    return [d for d in found.differences if d.field not in HEAT]


def unpacked(name: str, folder: Path) -> Path:
    path = folder / f"{name}.ledger"
    path.write_bytes(lzma.decompress((NIGHTS / f"{name}.ledger.xz").read_bytes()))
    return path


@pytest.mark.parametrize(
    ("name", "ticks"),
    [("plain", 1200), ("commands", 901), ("power-cut", 1201), ("cards", 1500)],
)  # fmt: skip
def test_an_earlier_night_decides_the_same(name: str, ticks: int, tmp_path: Path) -> None:
    found = verify(LedgerReader(unpacked(name, tmp_path)), 1)
    assert not_heat(found) == []
    assert (found.ticks, found.remarks) == (ticks, [])


def test_a_night_taken_up_too_cold_for_the_clock_differs_in_its_sentence(tmp_path: Path) -> None:
    """The clock said 102 s, and the air had fallen by 3.1 K, to the shed's temperature (another
    oven stood behind the wires): the longer time is believed since, and told. All else is alike.
    """
    found = verify(LedgerReader(unpacked("taken-up", tmp_path)), 1)
    events, longer = not_heat(found)
    assert [(d.seq, d.field) for d in (events, longer)] == [(300, "events"), (300, "longer")]
    assert events.recorded[0][2] == "Resumed after 1 min 42 s; the air fell by 3.1 K."
    assert events.now[0][2].startswith("Resumed after about 8 min, by how far the ")
    assert (found.ticks, found.remarks) == (751, [])


def test_a_night_that_was_judged_by_another_rule_is_the_same_up_to_there(tmp_path: Path) -> None:
    """A welded relay was told by a rise of 0.4 K in 150 s; now by the oven's energy balance."""
    path = unpacked("two-faults", tmp_path)
    found = verify(LedgerReader(path), 1)
    with sqlite3.connect(path) as db:
        tripped = db.execute("SELECT seq FROM events WHERE name = 'heater-stuck-on'").fetchone()
    assert (found.ticks, found.remarks) == (1800, [])
    first, *_ = not_heat(found)
    assert first.field == "contactor", "it opens on the rise that nobody heated"
    assert 0.0 < 2.0 * (tripped[0] - first.seq) < 90.0


@pytest.mark.parametrize("name", ["plain", "commands", "power-cut"])
def test_what_it_recorded_is_compared_all_the_same(name: str, tmp_path: Path) -> None:
    path = unpacked(name, tmp_path)
    with sqlite3.connect(path) as db:
        db.execute("UPDATE ticks SET setpoint_c = setpoint_c + 0.5 WHERE seq = 300")
    assert [(d.seq, d.field) for d in not_heat(verify(LedgerReader(path), 1))] == [
        (300, "setpoint_c")
    ]


def test_a_field_that_the_version_recorded_is_compared(tmp_path: Path) -> None:
    """A night of this version says why the heater was off; another reason is a difference."""
    path = tmp_path / "now.ledger"
    with RecordedOven(path, faults=["sensor-missing@5min+20s"]) as oven:
        oven.run(600.0)
    assert verify(LedgerReader(path), 1).same
    with sqlite3.connect(path) as db:
        told = db.execute(
            "SELECT seq, decision FROM ticks WHERE decision LIKE '%\"off\":%' ORDER BY seq"
        ).fetchall()
        reasons = [json.loads(text)["off"] for _, text in told]
        lost = ["no-air-temperature", {"fault": "missing"}]
        assert reasons == [["contactor-open", {}], None, lost, None]
        seq, text = told[2]
        db.execute(
            "UPDATE ticks SET decision = ? WHERE seq = ?",
            (text.replace("no-air-temperature", "air-doubted"), seq),
        )
    found = verify(LedgerReader(path), 1)
    assert [(d.seq, d.field) for d in found.differences] == [(seq + k, "off") for k in range(10)]
    assert found.by_meaning == {"reasons": 10}, "it stands until another is recorded"


def test_a_start_is_judged_by_what_was_asked_of_it_when_it_was_recorded() -> None:
    """Before every confirmation was asked, one that a start did not say counted as given."""
    told: dict[str, Any] = {"profile": SHORT.model_dump(mode="json")}
    inputs = still(0.0, Command(1, "start", told, "test"))
    now = encode_inputs(inputs)
    for text, outcome in ((now, "refused"), (now.replace('"a":1,', ""), "done")):
        read, _ = decode_inputs(inputs.mono_s, inputs.wall_s, text)
        assert [o.outcome for o in Loop(SETTINGS).tick(read).outcomes] == [outcome]
    refused = inputs.commands[0]._replace(args={**told, "limit_device_confirmed": False})
    before = encode_inputs(inputs._replace(commands=(refused,))).replace('"a":1,', "")
    read, _ = decode_inputs(inputs.mono_s, inputs.wall_s, before)
    assert [o.outcome for o in Loop(SETTINGS).tick(read).outcomes] == ["refused"]


def test_a_reason_that_is_told_a_tick_late_is_one_difference(tmp_path: Path) -> None:
    path = tmp_path / "now.ledger"
    with RecordedOven(path, faults=["sensor-missing@5min+20s"]) as oven:
        oven.run(600.0)
    with sqlite3.connect(path) as db:
        told = db.execute("SELECT seq FROM ticks WHERE decision LIKE '%\"off\":null%'").fetchall()
        seq = told[-1][0]
        db.execute("UPDATE ticks SET decision = '{\"fan\":1}' WHERE seq = ?", (seq,))
        late = '{"off":null,"fan":1}'
        db.execute("UPDATE ticks SET decision = ? WHERE seq = ?", (late, seq + 1))
    (difference,) = verify(LedgerReader(path), 1).differences
    assert (difference.seq, difference.field) == (seq, "off")
    assert (difference.recorded, difference.now) == (
        ["no-air-temperature", {"fault": "missing"}], None,
    )  # fmt: skip


def test_what_a_version_that_does_not_tell_took_up_is_compared_without_it(tmp_path: Path) -> None:
    path = tmp_path / "now.ledger"
    oven = RecordedOven(path)
    oven.run(100.0)
    oven.close()
    oven.t_s += 20.0
    oven.open()
    oven.run(200.0)
    oven.close()
    with sqlite3.connect(path) as db:
        (resumed,) = db.execute(
            "SELECT seq FROM ticks WHERE inputs LIKE '%resumed_from%'"
        ).fetchone()
        rows = db.execute("SELECT seq, decision FROM ticks WHERE seq >= ?", (resumed,)).fetchall()
        for seq, text in rows:
            without = {k: v for k, v in json.loads(text).items() if k != "off"}
            said = json.dumps(without, separators=(",", ":"), ensure_ascii=False)
            db.execute("UPDATE ticks SET decision = ? WHERE seq = ?", (said, seq))
    assert verify(LedgerReader(path), 1).differences == []


def test_settings_are_read_without_todays_limits(tmp_path: Path) -> None:
    path = unpacked("plain", tmp_path)
    with sqlite3.connect(path) as db:
        (text,) = db.execute("SELECT settings FROM nights").fetchone()
        settings = json.loads(text)
        settings["limits"]["air_c"] = 95.0  # beyond the wall, and not acknowledged
        settings["timing"]["dead_man_s"] = 30.0  # longer than any may be
        db.execute("UPDATE nights SET settings = ?", (json.dumps(settings),))
    with pytest.raises(ValueError, match="95"):
        Settings.model_validate(settings)
    assert not_heat(verify(LedgerReader(path), 1)) == []


def test_recorded_settings_are_the_settings(tmp_path: Path) -> None:
    path = tmp_path / "n.ledger"
    with RecordedOven(path) as oven:
        oven.run(20.0)
    night = LedgerReader(path).night(1)
    assert night is not None
    read = settings_of(night)
    assert read == SETTINGS
    assert [type(t.role) for t in read.thermometers] == [
        type(t.role) for t in SETTINGS.thermometers
    ]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda s: s["limits"].update(afterburner=1), "limits has 'afterburner'"),
        (lambda s: s["heater"].pop("power_w"), "heater has no power_w"),
        (lambda s: s.update(heater=3), "heater is no table"),
        (lambda s: s["heater"].update(power_w="much"), "heater.power_w is much"),
        (lambda s: s["heater"].update(power_w=0.0), "heater.power_w is 0.0"),
        (lambda s: s["timing"].update(tick_s=-2.0), "timing.tick_s is -2.0"),
        (lambda s: s["timing"].update(tick_s=1e308), "timing.tick_s is 1e+308"),
        (lambda s: s["regulator"].update(kind="fuzzy"), "regulator.kind is fuzzy"),
        (lambda s: s.update(thermometers=5), "5 is no list"),
        (lambda s: s.update(thermometers=[]), "no thermometer of the air"),
    ],
)
def test_settings_this_version_cannot_read_are_told(change, said, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    path = unpacked("plain", tmp_path)
    with sqlite3.connect(path) as db:
        (text,) = db.execute("SELECT settings FROM nights").fetchone()
        settings = json.loads(text)
        change(settings)
        db.execute("UPDATE nights SET settings = ?", (json.dumps(settings),))
    with pytest.raises(BadInput, match=r"run by version 0\.1\.0") as raised:
        verify(LedgerReader(path), 1)
    assert len(raised.value.sentences) == 1
    assert said in raised.value.sentences[0]


def test_readings_that_do_not_fit_the_settings_are_told(tmp_path: Path) -> None:
    path = unpacked("plain", tmp_path)
    with sqlite3.connect(path) as db:
        (text,) = db.execute("SELECT settings FROM nights").fetchone()
        settings = json.loads(text)
        del settings["thermometers"][-1]
        db.execute("UPDATE nights SET settings = ?", (json.dumps(settings),))
    found = verify(LedgerReader(path), 1)
    assert (found.ticks, found.ticks_apart) == (1200, 1200)
    assert found.differences[0].recorded == "4 readings"
