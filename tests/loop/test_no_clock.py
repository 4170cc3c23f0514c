"""Boards without a clock's battery: cuts, restarts, a clock set amid the night."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from nightcure.loop.loop import Loop
from nightcure.profile import Profile, parse_profile
from nightcure.simulate.scenario import BOX, ambient_c
from nightcure.simulate.virtual import VirtualOven
from nightcure.tick import Command, Decision, Phase, TickInputs
from tests.nights import SETTINGS, changed, start, through_text

SOAK = parse_profile(
    {
        "name": "Soak",
        "segments": [
            {"kind": "ramp", "to_c": 35.0, "rate_c_per_h": 25.0},
            {"kind": "soak", "at_c": 35.0, "hours": 4.0},
        ],
    }
)
#: 3 h into it: well in the soak.
WARM_S = 3 * 3600.0
YEAR_1970_S, TONIGHT_S = 40.0, 1.7e9


class Board:
    """The virtual oven and a controller on a board whose clocks are what they are told to be."""

    def __init__(self, wall_s: float, known: bool) -> None:
        self.settings = SETTINGS
        self.oven = VirtualOven(BOX, SETTINGS.thermometers, ambient_c, 0)
        self.loop = Loop(SETTINGS)
        self.t_s = 0.0
        self.mono_s, self.wall_s, self.known, self.boot = 12.0, wall_s, known, "first"
        self.first = True
        self.events: list[str] = []

    def tick(self, commands: Sequence[Command] = ()) -> Decision:
        sensed = tuple(self.oven.sense(self.mono_s))
        inputs = TickInputs(
            self.mono_s, self.wall_s, sensed, tuple(commands),
            wall_known=self.known, boot=self.boot if self.first else "",
        )  # fmt: skip
        self.first = False
        d = self.loop.tick(inputs)
        self.events += [e.message for e in d.events]
        self.oven.step(2.0, d.heater_on, d.contactor_on)
        self.pass_s(2.0)
        return d

    def pass_s(self, s: float) -> None:
        self.t_s, self.mono_s, self.wall_s = self.t_s + s, self.mono_s + s, self.wall_s + s

    def run(self, s: float, profile: Profile | None = None) -> Decision:
        d = self.tick([] if profile is None else [start(profile)])
        for _ in range(int(s / 2.0) - 1):
            d = self.tick()
        return d

    def stand_still(self, s: float) -> None:
        """The controller is gone; the oven is not."""
        for _ in range(int(s / 2.0)):
            self.oven.step(2.0, False, False)
        self.pass_s(s)

    def restart(self) -> None:
        state = through_text(self.loop)
        self.loop, self.first = Loop(self.settings), True
        self.loop.resume(state)

    def cut(self, s: float, wall_s: float, known: bool) -> None:
        """A power cut; the board comes up with another time."""
        self.stand_still(s)
        self.mono_s, self.wall_s, self.known, self.boot = 20.0, wall_s, known, f"{s}"
        self.restart()


def test_a_cut_of_ten_minutes_is_told_by_the_oven() -> None:
    """The board comes up with the time it last saved, five minutes before the cut."""
    board = Board(TONIGHT_S, known=False)
    assert board.run(WARM_S, SOAK).phase is Phase.SOAK
    night_s = board.loop.night_s
    board.cut(600.0, TONIGHT_S + WARM_S - 300.0, known=False)
    d = board.run(700.0)
    assert (d.trip, d.phase) == (None, Phase.SOAK)
    (said,) = [m for m in board.events if m.startswith("Resumed")]
    assert "by how far the oven fell (the clock is not set)" in said
    away_s = board.loop.night_s - night_s - 700.0
    assert 300.0 < away_s < 1200.0


def test_three_hours_do_not_pass_for_twenty_seconds() -> None:
    """By the saved time the board was gone for 20 s."""
    board = Board(TONIGHT_S, known=False)
    board.run(WARM_S, SOAK)
    board.cut(3 * 3600.0, TONIGHT_S + WARM_S + 20.0, known=False)
    d = board.tick()
    assert d.trip == "resume-refused"
    assert "by how far the oven fell (the clock is not set), allowed are 30 min" in (
        " ".join(board.events)
    )


def test_the_longer_time_counts_where_a_set_clock_contradicts_the_oven() -> None:
    board = Board(TONIGHT_S, known=True)
    board.run(WARM_S, SOAK)
    board.cut(3 * 3600.0, TONIGHT_S + WARM_S + 20.0, known=True)
    d = board.tick()
    assert d.trip == "resume-refused"
    assert "(the clock says 22 s)" in " ".join(board.events)


@pytest.mark.parametrize(("away_s", "goes_on"), [(600.0, True), (2400.0, False)])
def test_a_set_clock_and_the_oven_agree(away_s: float, goes_on: bool) -> None:
    board = Board(TONIGHT_S, known=True)
    board.run(WARM_S, SOAK)
    board.cut(away_s, board.wall_s + away_s, known=True)
    d = board.tick()
    assert (d.trip is None) is goes_on
    minutes = int(away_s / 60.0)
    assert f"{minutes} min" in " ".join(board.events)
    assert "by how far" not in " ".join(board.events)


def test_the_networks_time_is_waited_for_where_the_oven_cannot_settle_it() -> None:
    """An oven with few thermometers: the interval is wide; the clock is set after a minute."""
    board = Board(TONIGHT_S, known=True)
    board.settings = changed(SETTINGS, timing={"resume_within_min": 15.0})
    board.loop = Loop(board.settings)
    board.run(WARM_S, SOAK)
    true_s = board.wall_s + 600.0
    board.cut(600.0, board.wall_s - 120.0, known=False)
    assert board.run(60.0).why_off == ("resuming", {})
    board.wall_s, board.known = true_s + 60.0, True
    d = board.tick()
    assert (d.trip, d.phase) == (None, Phase.SOAK)
    assert any(m.startswith("Resumed after 11 min") for m in board.events), board.events


@pytest.mark.parametrize(("set_after_s", "goes_on"), [(580.0, True), (None, False)])
def test_a_night_that_only_the_clock_can_save_waits_for_it(
    set_after_s: float | None, goes_on: bool
) -> None:
    """Cut off for half a minute just after its start, the oven as cold as the shed."""
    board = Board(TONIGHT_S, known=True)
    board.run(120.0, SOAK)
    behind_s = 400.0
    board.cut(26.0, board.wall_s + 26.0 - behind_s, known=False)
    if set_after_s is not None:
        assert board.run(set_after_s).why_off == ("resuming", {})
        board.wall_s, board.known = board.wall_s + behind_s, True
        d = board.tick()
        assert any(m.startswith("Resumed after 10 min") for m in board.events), board.events
    else:
        d = board.run(29 * 60.0)
        assert d.why_off == ("resuming", {})
        d = board.run(2 * 60.0)
    assert (d.trip is None) is goes_on


def test_a_controller_that_only_started_again_needs_no_clock() -> None:
    board = Board(YEAR_1970_S, known=False)
    board.run(WARM_S, SOAK)
    board.stand_still(90.0)
    board.wall_s = TONIGHT_S  # set meanwhile
    board.restart()
    d = board.tick()
    assert (d.trip, d.phase) == (None, Phase.SOAK)
    assert any(m.startswith("Resumed after 1 min 32 s;") for m in board.events), board.events


@pytest.mark.parametrize("later_s", [TONIGHT_S, YEAR_1970_S])
def test_a_clock_that_is_set_while_the_heater_is_on_is_an_event(later_s: float) -> None:
    board = Board(YEAR_1970_S if later_s == TONIGHT_S else TONIGHT_S, known=False)
    board.run(3600.0, SOAK)
    board.wall_s, board.known = later_s, True
    board.events.clear()
    d = board.run(600.0)
    assert (d.trip, d.phase) == (None, Phase.SOAK)
    assert [m for m in board.events if "The wall clock moved by" in m]
    assert board.loop.night_s == pytest.approx(4200.0, abs=4.0)


def test_a_night_that_begins_without_a_clock_says_so() -> None:
    board = Board(YEAR_1970_S, known=False)
    board.run(4.0, SOAK)
    assert any("The time of day is not known yet" in m for m in board.events)
    known = Board(TONIGHT_S, known=True)
    known.run(4.0, SOAK)
    assert not any("time of day" in m for m in known.events)
