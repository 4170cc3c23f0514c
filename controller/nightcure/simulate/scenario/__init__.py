"""The shipped scenario: a kayak's hatch lid and rim, in a boat shed on a cold estuary."""

from __future__ import annotations

import math
from pathlib import Path

from ...oven.thermal import Mould, Network
from ...profile import Profile, load_profile
from ...settings import Settings, load_settings

HERE = Path(__file__).parent
OVEN_FILE = HERE / "oven.toml"
PROFILES = HERE / "profiles"
PROFILE_FILE = PROFILES / "lid-and-rim.toml"
#: The same with the parts on their resin cards.
PARTS_FILE = PROFILES / "until-demould.toml"
#: The same, gelled and aired before the box is shut.
GELLED_FILE = PROFILES / "gelled-outside.toml"

#: The knock-down box of the scenario: 1.2 x 0.6 x 0.6 m inside, 25 mm foil-faced PIR board.
#: Panels: U = 1/(0.13 + 0.025/0.024 + 0.13) = 0.769 W/(m2 K) (ISO 6946 surface resistances, a box
#: standing in a room) over 3.60 m2; films of 7.7 W/(m2 K) inside; gaps and tape are invented.
BOX = Network(
    power_w=300.0,
    heater_capacity_j_per_k=700.0,
    heater_air_w_per_k=3.0,
    air_capacity_j_per_k=1500.0,
    wall_capacity_j_per_k=3200.0,
    air_wall_w_per_k=28.0,
    wall_ambient_w_per_k=3.07,
    leak_w_per_k=1.1,
    moulds=(
        Mould("lid", capacity_j_per_k=13200.0, air_w_per_k=9.0),
        Mould("rim", capacity_j_per_k=8800.0, air_w_per_k=7.0),
    ),
)


def scenario() -> tuple[Settings, Profile]:
    """Settings and profile of the scenario."""
    return load_settings(OVEN_FILE), load_profile(PROFILE_FILE)


def ambient_c(t_s: float) -> float:
    """The shed's temperature (°C) `t_s` after 20:00: from 9 °C to 2 °C towards six o'clock."""
    return 5.5 + 3.5 * math.cos(math.pi * min(t_s, 64800.0) / 36000.0)
