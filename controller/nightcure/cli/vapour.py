"""nightcure vapour: how much styrene is in the box, and how much air it needs."""

from __future__ import annotations

from typing import Annotated

import typer

from .show import out, print_json, sentences


def vapour(
    resin_kg: Annotated[float, typer.Option(help="Resin and gel coat that goes in uncured, kg.")],
    volume_m3: Annotated[float, typer.Option(help="The box inside, m³.")],
    monomer_pct: Annotated[float, typer.Option(help="Styrene in the resin, % by weight.")] = 42.0,
    evaporated_pct: Annotated[
        float | None,
        typer.Option(
            help="Of that styrene, what evaporates in the closed box, %. Left out: all that "
            "40 CFR 63 subpart VVVV counts over lay-up and cure, which is cautious."
        ),
    ] = None,
    air_c: Annotated[float, typer.Option(help="The air in the box, °C.")] = 40.0,
    air_changes_per_h: Annotated[float, typer.Option(help="Fresh air, box volumes an hour.")] = 0.0,
    over_h: Annotated[float, typer.Option(help="Hours over which it evaporates.")] = 1.0,
    gel_coat: Annotated[
        bool, typer.Option("--gel-coat", help="Gel coat, which loses more than resin.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """Styrene in the closed box: grams, share of the lower explosive limit, air it needs.

    It advises; it certifies nothing.
    """
    with sentences():
        from ..cure.vapour import cautions, default_evaporated_pct
        from ..cure.vapour import vapour as compute

        if evaporated_pct is None:
            kind = "gel-coat" if gel_coat else "resin"
            evaporated_pct = default_evaporated_pct(monomer_pct, kind)  # type: ignore[arg-type]
        v = compute(
            resin_kg, monomer_pct, evaporated_pct, volume_m3, air_c, air_changes_per_h, over_h
        )
        said = cautions(v)
        if as_json:
            print_json(
                {
                    **{k: round(x, 6) if isinstance(x, float) else x
                       for k, x in v._asdict().items()},
                    "evaporated_pct": round(evaporated_pct, 4),
                    "cautions": list(said),
                }
            )  # fmt: skip
            return
        out.print(
            f"[bold]{v.styrene_g:.1f} g[/] of styrene in {volume_m3:g} m³: {v.vol_pct:.3f} vol %, "
            f"[bold]{v.percent_lel:.0f} %[/] of the lower explosive limit (0.9 vol %), "
            f"{v.ppm:.0f} ppm.",
            soft_wrap=True,
        )
        if v.ventilation_m3_per_h:
            per_h = v.ventilation_m3_per_h / volume_m3
            out.print(
                f"{v.ventilation_m3_per_h:.2f} m³/h of fresh air ({per_h:.1f} box volumes an hour) "
                f"keep it under 25 %.",
                soft_wrap=True,
            )
        for sentence in said:
            out.print(f"  {sentence}", highlight=False, soft_wrap=True)
