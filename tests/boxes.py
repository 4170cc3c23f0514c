"""Gains from a survey, used unchanged: five boxes from 0.05 to 2 m3, heaters from 60 W to 2 kW.

Each box is described by its sizes, tested by a heat-and-cool log of its virtual oven (DS18B20
quantisation and noise), surveyed, tuned, and rehearsed through the real loop.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from nightcure.oven.description import Description
from nightcure.oven.thermal import Network
from nightcure.profile import parse_profile
from nightcure.simulate.rehearse import Figures, rehearse
from nightcure.simulate.virtual import Probe, VirtualOven
from nightcure.simulate.zoned import ZonedOven
from nightcure.survey.identified import Survey
from nightcure.survey.log import Log
from nightcure.survey.survey import survey
from nightcure.survey.tuning import Tuned, tune
from tests.nights import SETTINGS, changed

OVERSHOOT_C, SOAK_C = 0.5, 0.3
#: Name: inside (m), board (mm), gaps (m), heater (W, kg), moulds (kg, m2 each).
BOXES = {
    "0.05 m3, 60 W": ((0.5, 0.4, 0.25), 30, 2.0, (60.0, 0.4), ((1.5, 0.18),)),
    "0.15 m3, 150 W": ((0.8, 0.5, 0.38), 25, 4.0, (150.0, 0.8), ((3.0, 0.3), (2.0, 0.25))),
    "0.43 m3, 300 W": ((1.2, 0.6, 0.6), 25, 9.6, (300.0, 1.5), ((9.0, 0.75), (6.0, 0.58))),
    "1.0 m3, 800 W": ((2.0, 0.8, 0.65), 30, 14.0, (800.0, 4.0), ((25.0, 1.8), (12.0, 1.0))),
    "2.0 m3, 2 kW": ((2.5, 1.0, 0.8), 40, 20.0, (2000.0, 9.0), ((60.0, 3.5), (40.0, 2.6))),
}  # fmt: skip


def described(name: str) -> Description:
    """One of the boxes."""
    inside, board_mm, gaps_m, (power_w, heater_kg), moulds = BOXES[name]
    return Description.model_validate(
        {
            "name": name,
            "inside_m": inside,
            "boards": [{"thickness_m": board_mm / 1000.0}],
            "gaps": {"length_m": gaps_m, "width_mm": 0.5},
            "heater": {"power_w": power_w, "mass_kg": heater_kg},
            "shelf_kg": 4.0 * inside[0] * inside[1] * inside[2],
            "moulds": [
                {"name": f"mould {i}", "mass_kg": kg, "area_m2": m2}
                for i, (kg, m2) in enumerate(moulds)
            ],
        }
    )


#: What a survey reads: the air, and the shed.
SURVEYED = (SETTINGS.thermometers[0], SETTINGS.thermometers[-1])


def heat_and_cool(
    network: Network | ZonedOven,
    seed: int = 0,
    every_s: float = 20.0,
    probes: Sequence[Probe] | None = None,
) -> Log:
    """A log of the virtual oven: full power until 50 °C or four hours, then twice as long off.

    `probes`: of the air and of the shed.
    """
    thermometers = SETTINGS.thermometers if probes is None else SURVEYED
    oven = VirtualOven(
        network, thermometers, lambda t_s: 8.0 - t_s / 14400.0, seed, probes=probes
    )  # fmt: skip
    rows: list[tuple[float, float, float, float]] = []
    heat_s: float | None = None
    while heat_s is None or oven.t_s < 3.0 * heat_s:
        said = oven.sense()
        air, shed = said[0].value_c or 0.0, said[-1].value_c or 0.0
        if heat_s is None and (air >= 50.0 or oven.t_s >= 14400.0):
            heat_s = max(oven.t_s, 2400.0)
        heating = heat_s is None and air < 50.0
        rows.append((oven.t_s, air, float(heating), shed))
        for _ in range(round(every_s / 2.0)):
            oven.step(2.0, heating)
    t, air_c, heat, shed_c = (np.array(c) for c in zip(*rows, strict=True))
    return Log(t, air_c, t, heat, None, shed_c, network.power_w)


@dataclass(frozen=True)
class Row:
    """One box of the table."""

    name: str
    true_loss: float
    found: Survey
    tuned: Tuned
    figures: Figures
    took_s: float

    @property
    def fine(self) -> bool:
        """Overshoot and soak as asked."""
        f = self.figures
        return (
            f.outcome == "done"
            and f.overshoot_c is not None
            and f.overshoot_c <= OVERSHOOT_C
            and f.soak_min_error_c is not None
            and f.soak_max_error_c is not None
            and f.soak_min_error_c >= -SOAK_C
            and f.soak_max_error_c <= SOAK_C
        )


def rehearsed(name: str, seed: int = 0) -> Row:
    """Survey a box and rehearse it with what the survey gave, nothing changed."""
    began_s = time.perf_counter()
    network = described(name).network()
    found = survey(heat_and_cool(network, seed))
    tuned = tune(found.network(), SETTINGS.heater.window_s)
    settings = changed(
        SETTINGS,
        heater={"power_w": network.power_w},
        model=found.model(),
        regulator=tuned.regulator(),
    )
    spare_w = network.power_w - network.loss_w_per_k * (40.0 - 2.0)
    fastest = 3600.0 * spare_w / sum(network.capacities)
    profile = parse_profile(
        {
            "name": name,
            "lag_c": 5.0,
            "band_c": 2.0,
            "segments": [
                {"kind": "ramp", "to_c": 40.0, "rate_c_per_h": min(15.0, round(0.7 * fastest, 1))},
                {"kind": "soak", "at_c": 40.0, "hours": 4.0},
            ],
        }
    )
    result = rehearse(settings, profile, network, lambda t_s: 8.0 - t_s / 7200.0, (), seed + 1)
    took_s = time.perf_counter() - began_s
    return Row(name, network.loss_w_per_k, found, tuned, result.figures, took_s)


def tell_boxes() -> bool:
    """The table; whether every box is fine."""
    print("gains from a survey, rehearsed on the oven that made the log, nothing changed")
    print("box              UA true  surveyed (95 %)      gain  integral derivative    Ms "
          "overshoot   soak error")  # fmt: skip
    fine = True
    for name in BOXES:
        r = rehearsed(name)
        loss, f, g = r.found.loss_w_per_k, r.figures, r.tuned.regulator()
        assert loss is not None
        soak = f"{f.soak_min_error_c or 0:+.2f} {f.soak_max_error_c or 0:+.2f}"
        print(
            f"{name:16} {r.true_loss:7.3f} {loss.value:7.3f} {loss.low:6.3f}-{loss.high:6.3f} "
            f"{g['gain_w_per_k']:7} {g['integral_s']:8} {g['derivative_s']:8}   "
            f"{r.tuned.margins.ms:5.2f} {f.overshoot_c or 0:+7.2f} K {soak} K "
            f"{'' if r.fine else '<- not as asked'} {f.trip or ''}"
        )
        fine &= r.fine
    return fine
