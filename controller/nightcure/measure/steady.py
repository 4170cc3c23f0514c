"""What each thermometer has steadily shown, without its offset: what a check of it compares."""

from __future__ import annotations

from collections import deque
from statistics import fmean

from ..tick import Fault, Reading

#: A check takes the mean of so many believed readings in a row ...
READINGS = 10
#: ... no two of them further apart, K: four steps of a DS18B20 (data sheet: 0.0625 °C each).
SPREAD_K = 0.25


class Steady:
    """The last believed readings of every thermometer."""

    def __init__(self, thermometers: int) -> None:
        self._shown: list[deque[float]] = [deque(maxlen=READINGS) for _ in range(thermometers)]
        self._taken_s: list[float | None] = [None] * thermometers

    def note(self, readings: tuple[Reading, ...], faults: tuple[Fault | None, ...]) -> None:
        """A tick's readings and what screening made of them; a doubtful one begins anew."""
        for i, (reading, fault) in enumerate(zip(readings, faults, strict=True)):
            if fault is not None or reading.value_c is None:
                self._shown[i].clear()
            elif reading.taken_s != self._taken_s[i]:
                self._shown[i].append(reading.value_c)
                self._taken_s[i] = reading.taken_s

    def shown_c(self, index: int) -> float | None:
        """The mean of the last readings, °C; None while they are too few or move."""
        shown = self._shown[index]
        if len(shown) < READINGS or max(shown) - min(shown) > SPREAD_K:
            return None
        return fmean(shown)

    def snapshot(self) -> list[list[float | list[float] | None]]:
        """All state, JSON-ready."""
        return [[t, list(s)] for t, s in zip(self._taken_s, self._shown, strict=True)]

    def restore(self, state: list[list[float | list[float] | None]]) -> None:
        """Go on from a snapshot."""
        for i, (taken_s, shown) in enumerate(state):
            assert not isinstance(taken_s, list)
            assert isinstance(shown, list)
            self._taken_s[i] = taken_s
            self._shown[i] = deque(shown, maxlen=READINGS)
