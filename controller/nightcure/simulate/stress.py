"""The same night on ovens that are not what the settings believe, bang-bang beside each."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from ..oven.thermal import Network
from ..profile import Profile
from ..settings import Settings, load_settings
from .rehearse import Figures, rehearse
from .scenario import HERE


@dataclass
class Row:
    """One night of the table."""

    oven: str
    regulator: str
    figures: Figures

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        return {"oven": self.oven, "regulator": self.regulator, **self.figures.as_json()}


def bang_bang(settings: Settings) -> Settings:
    """The same oven under bang-bang with its hysteresis band."""
    regulator = settings.regulator.model_copy(update={"kind": "bang-bang"})
    return settings.model_copy(update={"regulator": regulator})


def with_contactor(settings: Settings) -> Settings:
    """The same oven switched by a mechanical contactor: the shipped contactor oven's timing."""
    other = load_settings(HERE / "oven-contactor.toml")
    heater = other.heater.model_copy(update={"power_w": settings.heater.power_w})
    return settings.model_copy(update={"heater": heater, "regulator": other.regulator})


def stressed(settings: Settings, network: Network) -> list[tuple[str, Settings, Network]]:
    """Name, what the settings believe, and what the oven is."""
    strong = settings.heater.model_copy(update={"power_w": 2000.0})
    return [
        ("as believed", settings, network),
        ("half the mould", settings, network.with_mould_times(0.5)),
        ("twice the mould", settings, network.with_mould_times(2.0)),
        ("loss +50 %", settings, network.with_loss_times(1.5)),
        ("mains 10 % low", settings, replace(network, power_w=network.power_w * 0.81)),
        (
            "2 kW, declared",
            settings.model_copy(update={"heater": strong}),
            replace(network, power_w=2000.0),
        ),
        ("600 W, undeclared", settings, replace(network, power_w=600.0)),
        ("contactor", with_contactor(settings), network),
    ]


def run_stress(
    settings: Settings,
    profile: Profile,
    network: Network,
    ambient_c: Callable[[float], float],
    seed: int = 0,
) -> list[Row]:
    """Every stressed oven under its own regulator and under bang-bang.

    Bang-bang beside the contactor is the same oven with bang-bang on the solid-state relay's
    timing, the reference for its number of switchings.
    """
    rows: list[Row] = []
    for name, believed, real in stressed(settings, network):
        kind = believed.regulator.kind
        rows.append(Row(name, kind, rehearse(believed, profile, real, ambient_c, (), seed).figures))
        other = settings if name == "contactor" else believed
        figures = rehearse(bang_bang(other), profile, real, ambient_c, (), seed).figures
        rows.append(Row(name, "bang-bang", figures))
    return rows
