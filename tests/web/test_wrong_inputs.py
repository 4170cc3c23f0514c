"""Wrong inputs over HTTP: each refused in a sentence that names the right range, nothing kept.

Those typed on the page are in `tests/browser`, those of the command line in `tests/cli`.
"""

from __future__ import annotations

from typing import Any

import pytest

from .conftest import Steered
from .test_first_start import on

LID = "28-0000000000b1"


def profile(**changes: Any) -> dict[str, Any]:
    return {**on("lid-and-rim", "polyester-laminating", "gelled", "vent"), **changes}


def part(**changes: Any) -> dict[str, Any]:
    first, second = profile()["parts"]
    return profile(parts=[{**first, **changes}, second])


def segment(index: int, **changes: Any) -> dict[str, Any]:
    segments = [dict(s) for s in profile()["segments"]]
    segments[index] |= changes
    return profile(segments=segments)


def box(**changes: Any) -> dict[str, Any]:
    return profile(box={**profile()["box"], **changes})


#: A profile, and what is said of it. The limits are this oven's: 55 °C, 25 °C/h, 16 h.
PROFILES = [
    (part(resin_kg=-1), "resin_kg is -1; it should be above 0."),
    (part(resin_kg="a bucket"), "resin_kg is 'a bucket'; it should be a number."),
    (part(resin_kg=1000), "resin_kg is 1000; it should be at most 100."),
    (part(catalyst_pct=9), "gel times for 1 to 3 % catalyst and none for 9 %"),
    (part(catalyst_pct="two"), "catalyst_pct is 'two'; it should be a number."),
    (part(name=""), "name is ''; it should not be empty."),
    (part(card="marmalade"), "no resin card 'marmalade'; take "),
    (part(sensor="Keel"), "'Keel', which this oven has not; take one of Air, Lid, Rim, Shed."),
    (part(start_h=100), "start_h is 100; it should be at most 72."),
    (part(before_c=200), "before_c is 200; it should be at most 60."),
    (segment(0, to_c=75), "75 °C is above what this oven may be asked for, 55 °C"),
    (segment(0, to_c="hot"), "to_c is 'hot'; it should be a number."),
    (segment(0, rate_c_per_h=0), "rate_c_per_h is 0; it should be at least 0.01."),
    (segment(0, rate_c_per_h=100), "is 100 and this oven's moulds take at most 25"),
    (segment(1, hours=0), "hours is 0; it should be above 0."),
    (segment(1, hours=200), "hours is 200; it should be at most 72."),
    (segment(1, at_c=-5), "at_c is -5; it should be at least 0."),
    (segment(1, until="crisp"), "until is 'crisp'; it should be 'gelled', "),
    (segment(2, below_c=-3), "below_c is -3; it should be at least 0."),
    (box(volume_m3=0), "volume_m3 is 0; it should be at least 0.01."),
    (box(wet="damp"), "wet is 'damp'; it should be 'laid-up', 'gelled' or 'hard'."),
    (box(breathes="well"), "breathes is 'well'; it should be 'taped', 'ordinary' or 'vent'."),
    (box(air_changes_per_h=-1), "air_changes_per_h is -1; it should be at least 0."),
    (profile(name=""), "name is ''; it should not be empty."),
    (profile(lag_c=0), "lag_c is 0; it should be at least 0.5."),
    (profile(band_c=99), "band_c is 99; it should be at most 10."),
    (profile(segments=[]), "segments is []; it should have at least 1."),
]

#: While a soak runs.
COMMANDS: list[tuple[str, dict[str, Any], str]] = [
    ("extend", {"minutes": "ten"}, "minutes is 'ten'; it should be a number."),
    ("extend", {"minutes": 5000}, "the longest allowed is a night of 16 h"),
    ("setpoint", {"celsius": "hot"}, "celsius is 'hot'; it should be a number."),
    ("setpoint", {"celsius": 75}, "above what this oven may be asked for, 55 °C"),
    ("setpoint", {"celsius": -5}, "at_c is -5.0; it should be at least 0."),
]

REFERENCE = {"sensor_id": LID, "method": "reference"}
#: While it rests: verb, path, body, what is said.
RESTING: list[tuple[str, str, dict[str, Any], str]] = [
    ("post", "commands/offset", {**REFERENCE, "reference_c": "hot"}, "reference_c is 'hot'; it"),
    ("post", "commands/offset", REFERENCE, "reference_c is missing; give a number."),
    ("post", "commands/offset", {"sensor_id": LID, "method": "typed", "offset_c": 9}, "beyond 5 K"),
    ("post", "commands/offset", {"sensor_id": "28-9", "method": "ice-point"}, "no thermometer"),
    ("post", "commands/offset", {"sensor_id": LID, "method": "guess"}, "should be 'ice-point', "),
    ("post", "survey", {"precision_pct": 0}, "precision_pct is 0; it should be at least 1."),
    ("post", "survey", {"precision_pct": "some"}, "precision_pct is 'some'; it should be a num"),
    ("put", "nights/1/notes", {"catalyst_weighed_g": "sixteen"}, "a number, 0 to 10000 g."),
    ("put", "nights/1/notes", {"resin_batch": "x" * 3000}, "2000 are the most."),
    ("patch", "nights/1", {"label": "12"}, "cannot be a label"),
    ("put", "nights/1/touch/1", {"felt": "soggy"}, "it should be 'tacky', 'leathery' or 'hard'."),
    ("put", "nights/1/touch/1", {"felt": "hard", "barcol": 400}, "it should be at most 100."),
    ("post", "plan", {"lowest_c": "cold"}, "lowest_c is 'cold'; it should be a number."),
    ("post", "plan", {"lowest_c": -90}, "lowest_c is -90; it should be at least -60."),
    ("post", "plan", {"lowest_c": 2, "by": "late"}, "it should be a time of day, such as 08:00."),
    ("post", "plan", {"lowest_c": 2, "by": "20:00"}, "it should be later."),
    ("post", "plan", {"lowest_c": 9, "evening_c": 2}, "should not be above the start."),
    ("post", "plan", {"lowest_c": 2, "nights": 7}, "nights is 7; it should be at least 50."),
    ("post", "plan", {"lowest_c": 2, "goal": "crisp"}, "goal is 'crisp'; it should be 'gelled', "),
]


def test_every_wrong_profile_says_what_would_be_right(steered: Steered) -> None:
    steered.accept()
    for asked, said in PROFILES:
        answer = steered.client.post("/api/profiles/check", json=asked)
        told = answer.json()
        text = " ".join(told["refusals"]) if answer.is_success else told["detail"]
        assert said in text, text
        started = steered.ask("start", profile=asked, limit_device_confirmed=True)
        assert started[0] in (409, 422), said
    assert steered.client.get("/api/nights").json() == [], "none was started"


def test_every_wrong_command_changes_nothing(steered: Steered) -> None:
    """Fails before this: another limit than this oven's was named, or none."""
    steered.accept()
    soak = profile(segments=profile()["segments"][1:])
    assert steered.ask("start", profile=soak, limit_device_confirmed=True)[0] == 200
    before = steered.client.get("/api/status").json()["profile"]
    for word, args, said in COMMANDS:
        status, text = steered.ask(word, **args)
        assert status in (409, 422)
        assert said in text, text
    assert steered.client.get("/api/status").json()["profile"] == before

    steered.ask("stop")
    noted = steered.client.get("/api/nights/1/notes").json()
    for verb, path, body, said in RESTING:
        sent = {**body, "profile": profile()} if path == "plan" else body
        answer = steered.client.request(verb, f"/api/{path}", json=sent)
        assert answer.status_code in (409, 422), (path, body, answer.text)
        assert said in answer.json()["detail"], answer.text
    assert steered.client.get("/api/nights/1/notes").json() == noted
    assert steered.client.get("/api/nights/1").json()["label"] == ""
    settings = steered.client.get("/api/settings").json()
    assert [t["offset_c"] for t in settings["thermometers"]] == [0, 0, 0, 0]


@pytest.mark.parametrize("typed", [5, None, "x" * 5000])
def test_a_passphrase_is_never_said_again(steered: Steered, typed: Any) -> None:
    answer = steered.client.post("/api/login", json={"passphrase": typed})
    assert answer.status_code in (403, 413, 422, 401)
    assert "xxx" not in answer.text
