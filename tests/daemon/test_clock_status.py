"""What the page is told of the time of day where nobody has set the clock."""

from __future__ import annotations

from nightcure.daemon.status import live_state
from nightcure.loop.loop import Loop
from tests.nights import SETTINGS, start, still


def test_no_hour_is_told_while_the_clock_is_not_set() -> None:
    loop = Loop(SETTINGS)
    for t_s, known in ((0.0, False), (2.0, True)):
        inputs = still(t_s, *([start()] if t_s == 0.0 else []))._replace(wall_known=known)
        live = live_state(SETTINGS, loop, inputs, loop.tick(inputs), 1.0)
        assert live["clock_set"] is known
        assert (live["ends_s"] is not None) is known
        assert live["left_s"] > 0.0
