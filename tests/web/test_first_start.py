"""The first start: what is offered starts, what is refused is lifted by one press, one vapour."""

from __future__ import annotations

import json
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from typer.testing import CliRunner

from nightcure.cli.main import app as commands
from nightcure.cure.card import load_card
from nightcure.cure.part import with_figures
from nightcure.plan.to_know import vapour_warnings
from nightcure.profile import load_profile, parse_profile
from nightcure.settings import Settings
from nightcure.simulate.scenario import PROFILES
from nightcure_web.app import create_app
from nightcure_web.mends import mend
from nightcure_web.profile_input import shares_pct, usable_cards
from tests.nights import SETTINGS

from .conftest import Steered, settings_for

SHIPPED = sorted(path.stem for path in PROFILES.glob("*.toml"))
CARDS = [card.name for card in usable_cards()]
#: As a person answers: how wet, and how the box breathes.
AIRS = [*product(("laid-up", "gelled", "hard"), ("taped", "ordinary", "vent"))]


def on(profile: str, card: str, wet: str, breathes: str, lid_kg: float = 0.8) -> dict[str, Any]:
    """A shipped profile with lid and rim laid up with a card, as the page sends it."""
    shares = shares_pct(load_card(card))
    catalyst = {"catalyst_pct": min(max(2.0, min(shares)), max(shares))} if shares else {}
    parts = [
        {"name": name, "card": card, "resin_kg": kg, "sensor": name, **catalyst}
        for name, kg in (("Lid", lid_kg), ("Rim", 0.5))
    ]
    course = load_profile(PROFILES / f"{profile}.toml").model_dump(mode="json")
    return {**course, "parts": parts, "box": {"volume_m3": 0.43, "wet": wet, "breathes": breathes}}


def test_the_first_profile_offered_goes_with_a_resin_and_starts_as_it_stands(
    steered: Steered,
) -> None:
    """Fails before this: the first one had no part, and with one it was refused."""
    first = steered.client.get("/api/profiles").json()[0]
    assert first["refusals"] == []
    assert {part["card"] for part in first["profile"]["parts"]} <= set(CARDS)
    steered.accept()
    answer = steered.ask("start", profile=first["profile"], limit_device_confirmed=True)
    assert answer == (200, f"Started '{first['profile']['name']}'.")


def test_what_is_for_hard_parts_is_offered_after_what_cures_them(client: TestClient) -> None:
    """The post-cure below Tg came second (fails before this)."""
    names = [o["profile"]["name"] for o in client.get("/api/profiles").json()
             if o["profile"]["parts"] and not o["refusals"]]  # fmt: skip
    assert names[-1] == "Post-cure below Tg"
    assert len(names) > 2


@pytest.mark.parametrize(("profile", "card"), [*product(SHIPPED, CARDS)])
def test_every_profile_starts_on_every_card_or_says_what_lifts_it(
    client: TestClient, profile: str, card: str
) -> None:
    """All ways of airing; the change it names is sent back as it is, and is not refused.

    Fails before this: nothing was named, and what the sentence advised was refused again.
    """
    for wet, breathes in AIRS:
        told = client.post("/api/profiles/check", json=on(profile, card, wet, breathes)).json()
        if not told["refusals"]:
            assert told["mend"] is None
            continue
        lifted = told["mend"]
        assert lifted is not None, (wet, breathes, told["refusals"])
        assert lifted["sentence"].count(".") == 1
        again = client.post("/api/profiles/check", json=lifted["profile"]).json()
        assert again["refusals"] == [], (wet, breathes, lifted["sentence"])
        if card.startswith("epoxy"):
            assert "gel" not in lifted["sentence"], "no styrene, no vapour"


def test_one_change_is_enough_where_one_is() -> None:
    """0.5 kg just laid up: it airs until it has gelled, and starts without a vent (34 g / 15 in
    0.43 m³, by 40 CFR 63 subpart VVVV, table 3, and the moles in the box: 16 %)."""
    asked = on("lid-and-rim", "polyester-laminating", "laid-up", "ordinary")
    one = {**asked, "parts": [{**asked["parts"][0], "resin_kg": 0.5}]}
    lifted = mend(parse_profile(with_figures(one)), SETTINGS)
    assert lifted is not None
    assert lifted.button == "They have gelled and aired"
    assert lifted.profile.box is not None
    assert (lifted.profile.box.wet, lifted.profile.box.breathes) == ("gelled", "ordinary")


def test_what_nothing_lifts_has_no_button(client: TestClient) -> None:
    told = client.post("/api/profiles/check", json={"name": "Bare", "segments": [
        {"kind": "ramp", "to_c": 30, "rate_c_per_h": 10}]}).json()  # fmt: skip
    assert "has no soak" in told["refusals"][0]
    assert told["mend"] is None


def test_parts_and_box_are_remembered(steered: Steered) -> None:
    """Fails before this: every night began with an empty list and a box of 0.4 m³."""
    assert steered.client.get("/api/remembered").json() == {"parts": [], "box": None}
    steered.accept()
    asked = on("lid-and-rim", "vinyl-ester", "gelled", "vent", lid_kg=0.7)
    assert steered.ask("start", profile=asked, limit_device_confirmed=True)[0] == 200
    told = steered.client.get("/api/remembered").json()
    assert [(p["name"], p["card"], p["resin_kg"]) for p in told["parts"]] == [
        ("Lid", "vinyl-ester", 0.7), ("Rim", "vinyl-ester", 0.5),
    ]  # fmt: skip
    assert {k: told["box"][k] for k in asked["box"]} == asked["box"]
    again = {**asked, "parts": told["parts"], "box": told["box"]}
    assert steered.client.post("/api/profiles/check", json=again).json()["refusals"] == []


def test_an_oven_whose_thermometers_have_other_names(tmp_path: Path) -> None:
    """Setup lets people name them. Fails before this: every shipped profile was refused there, and
    no button put its parts on thermometers that are there; nor those of last night after a change.
    """
    names = {"Lid": "Deck mould", "Rim": "Air 2"}
    thermometers = [
        {**t.model_dump(mode="json"), "name": names.get(t.name, t.name),
         "role": "ambient" if t.name == "Shed" else t.role.value if t.name != "Rim" else "air"}
        for t in SETTINGS.thermometers
    ]  # fmt: skip
    data = settings_for(tmp_path / "new.ledger").model_dump(mode="json")
    other = Settings.model_validate({**data, "thermometers": thermometers})
    with TestClient(create_app(other), raise_server_exceptions=False) as client:
        first = client.get("/api/profiles").json()[0]
        assert first["refusals"] == []
        assert [p["sensor"] for p in first["profile"]["parts"]] == ["Deck mould", None]
        assert client.post("/api/profiles/check", json=first["profile"]).json()["refusals"] == []
        kept = on("lid-and-rim", "epoxy-slow", "hard", "vent")
        told = client.post("/api/profiles/check", json=kept).json()
        assert "'Lid', which this oven has not" in told["refusals"][0]
        assert told["mend"]["button"] == "Measure Lid by Deck mould and Rim by the air"
        again = client.post("/api/profiles/check", json=told["mend"]["profile"]).json()
        assert again["refusals"] == []


def test_page_plan_record_and_command_say_one_vapour(steered: Steered, tmp_path: Path) -> None:
    """To the last letter. Fails before this: 211 % on the page and nothing in the plan."""
    steered.accept()
    asked = on("gelled-outside", "polyester-laminating", "gelled", "vent")
    page = steered.client.post("/api/profiles/check", json=asked).json()["vapour"]
    assert 0.0 < page["percent_lel"] < 25.0
    plan = [*vapour_warnings(load_profile(PROFILES / "gelled-outside.toml"))]
    assert plan == [page["sentence"]]

    assert steered.ask("start", profile=asked, limit_device_confirmed=True)[0] == 200
    steered.ask("stop")
    record = steered.client.get("/api/nights/1/record").text.replace("\u00a0", " ")
    assert page["sentence"] in record

    text = (PROFILES / "gelled-outside.toml").read_text("utf-8")
    (tmp_path / "night.toml").write_text(text, "utf-8")
    said = CliRunner().invoke(
        commands, ["cure", "vapour", "--profile", str(tmp_path / "night.toml"), "--json"]
    )
    by_command = json.loads(said.stdout)
    assert by_command["sentence"] == page["sentence"]
    assert by_command["percent_lel"] == round(page["percent_lel"], 6)
    options = ["--wet", "gelled", "--breathes", "vent", "--resin-kg", "1.3", "--volume-m3", "0.43"]
    monomer = ["--monomer-pct", str(load_card("polyester-laminating").monomer_pct.value)]  # type: ignore[union-attr]
    typed = CliRunner().invoke(
        commands, ["cure", "vapour", *options, *monomer, "--air-c", "32", "--json"]
    )
    assert json.loads(typed.stdout)["percent_lel"] == by_command["percent_lel"]
