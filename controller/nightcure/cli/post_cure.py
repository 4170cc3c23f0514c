"""nightcure cure post-cure: how warm and how long, below the part's own glass transition."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from .cure import CardArgument, CatalystOption, default_catalyst
from .show import AsJson, out, print_json, sentences

if TYPE_CHECKING:
    from ..cure.part import Part
    from ..profile import Profile

#: The longest soak that is looked for, and what a soak is given beyond what it needs.
LONGEST_H, SPARE = 12.0, 1.5
STEP_S = 60.0


def post_cure(
    card: CardArgument,
    stand: Annotated[
        str | None,
        typer.Option(help="What the part must stand: shade, light-deck or dark-deck (in the sun)."),
    ] = None,
    tg_c: Annotated[
        float | None, typer.Option("--tg-c", help="Or the glass transition it must reach, °C.")
    ] = None,
    degree: Annotated[
        float | None, typer.Option(help="Or the degree of cure it must reach, 0.1 to 0.999.")
    ] = None,
    lain_h: Annotated[float, typer.Option(help="So long since it was mixed, h.")] = 24.0,
    lain_c: Annotated[float, typer.Option(help="Where it has lain since, °C.")] = 20.0,
    at_c: Annotated[
        float | None,
        typer.Option(help="Soak at, °C; the lowest that does it in 12 h if left out."),
    ] = None,
    rate_c_per_h: Annotated[float, typer.Option(help="Ramp, °C per hour.")] = 10.0,
    margin_k: Annotated[
        float, typer.Option(help="So far the part stays below its glass transition, K.")
    ] = 8.0,
    catalyst_pct: CatalystOption = None,
    save: Annotated[
        Path | None, typer.Option(help="Write the profile, with the part in it, to this file.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """The post-cure that a use asks for: how warm, how long, how slow a ramp.

    By the card's late figures, the part as warm as the air; the oven itself follows the part's own
    thermometer.
    """
    with sentences():
        from ..cure.card import load_card
        from ..cure.part import Part
        from ..cure.post_cure import stands, tells_tg, tg_to_stand, unreachable, warm_enough_c
        from ..errors import BadInput
        from ..simulate.at_the_setpoint import course
        from ..units import show_duration

        if sum(v is not None for v in (stand, tg_c, degree)) > 1:
            raise BadInput("give one goal: --stand, --tg-c or --degree.")
        if stand is not None or (tg_c is None and degree is None):
            try:
                tg_c = tg_to_stand(stand or "light-deck")
            except ValueError as error:
                raise BadInput(f"--stand: {error}") from None
        if not 0.0 < lain_h <= 72.0 or not -20.0 <= lain_c <= 60.0:
            raise BadInput("--lain-h should be above 0 and at most 72, --lain-c -20 to 60.")
        chosen = load_card(card)
        share = default_catalyst(chosen) if catalyst_pct is None else catalyst_pct
        part = Part(
            name="Part", card=card, catalyst_pct=share, resin_kg=1.0, start_h=-lain_h,
            before_c=lain_c, figures=chosen.figures(share),
        )  # fmt: skip
        if not tells_tg(part):
            raise BadInput(
                f"{chosen.name} does not tell its glass transition; it needs heat_kj_per_kg, "
                f"kinetics (from-gel) and glass."
            )
        assert part.figures is not None
        highest_c = part.figures.highest_c or 120.0
        first_c = at_c or warm_enough_c(part, LONGEST_H, tg_c, degree, 30.0, highest_c)
        said = unreachable((part,), first_c or highest_c, LONGEST_H, tg_c, degree)
        if said is not None or first_c is None:
            raise BadInput(str(said))
        last_c = first_c if at_c is not None else highest_c
        for at_c in [first_c + i for i in range(int(last_c - first_c) + 1)]:
            profile = _profile(part, at_c, rate_c_per_h, margin_k, LONGEST_H, tg_c, degree)
            came = course(part, profile, lain_c)
            there = came.tg_c >= (tg_c or -1e9) and came.degree >= (degree or 0.0)
            if there and came.soaks_s is not None:
                break
        else:
            raise BadInput(
                f"so it comes to {came.tg_c:.0f} °C and {100.0 * came.degree:.0f} % in "
                f"{LONGEST_H:g} h of soak at {last_c:g} °C, below its goal, kept {margin_k:g} K "
                f"below its glass transition. Take a smaller --margin-k, a warmer --at-c, or let "
                f"it lie longer or warmer first."
            )
        soak_h = max((came.ends_s - came.soaks_s) / 3600.0, 0.25)
        longest_h = min(round(SPARE * soak_h * 4.0) / 4.0 + 0.25, LONGEST_H)
        profile = _profile(part, at_c, rate_c_per_h, margin_k, longest_h, tg_c, degree)
        if save is not None:
            _write(save, profile)
        fit = stands(came.tg_c)
        if as_json:
            print_json(
                {
                    "card": chosen.name, "catalyst_pct": share, "at_c": at_c,
                    "rate_c_per_h": rate_c_per_h, "margin_k": margin_k,
                    "tg_before_c": round(came.began_tg_c, 2), "tg_c": round(came.tg_c, 2),
                    "degree_of_cure": round(came.degree, 5), "held_s": round(came.held_s),
                    "soak_s": round(3600.0 * soak_h), "least_margin_k": round(came.least_k, 2),
                    "stands": fit,
                }
            )  # fmt: skip
            return
        held = show_duration(STEP_S * round(came.held_s / STEP_S))
        slow = f", {held} slower than that to stay below it" if came.held_s >= 300.0 else ""
        whole = show_duration(STEP_S * round(came.ends_s / STEP_S))
        out.print(
            f"After {lain_h:g} h at {lain_c:g} °C its glass transition is about "
            f"{came.began_tg_c:.0f} °C. Up at {rate_c_per_h:g} °C/h to [bold]{at_c:g} °C[/]{slow}, "
            f"held [bold]{show_duration(900.0 * round(soak_h * 4.0 + 0.49))}[/]: "
            f"{came.tg_c:.0f} °C and {100.0 * came.degree:.0f} % cured after {whole}"
            f"{'' if fit is None else ', ' + fit}. It was never nearer than {came.least_k:.1f} K.",
            soft_wrap=True,
        )
        if chosen.generic:
            out.print("By a generic card: your resin's data sheet knows better.", soft_wrap=True)


def _profile(
    part: Part, at_c: float, rate_c_per_h: float, margin_k: float, hours: float,
    tg_c: float | None, degree: float | None,
) -> Profile:  # fmt: skip
    from ..profile import parse_profile

    return parse_profile(
        {
            "name": f"Post-cure at {at_c:g}",
            "segments": [
                {"kind": "ramp", "to_c": at_c, "rate_c_per_h": rate_c_per_h,
                 "tg_margin_k": margin_k},
                {"kind": "soak", "at_c": at_c, "hours": hours, "until_tg_c": tg_c,
                 "until_degree": degree},
                {"kind": "cool", "rate_c_per_h": 20.0, "below_c": 25.0},
            ],
            "parts": [part.model_dump(mode="json")],
        }
    )  # fmt: skip


def _write(path: Path, profile: Profile) -> None:
    from ..errors import BadInput
    from ..settings.toml_text import toml_text

    if path.exists():
        raise BadInput(f"{path} exists already; take another name or remove it first.")
    told: dict[str, Any] = profile.model_dump(mode="json", exclude_none=True)
    for one in told["parts"]:  # the card is read again from its name
        del one["figures"]
    try:
        path.write_text(toml_text(told, "Written by nightcure cure post-cure."), encoding="utf-8")
    except OSError as error:
        raise BadInput(f"{path} cannot be written: {error.strerror}.") from None
