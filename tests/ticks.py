"""Ticks of every kind, for tests that throw anything at the loop."""

from __future__ import annotations

from hypothesis import strategies as st

from nightcure.loop.commands import ALL_CONFIRMED
from nightcure.tick import Fault
from tests.nights import (
    SHORT,
    start,
    word,
)

values = st.one_of(st.none(), st.floats(allow_nan=True, allow_infinity=True), st.floats(-50, 130))


one_reading = st.tuples(values, st.floats(-30, 1), st.one_of(st.none(), st.sampled_from(Fault)))


commands = st.sampled_from(
    [
        None,
        None,
        None,
        start(),
        start(SHORT),
        word("stop"),
        word("reset"),
        word("acknowledge"),
        word("acknowledge", alarm=7),
        word("start"),
        word("start", profile={"name": 3}, **ALL_CONFIRMED),
        word("dance"),
        word("skip"),
        word("extend", minutes=20),
        word("extend", minutes=float("nan")),
        word("extend", minutes=-(10**400)),
        word("setpoint", celsius=31.5),
        word("setpoint", celsius="hot"),
        word("offset", sensor_id="28-0000000000a1", method="ice-point"),
        word("offset", sensor_id="28-0000000000b1", method="typed", offset_c=-0.3),
        word("offset", sensor_id=[{}], method=float("inf")),
        word("start", profile=SHORT.model_dump(mode="json"), limit_device_confirmed=False),
    ]
)


one_tick = st.tuples(
    st.floats(-5, 40),
    st.floats(-4000, 4000),
    st.lists(one_reading, min_size=4, max_size=4),
    commands,
    st.floats(0, 100),
    st.booleans(),
)
