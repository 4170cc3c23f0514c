"""Which thermometer is in the hand."""

from __future__ import annotations

import pytest

from nightcure.errors import BadInput
from nightcure.setup.which_thermometer import FIRST_ROUNDS, Rise, Watcher, parse_sensor
from nightcure.tick import Fault, Reading


def rounds(watcher: Watcher, *values: tuple[float | None, ...]) -> list[Rise | None]:
    """What the watcher says to each round of values; None is a garbled reading."""
    return [
        watcher.look(tuple(Reading(c, 0.0, Fault.CRC if c is None else None) for c in row))
        for row in values
    ]


def settled(count: int, at_c: float = 12.0) -> Watcher:
    watcher = Watcher(count)
    said = rounds(watcher, *[(at_c,) * count] * FIRST_ROUNDS)
    assert said == [None] * FIRST_ROUNDS
    return watcher


def test_the_one_that_rises_is_named_once_it_is_plain() -> None:
    watcher = settled(3)
    said = rounds(watcher, (12, 13.0, 12), (12, 14.0, 12), (12, 14.5, 12.1))
    assert said == [None, None, Rise(1, 2.5)]


def test_one_jump_is_not_a_hand() -> None:
    watcher = settled(2)
    assert rounds(watcher, (12, 20), (12, 12), (12, 20), (12, 12)) == [None] * 4


def test_two_that_rise_together_are_not_told_apart() -> None:
    watcher = settled(3)
    said = rounds(watcher, *[(12, 14 + i, 13.5 + i) for i in range(6)])
    assert said == [None] * 6, "a heater or the sun warms both"
    assert rounds(watcher, (12, 22, 18), (12, 23, 18))[-1] == Rise(1, 11.0)


def test_a_single_one_needs_no_other() -> None:
    assert rounds(settled(1), (14,), (15,))[-1] == Rise(0, 3.0)


def test_garbled_and_cooling_ones_are_no_rise() -> None:
    watcher = settled(3)
    said = rounds(watcher, (None, 11, 12), (None, 9, 14), (12, 8, 15))
    assert said == [None, None, Rise(2, 3.0)]
    silent = Watcher(2)
    assert rounds(silent, *[(None, None)] * 5) == [None] * 5
    assert silent.rises_k == [None, None]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("28-0000000000a1", "as 28-0000000000a1=air:Air"),
        ("28-0000000000a1=hot:Air", "role is 'hot'"),
        ("a1=air:Air", "id is 'a1'"),
        ("28-0000000000a1=air:" + "x" * 41, "41 characters"),
        ("28-0000000000a1=air:\x1b[2J", "printed"),
        ("", "as 28-0000000000a1=air:Air"),
        ("=air:Air", "id is ''"),
    ],
)
def test_a_sensor_typed_wrong(text: str, words: str) -> None:
    with pytest.raises(BadInput, match="--sensor") as caught:
        parse_sensor(text)
    assert words in str(caught.value)


def test_a_sensor_typed_right() -> None:
    t = parse_sensor("28-0000000000A1=part:Lid: upper")
    assert (t.id, t.role.value, t.name) == ("28-0000000000a1", "part", "Lid: upper")
    assert parse_sensor("28-0000000000a1=air").name == "air"
