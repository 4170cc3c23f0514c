"""The same night on ovens that are not what the settings believe; README's table of it.

python -m tests.loop.mistuned
"""

from __future__ import annotations

from dataclasses import replace

from nightcure.oven.thermal import Network
from nightcure.settings import Settings, load_settings
from nightcure.simulate.rehearse import Figures, rehearse
from nightcure.simulate.scenario import BOX, HERE, ambient_c
from tests.nights import PROFILE, SETTINGS


def bang_bang(settings: Settings) -> Settings:
    """The same oven under bang-bang with its hysteresis band."""
    regulator = settings.regulator.model_copy(update={"kind": "bang-bang"})
    return settings.model_copy(update={"regulator": regulator})


def with_contactor(settings: Settings) -> Settings:
    """The same oven switched by a mechanical contactor: the shipped contactor oven's timing."""
    other = load_settings(HERE / "oven-contactor.toml")
    heater = other.heater.model_copy(update={"power_w": settings.heater.power_w})
    return settings.model_copy(update={"heater": heater, "regulator": other.regulator})


STRONG = SETTINGS.model_copy(
    update={"heater": SETTINGS.heater.model_copy(update={"power_w": 2000.0})}
)
#: What the settings believe, and what the oven is.
OVENS: dict[str, tuple[Settings, Network]] = {
    "as believed": (SETTINGS, BOX),
    "half the mould": (SETTINGS, BOX.with_mould_times(0.5)),
    "twice the mould": (SETTINGS, BOX.with_mould_times(2.0)),
    "loss +50 %": (SETTINGS, BOX.with_loss_times(1.5)),
    "mains 10 % low": (SETTINGS, replace(BOX, power_w=BOX.power_w * 0.81)),
    "2 kW, declared": (STRONG, replace(BOX, power_w=2000.0)),
    "600 W, undeclared": (SETTINGS, replace(BOX, power_w=600.0)),
    "contactor": (with_contactor(SETTINGS), BOX),
}


def regulated(oven: str) -> Figures:
    """The night by the oven's own regulator."""
    settings, network = OVENS[oven]
    return rehearse(settings, PROFILE, network, ambient_c).figures


def switched(oven: str) -> Figures:
    """The night by bang-bang; beside the contactor it is that of the solid-state relay, the
    reference for its number of switchings."""
    settings, network = OVENS[oven]
    plain = SETTINGS if oven == "contactor" else settings
    return rehearse(bang_bang(plain), PROFILE, network, ambient_c).figures


def main() -> None:
    """Print the table, both regulators."""
    for oven in OVENS:
        for by, f in (("own", regulated(oven)), ("bang-bang", switched(oven))):
            print(
                f"{oven:18} {by:10} {f.outcome:8} {f.overshoot_c or 0:+6.2f} "
                f"{f.soak_min_error_c or 0:+6.2f} {f.soak_max_error_c or 0:+6.2f} "
                f"{f.mean_abs_error_c or 0:6.3f} {f.relay_switches:5}"
            )


if __name__ == "__main__":
    main()
