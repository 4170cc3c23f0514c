"""The page's server overrun by strangers who have no login: Stop is answered all the same."""

from __future__ import annotations

import statistics
from pathlib import Path

import pytest

from tests.door_campaign import A_SECOND, HALF_SENT, PROMISE_S, STREAMS, a_whole_night, trial
from tests.workshop import Workshop


@pytest.mark.timeout(240)
def test_stop_is_answered_while_the_page_is_overrun(tmp_path: Path) -> None:
    """Fails before this: no file could be opened any more, and Stop was not reached at all.

    `python -m tests.door_campaign` is the same for as long as one likes.
    """
    with Workshop(tmp_path) as workshop:
        a_whole_night(workshop)
        workshop.controller()
        seen = trial(workshop, 12.0, (HALF_SENT, STREAMS, A_SECOND))
    assert seen.failed == []
    assert len(seen.stops_s) >= 4
    # The promise is judged by the campaign: here other tests may have the processors.
    assert statistics.median(seen.stops_s) <= PROMISE_S
    assert max(handles for _, _, handles, _ in seen.levels) < 600
    assert seen.log_bytes < 5_000
