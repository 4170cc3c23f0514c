"""What `nightcure plan` prints for people, and the profiles it writes."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..errors import BadInput
from .show import out

if TYPE_CHECKING:
    from ..plan.advise import Advice
    from ..plan.plan import Plan
    from ..profile import Profile

#: Levers that change less than this are not worth a line.
LEAST_GAIN = 0.005


def show_plan(plan: Plan, files: Sequence[str]) -> None:
    """The answer first, then curves, milestones, costs, warnings, levers."""
    from .plan_plot import terminal_plot

    out.print(f"[bold]{plan.answer()}[/]", highlight=False)
    out.print(
        f"({plan.nights.goal_s.shape[0]} nights drawn; standard error "
        f"{100.0 * plan.standard_error:.1f} points)\n",
        highlight=False,
    )
    out.print(terminal_plot(plan, width=min(out.width, 110)), highlight=False)
    out.print()
    out.print(_milestones(plan))
    out.print(f"\n{_energy(plan)}", highlight=False)
    if plan.warnings:
        out.print("\n[bold]To know[/]")
        for line in plan.warnings:
            out.print(f"  {line}", highlight=False, markup=False, soft_wrap=True)
    out.print("\n[bold]What would raise the odds[/]")
    worth = [lever for lever in plan.levers if lever.gain >= LEAST_GAIN]
    for lever in worth:
        out.print(
            f"  {100.0 * lever.gain:+5.1f} points  {lever.what}", highlight=False, markup=False
        )
    if not worth:
        out.print("  Nothing that was tried would, by half a point or more.")
    _say_files(files)


def _milestones(plan: Plan) -> object:
    from rich.table import Table

    from ..plan.words import clock_time
    from ..units import show_duration

    def shown(t_s: float | None) -> str:
        return "not seen" if t_s is None else clock_time(plan.tonight, t_s)

    table = Table("part", "milestone", "usually", "10 %", "90 %", "after", box=None, pad_edge=False)
    before = ""
    for m in plan.milestones():
        name = m["part"] if m["part"] != before else ""
        before = m["part"]
        after = "" if m["p50_s"] is None else show_duration(60.0 * round(m["p50_s"] / 60.0))
        table.add_row(name, m["name"], *(shown(m[k]) for k in ("p50_s", "p10_s", "p90_s")), after)
    return table


def _energy(plan: Plan) -> str:
    e = plan.energy_kwh()
    text = f"Energy {e['p50']:.2f} kWh ({e['p10']:.2f} to {e['p90']:.2f})"
    if plan.price_per_kwh is not None:
        low, middle, high = (e[k] * plan.price_per_kwh for k in ("p10", "p50", "p90"))
        text += f", cost {middle:.2f} ({low:.2f} to {high:.2f})"
    return f"{text}."


def show_advice(found: Sequence[Advice], notes: Sequence[str], files: Sequence[str]) -> None:
    """Three profiles side by side."""
    from rich.table import Table

    from ..plan.words import brief, clock_time

    if not any(a.sure for a in found):
        out.print(
            "[bold]No profile meets the goal in nine nights of ten; this is the likeliest.[/]\n"
        )
    table = Table("", "profile", "ramp", "nights", "in nine of ten by", "kWh", box=None,
                  pad_edge=False)  # fmt: skip
    for a in found:
        late_s = a.plan.quantiles_s(a.plan.nights.goal_s)[2]
        steepest = max((s.rate_c_per_h for s in a.plan.profile.segments if s.kind == "ramp"),
                       default=0.0)  # fmt: skip
        table.add_row(
            a.kind, brief(a.plan.profile), f"{steepest:g} °C/h",
            f"{100.0 * a.plan.probability:.0f} of 100",
            "not seen" if late_s is None else clock_time(a.plan.tonight, late_s),
            f"{a.plan.energy_kwh()['p50']:.2f}",
        )  # fmt: skip
    out.print(table)
    said = dict.fromkeys(w for a in found for w in a.plan.warnings)
    for line in (*said, *notes):
        out.print(f"  {line}", highlight=False, markup=False, soft_wrap=True)
    _say_files(files)


def _say_files(files: Sequence[str]) -> None:
    for file in files:
        out.print(f"Written: {file}", highlight=False, markup=False)


def written(folder: Path | None, profiles: Sequence[tuple[str, Profile]]) -> list[str]:
    """Write profiles into a folder as `<name>.toml`; their files.

    Raises:
        BadInput: the folder cannot be made or written.
    """
    if folder is None:
        return []
    files = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, profile in profiles:
            path = folder / f"{name}.toml"
            path.write_text(profile_toml(profile), encoding="utf-8")
            files.append(str(path))
    except OSError as error:
        raise BadInput(f"{folder} cannot be written: {error.strerror}.") from None
    return files


def profile_toml(profile: Profile) -> str:
    """A profile as the file that `load_profile` reads."""
    from ..plan.plan import profile_json

    data = profile_json(profile)
    tables = {k: v for k, v in data.items() if isinstance(v, list | dict)}
    lines = [_line(k, v) for k, v in data.items() if k not in tables]
    for key, value in tables.items():
        for one in value if isinstance(value, list) else [value]:
            heading = f"[[{key}]]" if isinstance(value, list) else f"[{key}]"
            lines += ["", heading, *(_line(k, v) for k, v in one.items())]
    return "\n".join(lines) + "\n"


def _line(key: str, value: Any) -> str:
    """JSON's text and numbers are TOML's; what is not ASCII stays as it is."""
    return f"{key} = {json.dumps(value, ensure_ascii=False)}"
