"""How evenly the oven held a soak: the AMS 2750 furnace class its sensors would meet.

The classes' tolerances are those of SAE AMS 2750 (furnace classes 1 to 6: ±5, 10, 15, 20, 25 and
50 °F, there given as ±3, 6, 8, 10, 14 and 28 °C); from memory. So is the half hour a survey lasts
once the oven is steady. A survey after the standard needs calibrated sensors in set places, nine in
a box above 0.085 m³ (from memory), so that what is said here certifies nothing.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from ..ledger.reader import LedgerReader

#: Furnace class -> how far (K) any sensor may be from the setpoint.
CLASSES: dict[int, float] = {1: 3.0, 2: 6.0, 3: 8.0, 4: 10.0, 5: 14.0, 6: 28.0}
#: A survey lasts so long at least, s.
LEAST_S = 1800.0
LEAST_SENSORS = 2
CAUTION = (
    "Classes after SAE AMS 2750, from memory. This is no certificate: a survey after the standard "
    "needs calibrated sensors in set places, nine in a box of more than 0.085 m³."
)


class SensorStray(NamedTuple):
    """How far a sensor was from the setpoint, K."""

    name: str
    lowest_k: float
    highest_k: float


class Uniformity(NamedTuple):
    """A soak's evenness."""

    segment: int
    """Number in the profile, from 0."""
    setpoint_c: float
    length_s: float
    """What was looked at: the later half of the soak."""
    sensors: tuple[SensorStray, ...]
    furnace_class: int | None
    """None: wider than class 6, or see `why_not`."""
    why_not: str | None
    """Why no class can be told, a sentence."""

    @property
    def furthest_k(self) -> float:
        """The furthest any sensor was from the setpoint, K."""
        return max((max(abs(s.lowest_k), abs(s.highest_k)) for s in self.sensors), default=0.0)

    def as_json(self) -> dict[str, Any]:
        """What `--json` prints."""
        return {
            "segment": self.segment + 1,
            "setpoint_c": self.setpoint_c,
            "length_s": round(self.length_s),
            "furthest_k": round(self.furthest_k, 3),
            "furnace_class": self.furnace_class,
            "why_not": self.why_not,
            "sensors": [
                {"name": s.name, "lowest_k": round(s.lowest_k, 3),
                 "highest_k": round(s.highest_k, 3)}
                for s in self.sensors
            ],
        }  # fmt: skip


def class_of(furthest_k: float) -> int | None:
    """The narrowest class that holds a deviation, K; None past class 6."""
    return next((number for number, most_k in CLASSES.items() if furthest_k <= most_k), None)


def uniformity(
    reader: LedgerReader, night_id: int, profile: dict[str, Any], settings: dict[str, Any]
) -> list[Uniformity]:
    """Every soak of a night whose setpoint was reached, by all sensors of air, parts and moulds."""
    inside = [
        (i, t["name"])
        for i, t in enumerate(settings["thermometers"])
        if t["role"] in ("air", "part", "mould")
    ]
    soaks = {i: float(s["at_c"]) for i, s in enumerate(profile["segments"]) if s["kind"] == "soak"}
    rows: dict[int, list[tuple[float, list[float | None]]]] = {}
    names = ("phase", "segment", "setpoint_c", "wall_s", "believed")
    told = reader.columns(night_id, *names)
    for phase, segment, setpoint_c, wall_s, believed in zip(
        *(told[name] for name in names), strict=True
    ):
        if phase != "soak" or segment not in soaks or setpoint_c is None:
            continue
        if abs(setpoint_c - soaks[segment]) < 0.01:
            rows.setdefault(segment, []).append((wall_s, believed))
    return [_judge(number, soaks[number], inside, seen) for number, seen in rows.items()]


def _judge(
    number: int,
    setpoint_c: float,
    inside: list[tuple[int, str]],
    seen: list[tuple[float, list[float | None]]],
) -> Uniformity:
    middle_s = (seen[0][0] + seen[-1][0]) / 2.0
    later = [believed for wall_s, believed in seen if wall_s >= middle_s]
    length_s = seen[-1][0] - middle_s
    strays = []
    for i, name in inside:
        off = [c - setpoint_c for believed in later if (c := believed[i]) is not None]
        if off:
            strays.append(SensorStray(name, min(off), max(off)))
    why_not = None
    if len(strays) < LEAST_SENSORS:
        why_not = "One sensor in the box tells nothing of how even it is."
    elif length_s < LEAST_S:
        why_not = (
            f"The later half of this soak lasted {length_s / 60:.0f} min; "
            f"{LEAST_S / 60:.0f} min are needed."
        )
    found = Uniformity(number, setpoint_c, length_s, tuple(strays), None, why_not)
    return found if why_not else found._replace(furnace_class=class_of(found.furthest_k))
