"""A laminator opens the box, announced or not, to look or to lay wet resin; nothing trips."""

from __future__ import annotations

from typing import Any

import pytest

from nightcure.cure.part import with_figures
from nightcure.loop.loop import Loop
from nightcure.profile import Profile, parse_profile
from nightcure.settings import Settings
from nightcure.simulate.faults import parse_fault
from nightcure.simulate.scenario import BOX, ambient_c
from nightcure.simulate.virtual import VirtualOven
from nightcure.tick import Decision, OffCode, Phase, Reading, TickInputs
from tests.nights import COARSE, SETTINGS, night, start, through_text, word

SOAK = parse_profile(
    {
        "name": "Evening",
        "segments": [
            {"kind": "ramp", "to_c": 35.0, "rate_c_per_h": 25.0},
            {"kind": "soak", "at_c": 35.0, "hours": 3.0},
        ],
    }
)
TICK_S = COARSE.timing.tick_s
#: Of the ramp, and of the soak with its moulds warm.
TIMES_S = [4000.0, 9000.0]


class Evening:
    """The loop on the virtual oven, its box opened when somebody opens it."""

    def __init__(self, opens_s: float, open_for_s: float, profile: Profile = SOAK) -> None:
        fault = parse_fault(f"door-open@{opens_s:.0f}s+{open_for_s:.0f}s")
        self.settings: Settings = COARSE
        self.oven = VirtualOven(BOX, COARSE.thermometers, ambient_c, 0, [fault])
        self.loop = Loop(COARSE)
        self.t_s = 0.0
        self.ticks: list[tuple[float, Decision]] = []
        self.tick(start(profile))

    def tick(self, *commands: Any) -> Decision:
        sensed = tuple(self.oven.sense(self.t_s))
        d = self.loop.tick(TickInputs(self.t_s, 1e9 + self.t_s, sensed, commands))
        self.oven.step(TICK_S, d.heater_on, d.contactor_on)
        self.ticks.append((self.t_s, d))
        self.t_s += TICK_S
        return d

    def until(self, t_s: float) -> Decision:
        d = self.ticks[-1][1]
        while self.t_s < t_s and d.phase not in (Phase.DONE, Phase.TRIPPED, Phase.IDLE):
            d = self.tick()
        return d

    def said(self) -> list[str]:
        return [e.message for _, d in self.ticks for e in d.events]


@pytest.mark.parametrize(
    ("opens_s", "open_for_s"),
    [(TIMES_S[0], 60.0), (TIMES_S[0], 3500.0), (TIMES_S[1], 1500.0)],
)
def test_what_was_only_looked_at_goes_on_by_itself(opens_s: float, open_for_s: float) -> None:
    evening = Evening(opens_s, open_for_s)
    evening.until(opens_s)
    counted_s = evening.loop.run.counted_s if evening.loop.run else 0.0
    d = evening.tick(word("open", laying=False))
    assert d.outcomes[0].outcome == "done"
    assert (d.why_off, d.heater_on, d.contactor_on) == ((OffCode.BOX_OPEN, {}), False, False)
    evening.until(opens_s + open_for_s)
    assert not any(d.heater_on or d.contactor_on for t, d in evening.ticks if t >= opens_s)
    assert evening.loop.run is not None
    assert evening.loop.run.counted_s == counted_s, "the profile stands still"
    d = evening.until(12 * 3600.0)
    assert (d.phase, d.trip) == (Phase.DONE, None), evening.said()
    assert {"The box is shut again: the night goes on.",
            "The box was opened an hour ago: the night goes on."} & set(evening.said())  # fmt: skip
    assert [m for m in evening.said() if "xotherm" in m] == []


@pytest.mark.parametrize("opens_s", TIMES_S)
def test_after_wet_resin_nothing_heats_until_it_is_said_to_be_aired(opens_s: float) -> None:
    evening = Evening(opens_s, 1800.0)
    evening.until(opens_s)
    evening.tick(word("open", laying=True))
    evening.until(opens_s + 3 * 3600.0)  # shut for hours already
    assert not any(d.heater_on or d.contactor_on for t, d in evening.ticks if t >= opens_s)
    assert evening.ticks[-1][1].why_off == (OffCode.WET_RESIN, {})
    d = evening.tick(word("shut"))
    assert d.outcomes[0].outcome == "refused"
    assert d.outcomes[0].message.startswith("Wet resin was laid: the heat stays off until it has")
    d = evening.tick(word("shut", aired=True))
    assert d.outcomes[0].message == "The night goes on."
    d = evening.until(12 * 3600.0)
    assert (d.phase, d.trip) == (Phase.DONE, None), evening.said()
    assert any(d.heater_on for t, d in evening.ticks if t > opens_s + 3 * 3600.0)


@pytest.mark.parametrize(("changes", "enough"), [(0.0, False), (4.0, False), (400.0, True)])
def test_declared_ducted_air_suffices_where_the_vapour_stays_below_the_limit(
    changes: float, enough: bool
) -> None:
    """400 air changes an hour of 0.43 m³ are a fan of 172 m³/h; a leak of 4 is none."""
    data = {
        **SOAK.model_dump(mode="json"),
        "segments": [
            {"kind": "ramp", "to_c": 35.0, "rate_c_per_h": 20.0},
            {"kind": "soak", "at_c": 35.0, "hours": 1.0},
        ],
        "box": {"volume_m3": 0.43, "air_changes_per_h": changes, "evaporated_pct": 0.5},
        "parts": [{"name": "Lid", "card": "polyester-laminating", "resin_kg": 0.4,
                   "catalyst_pct": 1.5, "sensor": "Lid", "start_h": -8.0}],
    }  # fmt: skip
    evening = Evening(4000.0, 600.0, parse_profile(with_figures(data)))
    evening.until(4000.0)
    assert evening.ticks[-1][1].phase is Phase.RAMP, evening.said()
    evening.tick(word("open", laying=True))
    evening.until(5000.0)
    assert (evening.tick(word("shut")).outcomes[0].outcome == "done") is enough


def test_it_may_be_said_later_that_resin_was_laid() -> None:
    evening = Evening(4000.0, 1800.0)
    evening.until(4000.0)
    evening.tick(word("open", laying=False))
    evening.until(4600.0)
    evening.tick(word("open", laying=True))
    evening.until(9000.0)
    assert evening.ticks[-1][1].why_off == (OffCode.WET_RESIN, {})


def test_a_box_that_was_said_to_be_open_and_was_not_is_heated_again_after_ten_minutes() -> None:
    evening = Evening(50_000.0, 60.0)
    evening.until(9000.0)
    evening.tick(word("open", laying=False))
    evening.until(9000.0 + 700.0)
    assert "The box is shut again: the night goes on." in evening.said()


def test_nobody_comes_back_to_the_resin() -> None:
    evening = Evening(4000.0, 40_000.0)
    evening.until(4000.0)
    evening.tick(word("open", laying=True))
    evening.until(4000.0 + 8 * 3600.0 - 60.0)
    assert evening.loop.run is not None
    d = evening.until(4000.0 + 8 * 3600.0 + 60.0)
    assert (d.phase, d.trip) == (Phase.IDLE, None)
    assert any(m.startswith("Ended without heat: for 8 h 00 min the resin") for m in evening.said())


def test_a_box_that_nobody_shuts_is_not_heated_for() -> None:
    """After the hour the check of the heat has its say: pauses, pulses, and then a trip."""
    evening = Evening(9000.0, 40_000.0)
    evening.until(9000.0)
    evening.tick(word("open", laying=False))
    d = evening.until(9000.0 + 4 * 3600.0)
    assert (d.phase, d.trip) == (Phase.TRIPPED, "heater-without-effect")
    assert evening.t_s < 9000.0 + 3 * 3600.0
    on_s = TICK_S * sum(d.heater_on for t, d in evening.ticks if t >= 9000.0)
    assert on_s < 3600.0, "less than half of the time"


def test_a_cut_does_not_make_wet_resin_dry() -> None:
    evening = Evening(4000.0, 600.0)
    evening.until(4000.0)
    evening.tick(word("open", laying=True))
    state = through_text(evening.loop)
    evening.loop = Loop(evening.settings)
    evening.loop.resume(state)
    d = evening.until(4600.0)
    assert (d.phase, d.why_off) == (Phase.SOAK, (OffCode.WET_RESIN, {}))


def test_words_that_do_not_fit() -> None:
    evening = Evening(50_000.0, 60.0)
    for asked, told in (
        (word("open"), "laying is None; it should be true where wet resin is laid"),
        (word("open", laying="yes"), "laying is 'yes'"),
        (word("shut"), "The box was not said to be open."),
        (word("shut", aired=1), "aired is 1; it should be true or false."),
    ):
        outcome = evening.tick(asked).outcomes[0]
        assert outcome.outcome == "refused"
        assert told in outcome.message
    resting = Loop(SETTINGS)
    inputs = TickInputs(0.0, 1e9, evening_readings(), (word("open", laying=True),))
    assert resting.tick(inputs).outcomes[0].message == "No night is running."


def evening_readings() -> tuple[Reading, ...]:
    return tuple(Reading(9.0, 0.0) for _ in SETTINGS.thermometers)


@pytest.mark.parametrize("opened", ["45min+20min", "3h+45min"])
def test_an_opening_that_nobody_announced_ends_no_night(opened: str) -> None:
    result, _ = night(settings=COARSE, faults=[f"door-open@{opened}"])
    assert (result.figures.outcome, result.figures.trip) == ("done", None)
