"""What `nightcure survey` prints for people."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from .show import out, print_json, print_table

if TYPE_CHECKING:
    from ..survey.identified import Survey, Value
    from ..survey.tuning import Tuned


def show_drift(file: Path, as_json: bool) -> None:
    """Print whether the oven has changed since the nights before."""
    from ..errors import BadInput
    from .survey_ledger import drift_of, is_ledger

    if not is_ledger(file):
        raise BadInput(f"--drift compares nights; {file} is not a ledger.")
    found = drift_of(file)
    if as_json:
        print_json(found)
        return
    before = len(found["nights_before"])
    loss = found["loss_w_per_k"]
    out.print(found["sentence"], highlight=False, markup=False)
    out.print(
        f"Night {found['night']}: {loss['value']:.3g} W/K ({loss['low']:.3g} to "
        f"{loss['high']:.3g}); compared with {before} night{'s' * (before != 1)}.",
        highlight=False,
    )


def _interval(value: Value | None, unit: str, scale: float = 1.0) -> tuple[str, str]:
    if value is None:
        return "unknown", ""
    from ..survey.assumptions import figures

    v = value.times(scale)
    return f"{figures(v.value)} {unit}", f"{figures(v.low)} to {figures(v.high)}"


def show_survey(found: Survey, tuned: Tuned | None) -> None:
    """Plot, table, what was assumed and is unknown, gains and sections."""
    from rich.table import Table

    from .survey_plot import terminal_plot

    log = found.log
    out.print(terminal_plot(found, min(out.width, 100)), highlight=False)
    table = Table("", "value", "95 %", box=None, pad_edge=False)
    names = ("slow", "moulds", "quick")
    rows = [
        ("loss (UA)", *_interval(found.loss_w_per_k, "W/K")),
        ("heat capacity", *_interval(found.heat_capacity_j_per_k, "kJ/K", 1e-3)),
        ("rise over the shed at full power", *_interval(found.rise_k, "K")),
        *(
            (f"time constant, {name}", *_interval(v, "min", 1 / 60))
            for name, v in zip(names, found.time_constants_s, strict=False)
        ),
        ("dead time (half rule)", *_interval(found.dead_time_s, "s")),
    ]
    for row in rows:
        table.add_row(*row)
    print_table(table)
    rms = (found.fit.residuals_c**2).mean() ** 0.5
    out.print(
        f"{len(log.time_s)} rows over {log.length_s / 3600:.2f} h; residuals {rms:.2f} K rms, "
        f"{'white' if found.white else 'not white'}; {found.order} time "
        f"constant{'s' * (found.order > 1)} told apart.",
        highlight=False,
    )
    for title, lines in (("Assumed", found.assumed), ("Not known from this log", found.unknown)):
        if lines:
            out.print(f"\n[bold]{title}[/]")
            for line in lines:
                out.print(f"  {line}", highlight=False, markup=False)
    if found.loss_w_per_k is None:
        return
    from ..settings import Model, outrun
    from .survey_sections import sections

    strong = outrun(log.power_w or 0.0, Model.model_validate(found.model()))
    if strong is not None:
        out.print(f"\n[bold]Too strong[/]\n  {strong}", highlight=False)
    if tuned is not None:
        m, steps = tuned.margins, tuned.steps
        out.print("\n[bold]Gains[/]")
        for line in tuned.rules:
            out.print(f"  {line}", highlight=False, markup=False)
        out.print(
            f"  Ms {m.ms:.2f}, gain margin {m.gain_margin:.1f}, phase margin "
            f"{m.phase_margin_deg:.0f}°; a small step overshoots by {100 * steps.overshoot:.0f} % "
            f"without feed-forward; a tenth of the power lost costs {steps.load_peak_k:.2f} K, "
            f"made good in {steps.recovery_s / 60:.0f} min",
            highlight=False,
        )
    from ..settings.toml_text import with_values

    out.print("\n[bold]For oven.toml[/] (--oven oven.toml --write puts it in)\n")
    out.print(with_values("", sections(found, tuned)).strip(), highlight=False, markup=False)
