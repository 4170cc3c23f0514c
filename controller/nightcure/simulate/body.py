"""What the virtual oven needs of a thermal model, whatever its structure."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from typing import ClassVar, NamedTuple

from ..oven.thermal import Array
from ..settings import Role


class Held(NamedTuple):
    """What acts on an oven, held over a step."""

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
    _parts: list[int]
    """The nodes in which parts may lie."""

    @abstractmethod
    def place(self, role: Role, number: int) -> int:
        """Where the probe of a role sits in `points_c`; `number` counts those of its kind."""

    @abstractmethod
    def points_c(self) -> list[float]:
        """What a perfect thermometer would show at every place, °C."""

    @abstractmethod
    def step(self, dt_s: float, held: Held) -> None:
        """Let `dt_s` pass."""

    @property
    @abstractmethod
    def air_c(self) -> float:
        """The hottest air, °C."""

    @property
    def moulds_c(self) -> list[float]:
        """Temperature of every place in which a part may lie, °C."""
        moulds_c: list[float] = self.state_c[self._parts].tolist()
        return moulds_c

    @property
    def heater_c(self) -> float:
        """The heater's body, °C."""
        return float(self.state_c[0])
