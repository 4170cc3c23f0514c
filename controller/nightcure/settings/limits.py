"""Past what the oven trips, what the box and its place are, and what its electricity costs.

Limits come from what the parts of an oven stand; they can be raised only with an explicit
acknowledgement, and never past the wall. What an earlier version let through and this one does not
leaves the oven idle: `Limits.no_heat` says why.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from .section import Section

#: Foam board and mould surfaces are kept below this; a peroxide's self-accelerating decomposition
#: starts about here (from memory, and a panel maker's long-term limit of 70-80 °C).
ACKNOWLEDGE_ABOVE_C = 60.0
#: The wall nobody passes: no foam board is kept hotter for long.
WALL_C = 80.0
#: The cut-out is set to this at the most: a panel maker's long-term limit for rigid foam board is
#: 70-80 °C, and the board at the heater is hotter than the air.
MOST_CUT_OUT_C = 70.0
#: Between the hottest soak and the air's limit, and between that and the cut-out, K: as much as a
#: cut-out may be off by.
MARGIN_K = 5.0
#: The heater's limit: its thermometer ends at 125 °C (DS18B20 data sheet), so a higher one could
#: not be seen to be passed.
MOST_HEATER_C = 110.0
#: Above this not even an earlier version's file is read.
HEATER_WALL_C = 300.0


class Limits(Section):
    """Past any of these the oven trips: heater off until a person resets it.

    One rule ties them to the cut-out: hottest soak + 5 <= air_c <= cut_out_c - 5 (`MARGIN_K`).
    Parts keep their own limit, 1 K above the hottest soak.
    """

    air_c: Annotated[float, Field(ge=20, le=WALL_C)] = 60.0
    part_c: Annotated[float, Field(ge=20, le=WALL_C)] = 60.0
    heater_c: Annotated[float, Field(ge=40, le=HEATER_WALL_C)] = MOST_HEATER_C
    """Of the probe on the heater's shield."""
    cut_out_c: float | None = Field(default=65.0, ge=30, le=MOST_CUT_OUT_C)
    """What the independent cut-out is set to. None: recorded before this was asked."""
    cut_out_tolerance_k: Annotated[float, Field(ge=0, le=MARGIN_K)] = MARGIN_K
    """How far from its setting the cut-out may open."""
    cut_outs: Annotated[int, Field(ge=1, le=2)] = 1
    """How many there are, each with its own sensor and its own contacts."""
    exotherm_c: Annotated[float, Field(ge=2, le=40)] = 8.0
    """A part may be this much hotter than the air while the oven is heated."""
    ramp_c_per_h: Annotated[float, Field(gt=0, le=120)] = 30.0
    longest_heater_on_h: Annotated[float, Field(gt=0, le=24)] = 5.0
    longest_night_h: Annotated[float, Field(gt=0, le=72)] = 16.0
    gelled_parts_only: bool = False
    """No part is shut in that has not gelled and aired. Always so on the path without mains wiring,
    where the heater's own cut-out is a contact inside the box."""
    i_accept_limits_above_60_c: bool = False

    @model_validator(mode="after")
    def _acknowledged(self) -> Self:
        if self.i_accept_limits_above_60_c:
            return self
        soft = "foam board, moulds and peroxide are kept below"
        for key, value, why, most in (
            ("air_c", self.air_c, soft, ACKNOWLEDGE_ABOVE_C),
            ("part_c", self.part_c, soft, ACKNOWLEDGE_ABOVE_C),
        ):
            if value > most:
                raise ValueError(
                    f"{key} is {value:g} and {why} {most:g}; lower it, or set "
                    f"i_accept_limits_above_60_c = true if the whole oven is built for more."
                )
        return self

    @property
    def earlier(self) -> bool:
        """Recorded by a version that did not ask for the cut-out: its night was allowed then."""
        return self.cut_out_c is None

    @property
    def hottest_soak_c(self) -> float:
        """The highest setpoint this oven may be asked for, °C."""
        margin_k = 1.0 if self.earlier else MARGIN_K
        return min(self.air_c - margin_k, self.part_c - 1.0)

    def no_heat(self) -> tuple[str, ...]:
        """Why nothing may be heated with these limits, a sentence each; empty where it may."""
        if self.cut_out_c is None:
            return ()
        said = []
        if self.heater_c > MOST_HEATER_C:
            said.append(
                f"limits.heater_c is {self.heater_c:g} and a thermometer that ends at 125 °C "
                f"cannot enforce it; set it to {MOST_HEATER_C:g} at the most, with the probe on "
                f"the heater's shield."
            )
        if self.air_c > self.cut_out_c - MARGIN_K:
            said.append(
                f"limits.air_c is {self.air_c:g} and has to stay {MARGIN_K:g} K below the cut-out, "
                f"cut_out_c = {self.cut_out_c:g}; lower it to {self.cut_out_c - MARGIN_K:g}, or "
                f"say what the cut-out is really set to ({MOST_CUT_OUT_C:g} at the most)."
            )
        return tuple(said)


class Installation(Section):
    """The box, its heater and its place, as setup asked; what follows is told by check and page.

    None: not told.
    """

    wiring: Literal["plug-in", "wired"] | None = None
    """Approved boxes plugged together, or wired by somebody licensed."""
    supply: Literal["eu", "uk", "us-120", "us-240"] | None = None
    foam: Literal["pir", "phenolic"] | None = None
    """Never polystyrene: styrene dissolves it and it gives way at 75 °C."""
    heater: Literal["tube", "finned", "other"] | None = None
    fan: Literal["always", "none"] | None = None
    """Always: fed ahead of the heater's switches, without a pin. One with a pin is `[fan]`."""
    warmest_c: Annotated[float, Field(ge=-20, le=60)] = 30.0
    """The shed on the warmest day on which it is used."""
    alarm: Literal["linked", "cold-rated", "household", "none"] | None = None
    people_sleep: Literal["elsewhere", "here"] | None = None
    """Here: in, over or attached to the oven's building."""


class Electricity(Section):
    """What the energy costs, for plans and records."""

    price_per_kwh: Annotated[float, Field(ge=0, le=1000)] | None = None
    currency: Annotated[str, Field(pattern=r"^[^\s\d]{0,8}$")] = ""
    """What the price is in, such as EUR."""

    def cost(self, kwh: float) -> str | None:
        """Of so much energy, with its currency; None where no price is told."""
        if self.price_per_kwh is None:
            return None
        return f"{kwh * self.price_per_kwh:.2f} {self.currency}".strip()
