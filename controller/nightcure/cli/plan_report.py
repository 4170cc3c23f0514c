"""What `nightcure plan` prints for people, and the profiles it writes."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import BadInput
from .show import out, print_table

if TYPE_CHECKING:
    from rich.table import Table

    from ..plan.advise import Advice
    from ..plan.plan import Plan
    from ..profile import Profile

#: Levers that change less than this are not worth a line, nor are more than so many.
LEAST_GAIN, MOST_IMPROVEMENTS = 0.02, 4


def show_plan(plan: Plan, files: Sequence[str]) -> None:
    """The answer first, then curves, milestones, costs, warnings, improvements."""
    from .plan_plot import terminal_plot

    out.print(f"[bold]{plan.answer()}[/]", highlight=False)
    out.print(
        f"({plan.nights.goal_s.shape[0]} nights drawn; standard error "
        f"{100.0 * plan.standard_error:.1f} points)\n",
        highlight=False,
    )
    out.print(terminal_plot(plan, width=min(out.width, 110)), highlight=False)
    out.print()
    print_table(_milestones(plan))
    out.print(f"\n{_energy(plan)}", highlight=False)
    if plan.warnings:
        out.print("\n[bold]To know[/]")
        for line in plan.warnings:
            out.print(f"  {line}", highlight=False, markup=False, soft_wrap=True)
    out.print("\n[bold]What would raise the odds[/]")
    for line in _improvements(plan):
        out.print(f"  {line}", highlight=False, markup=False, soft_wrap=True)
    _say_files(files)


def _improvements(plan: Plan) -> list[str]:
    """What would help, in lines; or that nothing has to."""
    from ..plan.improvements import ENOUGH

    if plan.probability >= ENOUGH:
        return ["Nothing is needed."]
    worth = [i for i in plan.improvements if i.gain >= LEAST_GAIN][:MOST_IMPROVEMENTS]
    if not worth:
        return [f"Nothing that was tried would, by {100.0 * LEAST_GAIN:.0f} points or more."]
    return [f"{100.0 * i.gain:+5.0f} points  {i.what}" for i in worth]


def _milestones(plan: Plan) -> Table:
    from rich.table import Table

    from ..plan.answer import GOALS, clock_time
    from ..units import show_duration

    series = plan.nights.series
    assert series is not None
    last = f"after {clock_time(plan.tonight, float(series.time_s[-1]))}"

    def shown(t_s: float | None) -> str:
        return last if t_s is None else clock_time(plan.tonight, t_s)

    table = Table("part", "milestone", "usually", "10 %", "90 %", "after", box=None, pad_edge=False)
    before = ""
    for m in plan.milestones():
        if m["p10_s"] is None and m["name"] != plan.tonight.goal:
            continue
        name = m["part"] if m["part"] != before else ""
        before = m["part"]
        after = "" if m["p50_s"] is None else show_duration(60.0 * round(m["p50_s"] / 60.0))
        table.add_row(
            name,
            GOALS[m["name"]].removeprefix("the "),
            *(shown(m[k]) for k in ("p50_s", "p10_s", "p90_s")),
            after,
        )
    return table


def _energy(plan: Plan) -> str:
    e = plan.energy_kwh()
    text = f"Energy {e['p50']:.2f} kWh ({e['p10']:.2f} to {e['p90']:.2f})"
    cost, money = plan.cost(), plan.tonight.settings.electricity.currency
    if cost is not None:
        text += f", cost {cost['p50']:.2f}{' ' + money if money else ''}"
        text += f" ({cost['p10']:.2f} to {cost['p90']:.2f})"
    return f"{text}."


#: What each kind of advice makes small.
MEANS = {
    "least stress": "the mildest soak and the slowest ramp",
    "least energy": "the fewest kWh",
    "earliest": "hard as soon as can be",
}


def show_advice(found: Sequence[Advice], notes: Sequence[str], files: Sequence[str]) -> None:
    """Three profiles, each in a few lines; what has to be said of all of them once."""
    from ..plan.answer import GOALS, clock_time, course_of

    goal = GOALS[found[0].plan.tonight.goal]
    if not any(a.sure for a in found):
        out.print(
            "[bold]No profile meets the goal in 97 nights of 100 without a trip; this is the "
            "likeliest.[/]\n"
        )
        found = found[:1]
    for a in found:
        plan = a.plan
        over_s, late_s = (plan.quantiles_s(t)[i] for t, i in (
            (plan.nights.over_s, 1), (plan.nights.goal_s, 2)))  # fmt: skip
        by = "later than was looked at" if late_s is None else clock_time(plan.tonight, late_s)
        title = f"{a.kind.capitalize()} ({MEANS[a.kind]})" if a.sure else "Likeliest"
        out.print(f"[bold]{title}[/]: {course_of(plan.profile)}", highlight=False, soft_wrap=True)
        over = "" if over_s is None else f"; cool again at {clock_time(plan.tonight, over_s)}"
        slow = "" if plan.makers is None else f", {plan.makers.sentence()}"
        cost = plan.tonight.settings.electricity.cost(plan.energy_kwh()["p50"])
        out.print(
            f"  {goal} in time in {100.0 * plan.probability:.0f} of 100 nights{slow}; nine of ten "
            f"by {by}; {plan.energy_kwh()['p50']:.2f} kWh{f', {cost}' if cost else ''}{over}",
            highlight=False, soft_wrap=True,
        )  # fmt: skip
    said: dict[str, list[str]] = {}
    for a in found:
        for w in a.plan.warnings:
            said.setdefault(w, []).append(a.kind)
    if said or notes:
        out.print("\n[bold]To know[/]")
    for line, kinds in said.items():
        of = "" if len(kinds) == len(found) else f"({', '.join(kinds)}) "
        out.print(f"  {of}{line}", highlight=False, markup=False, soft_wrap=True)
    for line in notes:
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
    from ..plan.plan import profile_json
    from ..settings.toml_text import toml_text

    if folder is None:
        return []
    files = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, profile in profiles:
            path = folder / f"{name.replace(' ', '-')}.toml"
            path.write_text(toml_text(profile_json(profile)), encoding="utf-8")
            files.append(str(path))
    except OSError as error:
        raise BadInput(f"{folder} cannot be written: {error.strerror}.") from None
    return files
