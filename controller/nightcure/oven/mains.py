"""Plug, fuse, cable, contactor, relay and heat sink for a heater: the table in hardware-notes.

It helps to choose parts and to understand what an electrician chooses; local codes prevail. For a
heater that is on for hours, nothing is used at its limit.
"""

from __future__ import annotations

from typing import NamedTuple

#: A fuse stands so much above the current that flows for hours (NEC 210.20(A) and 422.10: 125 %).
FUSE_OVER = 1.25
#: Fuses sold, A: IEC 60269 cylindrical, and NEC 240.6(A) with the small ones of the same article
#: (both from memory). BS 1362, for the British plug: 3, 5, 13.
FUSES_A = (2.0, 4.0, 6.0, 8.0, 10.0, 12.0, 16.0, 20.0, 25.0, 32.0, 40.0, 50.0, 63.0, 80.0)
AMERICAN_FUSES_A = (3.0, 6.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 60.0, 70.0)
BRITISH_FUSES_A = (3.0, 5.0, 13.0)
#: What a plug bears for hours, A. 120 V: 80 % of a 15 A circuit (NEC 210.23). 230 V: 8 to 10 A are
#: what makers of chargers for cars allow an earthed household plug for a night; 13 or 16 A is its
#: rating for an hour or two.
PLUG_HOURS_A, AMERICAN_PLUG_HOURS_A = 10.0, 12.0
#: Flexible cable with three cores, mm2 -> A: the ratings for portable appliances (BS 7671 table
#: 4F3A and makers' tables, the lower where they differ; from 4 mm2 on from memory). 1.5 mm2 is the
#: least here, for its strength.
CABLES_MM2 = ((1.5, 15.0), (2.5, 20.0), (4.0, 25.0), (6.0, 34.0), (10.0, 47.0))
#: Flexible cord with two current-carrying conductors, AWG -> A (NEC table 400.5(A)(1); 10 and 8
#: from memory).
CABLES_AWG = ((16.0, 13.0), (14.0, 18.0), (12.0, 25.0), (10.0, 30.0), (8.0, 40.0))
#: Contactors sold, AC-1, A; solid-state relays sold, A (common practice, no source).
CONTACTORS_A = (16.0, 20.0, 25.0, 32.0, 40.0, 50.0, 65.0, 80.0, 95.0, 115.0)
RELAYS_A = (10.0, 25.0, 40.0, 50.0, 75.0, 100.0, 125.0)
#: Over the current: a contactor (common practice, no source), a solid-state relay (its rating is
#: for a sink that few people fit).
CONTACTOR_OVER, RELAY_OVER = 1.5, 2.5
#: A solid-state relay's heat, W for each A (makers say 1 to 1.5); its base plate is kept under
#: 80 °C in an enclosure at 40 °C; grease between it and the sink takes 0.2 K/W (makers' pages).
RELAY_W_PER_A, BASE_C, ENCLOSURE_C, GREASE_K_PER_W = 1.5, 80.0, 40.0, 0.2
#: Below this heat the enclosure's metal plate is sink enough, W.
PLATE_W = 5.0


class Circuit(NamedTuple):
    """The parts between a heater and its mains."""

    power_w: float
    voltage_v: float
    current_a: float
    on_a_plug: bool
    """Whether a household plug bears it for hours."""
    fuse_a: float
    """Ceramic with high breaking capacity, or a circuit breaker; in both poles on a plug."""
    cable: str
    """Three cores, flexible, silicone where it is in the box."""
    contactor_a: float
    relay_a: float
    relay_w: float
    """Heat of a solid-state relay at full power."""
    sink_k_per_w: float | None
    """Thermal resistance of its heat sink at the most; None where the metal plate will do."""


def circuit(power_w: float, voltage_v: float = 230.0, american: bool | None = None) -> Circuit:
    """What a heater asks for.

    Args:
        power_w: of the heater, above 0.
        voltage_v: of the mains.
        american: North American sizes; where it is None, at less than 200 V.
    """
    if american is None:
        american = voltage_v < 200.0
    current_a = power_w / voltage_v
    fuse_a = next_of(FUSE_OVER * current_a, AMERICAN_FUSES_A if american else FUSES_A)
    size = next(
        (s for s, bears_a in (CABLES_AWG if american else CABLES_MM2) if bears_a >= fuse_a), None
    )
    cable = f"{size:g} AWG" if american and size else f"{size:g} mm²" if size else "ask"
    heat_w = RELAY_W_PER_A * current_a
    sink = (BASE_C - ENCLOSURE_C) / heat_w - GREASE_K_PER_W
    return Circuit(
        power_w,
        voltage_v,
        current_a,
        current_a <= (AMERICAN_PLUG_HOURS_A if american else PLUG_HOURS_A) + 1e-9,
        fuse_a,
        cable,
        next_of(CONTACTOR_OVER * current_a, CONTACTORS_A),
        next_of(RELAY_OVER * current_a, RELAYS_A),
        heat_w,
        None if heat_w < PLATE_W else sink,
    )


def next_of(least: float, sold: tuple[float, ...]) -> float:
    """The next size that is sold; what was asked for where none is."""
    return next((x for x in sold if x >= least - 1e-9), least)


def british_plug_fuse_a(current_a: float) -> float:
    """The fuse in a British plug, A (BS 1362)."""
    return next_of(FUSE_OVER * current_a, BRITISH_FUSES_A)


#: The table's heaters, W.
TABLE_W = (150.0, 195.0, 300.0, 500.0, 750.0, 1000.0, 1440.0, 1500.0, 2000.0, 2300.0, 3000.0)
HEAD = (
    "| heater | current | on a plug | fuse, breaker | cable | contactor | solid-state relay "
    "| its heat | heat sink |\n| --- | --- | --- | --- | --- | --- | --- | --- | --- |"
)


def table(voltage_v: float, american: bool | None = None) -> str:
    """The heaters of `TABLE_W` at one voltage, as a Markdown table."""
    rows = [HEAD]
    for power_w in TABLE_W:
        c = circuit(power_w, voltage_v, american)
        sink = "metal plate" if c.sink_k_per_w is None else f"{c.sink_k_per_w:.1f} K/W"
        rows.append(
            f"| {power_w:.0f} W | {c.current_a:.1f} A | {'yes' if c.on_a_plug else '**no**'} "
            f"| {c.fuse_a:g} A | {c.cable} | {c.contactor_a:g} A | {c.relay_a:g} A "
            f"| {c.relay_w:.0f} W | {sink} |"
        )
    return "\n".join(rows)
