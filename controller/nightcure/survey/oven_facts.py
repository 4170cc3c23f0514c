"""What a person wants to know of an oven: what it loses, holds, and how fast it warms."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from ..oven.response import modes
from ..oven.thermal import Network


@dataclass(frozen=True)
class Facts:
    """An oven in numbers, at an ambient and a temperature to hold."""

    power_w: float
    loss_w_per_k: float
    panel_loss_w_per_k: float
    leak_w_per_k: float
    heat_capacity_j_per_k: float
    heater_capacity_j_per_k: float
    air_capacity_j_per_k: float
    wall_capacity_j_per_k: float
    mould_capacity_j_per_k: float
    warmed_j_per_k: float
    """What of it a steady ramp has to feed, see `Network.warmed_j_per_k`."""
    time_constants_s: tuple[float, ...]
    """Slowest first."""
    highest_c: float
    """Held at full power; a hot oven may reach it with a welded relay."""
    fastest_ramp_c_per_h: float
    """On arriving at the temperature to hold, `warmed_j_per_k` rising at one rate."""
    hold_w: float
    """To hold it; more than `power_w` if it cannot be held."""

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            key: [round(x, 1) for x in value] if isinstance(value, tuple) else round(value, 4)
            for key, value in asdict(self).items()
        }


def facts(network: Network, ambient_c: float, hold_c: float) -> Facts:
    """The facts of an oven.

    Args:
        ambient_c: the shed tonight.
        hold_c: the temperature to hold.
    """
    loss = network.loss_w_per_k
    walls = network.wall_capacity_j_per_k + sum(x.capacity_j_per_k for x in network.layers)
    moulds = sum(m.capacity_j_per_k for m in network.moulds)
    whole = sum(network.capacities)
    hold_w = loss * (hold_c - ambient_c)
    return Facts(
        power_w=network.power_w,
        loss_w_per_k=loss,
        panel_loss_w_per_k=loss - network.leak_w_per_k,
        leak_w_per_k=network.leak_w_per_k,
        heat_capacity_j_per_k=whole,
        heater_capacity_j_per_k=network.heater_capacity_j_per_k,
        air_capacity_j_per_k=network.air_capacity_j_per_k,
        wall_capacity_j_per_k=walls,
        mould_capacity_j_per_k=moulds,
        warmed_j_per_k=network.warmed_j_per_k,
        time_constants_s=tuple(float(1.0 / r) for r in modes(network).rates_per_s[:3]),
        highest_c=ambient_c + network.power_w / loss,
        fastest_ramp_c_per_h=3600.0 * (network.power_w - hold_w) / network.warmed_j_per_k,
        hold_w=hold_w,
    )
