"""`nightcure cure post-cure`: how warm and how long, by what the part must stand."""

from __future__ import annotations

import json
from pathlib import Path

from nightcure.cure.card import load_card
from nightcure.cure.glass_transition import tg_c
from nightcure.cure.kinetics import law_of
from nightcure.cure.kinetics import run as kinetic_run
from nightcure.profile import load_profile
from nightcure.settings import load_settings
from nightcure.simulate.scenario import OVEN_FILE

from .curing import nightcure


def test_a_post_cure_is_found_for_a_use_in_words(tmp_path: Path) -> None:
    """It reaches what it says by an implicit integration of the same course, too, and runs."""
    file = tmp_path / "post.toml"
    asked = ("polyester-laminating", "--stand", "light-deck", "--save", str(file), "--json")
    found = json.loads(nightcure("cure", "post-cure", *asked).stdout)
    assert found["tg_c"] >= 64.0
    assert found["least_margin_k"] >= found["margin_k"]
    assert found["stands"] == "to stand a summer sun on a light deck"
    card, lain_s = load_card("polyester-laminating"), 86400.0
    up_s = lain_s + (found["at_c"] - 20.0) / found["rate_c_per_h"] * 3600.0 + found["held_s"]
    points = [(0.0, 20.0), (lain_s, 20.0), (up_s, found["at_c"]),
              (up_s + found["soak_s"], found["at_c"])]  # fmt: skip
    by_radau = kinetic_run(law_of(card, 2.0), points)
    assert card.glass is not None
    assert float(tg_c(by_radau.degree[-1], card.glass)) >= found["tg_c"] - 0.5
    profile = load_profile(file)
    limits = load_settings(OVEN_FILE).limits
    assert profile.unbearable(limits) == ()
    assert "add [box]" in " ".join(profile.refusals(limits)), "what the box is, a start asks"


def test_what_no_post_cure_reaches_is_said_with_the_reason() -> None:
    dark = nightcure("cure", "post-cure", "polyester-laminating", "--stand", "dark-deck")
    assert dark.exit_code == 2
    assert "its card allows 60 °C, which is not enough either" in dark.stderr
    moon = nightcure("cure", "post-cure", "polyester-laminating", "--stand", "moon")
    assert moon.exit_code == 2
    assert "it should be °C, or one of shade, light-deck, dark-deck" in moon.stderr
    two = nightcure("cure", "post-cure", "vinyl-ester", "--stand", "shade", "--tg-c", "60")
    assert (two.exit_code, "one goal" in two.stderr) == (2, True)


def test_a_dew_point_is_told_with_what_to_do() -> None:
    damp = json.loads(
        nightcure("cure", "dew-point", "--air-c", "20", "--humidity", "60", "--mould-c", "8",
                  "--card", "epoxy-fast", "--json").stdout
    )  # fmt: skip
    assert not damp["dry"]
    assert abs(damp["dew_point_c"] - 12.0) < 0.15
    assert "an epoxy blushes on it: warm it to 15.0 °C" in damp["sentences"][0]
    wrong = nightcure("cure", "dew-point", "--air-c", "20", "--humidity", "190")
    assert (wrong.exit_code, "it should be 1 to 100" in wrong.stderr) == (2, True)
