"""The level before a pulse: waits until no thermometer still comes from a hand or a warm shelf."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence
from statistics import fmean

#: The level is the mean of the last few looks. A thermometer still moves where the means of a few
#: differ by more than two of the sensor's steps (0.0625 K, manufacturer's data sheet) over all the
#: looks kept; a pulse would be mistaken for it.
FEW, SETTLED_K = 5, 0.125


class Level:
    """What the thermometers show at rest.

    Args:
        names: of the thermometers, in order.
        looks: how many, in a row, decide; at least `FEW`.
    """

    def __init__(self, names: Sequence[str], looks: int) -> None:
        self._names = names
        self._looks: deque[tuple[float, ...]] = deque(maxlen=max(looks, FEW))

    def look(self, believed_c: Iterable[float | None]) -> None:
        """One more look (°C); one in which anything was not believed does not count."""
        seen_c = tuple(c for c in believed_c if c is not None)
        if len(seen_c) == len(self._names):
            self._looks.append(seen_c)

    @property
    def begun(self) -> bool:
        """Whether everything was believed once."""
        return bool(self._looks)

    @property
    def level_c(self) -> tuple[float, ...]:
        """The mean of the last few looks, °C, of each thermometer."""
        return _means(list(self._looks)[-FEW:])

    def waits_for(self) -> str | None:
        """Why this is no level yet, in words; None once everything has settled."""
        looks = list(self._looks)
        if len(looks) < (self._looks.maxlen or FEW):
            return "looking at the level before"
        means_c = [_means(looks[i : i + FEW]) for i in range(0, len(looks), FEW)]
        moved_k = [max(of) - min(of) for of in zip(*means_c, strict=True)]
        most = max(range(len(moved_k)), key=moved_k.__getitem__)
        if moved_k[most] <= SETTLED_K:
            return None
        rises = means_c[-1][most] > means_c[0][most]
        return f"{self._names[most]} still {'rises' if rises else 'falls'}"


def _means(looks: Iterable[tuple[float, ...]]) -> tuple[float, ...]:
    return tuple(fmean(column) for column in zip(*looks, strict=True))
