"""What the virtual oven needs of a thermal model, whatever its structure."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from typing import ClassVar, NamedTuple

from ..oven.thermal import Array
from ..settings import Role


class Held(NamedTuple):
    """What acts on an oven, constant over a step."""

    heater_w: float
    ambient_c: float
    moulds_w: Sequence[float] = ()
    """Heat of what lies in each place of `moulds_c`; none if empty."""
    door_w_per_k: float = 0.0
    """What an open lid adds to the leak."""
    fan_on: bool = True


class Body(ABC):
    """A thermal model stepped in time; `state_c` are its nodes, °C, the heater first."""

    nodes_per_mould: ClassVar[int]
    """How many of `moulds_c` belong to one mould."""
    power_w: float
    state_c: Array
    air: slice
    """The nodes that are air."""
    parts: list[int]
    """The nodes in which parts may lie."""

    @abstractmethod
    def place(self, role: Role, number: int) -> int:
        """Where the probe of a role sits in `points_c`; `number` counts those of its kind."""

    @abstractmethod
    def points_c(self) -> list[float]:
        """What a perfect thermometer would show at every place, °C: the nodes come first."""

    @abstractmethod
    def step(self, dt_s: float, held: Held) -> None:
        """Let `dt_s` pass."""
