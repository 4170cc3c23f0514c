"""What if: the rebuilt night, changed, beside the original."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..errors import BadInput
from ..ledger.reader import LedgerReader
from ..units import show_duration
from .show import err, out, print_json

if TYPE_CHECKING:
    from ..replay.changes import Changes
    from ..replay.rebuilt import Rebuilt
    from ..replay.whatif import Curves
    from ..units import TemperatureUnit

#: Given the night's start (wall, s), what is to be changed.
Asked = Callable[[float], "Changes"]


def _need_numerics() -> None:
    try:
        import numpy
        import scipy
    except ImportError:
        raise BadInput(
            "What-if needs numpy and scipy; install nightcure with its extra 'planning'."
        ) from None
    del numpy, scipy


def of_night(
    reader: LedgerReader, night_id: int, asked: Asked, plot: Path | None, as_json: bool
) -> None:
    """A night of the ledger, changed."""
    _need_numerics()
    from ..record.night import Night
    from ..record.recorded_settings import settings_of
    from ..replay.rebuilt import rebuild
    from ..replay.recorded_series import series_of
    from ..replay.verify import night_of
    from ..replay.whatif import recorded_curves, recorded_ticks, what_if

    row = night_of(reader, night_id)
    if reader.thinned(night_id) is not None:
        raise BadInput(f"Night {night_id} was thinned; what is left of it cannot be rebuilt.")
    settings = settings_of(row)
    changes = asked(row.started_s)
    if changes.profile is not None:
        refusals = changes.profile.refusals(settings.limits)
        if refusals:
            raise BadInput(*refusals)
    changes.settings(settings)
    with err.status("Fitting the oven to the night ..."):
        night = Night(reader, night_id)
        rebuilt = rebuild(series_of(night))
    with err.status("The night passes again ...") as status:
        after = what_if(
            rebuilt, settings, changes, recorded_ticks(reader, night),
            lambda t_s: status.update(f"The night passes again: {t_s / 3600.0:.1f} h"),
        )  # fmt: skip
    before = recorded_curves(night)
    _tell(f"Night {night_id}", rebuilt, before, after, changes, settings.units, plot, as_json)


def _tell(
    name: str, rebuilt: Rebuilt, before: Curves, after: Curves, changes: Changes,
    units: TemperatureUnit, plot: Path | None, as_json: bool,
) -> None:  # fmt: skip
    from rich.markup import escape

    from ..replay.figures import figures
    from .replay_show import draw, table, terminal

    was, would = figures(before), figures(after)
    loss = float(rebuilt.network.loss_w_per_k)
    if plot is not None:
        draw(before, after, changes.told(), plot)
    if as_json:
        fit: dict[str, Any] = {
            "loss_w_per_k": round(loss, 4),
            "air_rms_c": round(rebuilt.air_rms_c, 4),
            "parts_rms_c": round(rebuilt.parts_rms_c, 4),
            "unexplained_w": round(rebuilt.unexplained_w, 3),
        }
        print_json({"what_if": changes.told(), "as_it_was": was.as_json(),
                    "changed": would.as_json(), "fit": fit})  # fmt: skip
        return
    out.print(f"[bold]{escape(name)}, {escape(changes.told())}[/]\n", highlight=False)
    out.print(terminal(before, after, min(out.width, 110)), highlight=False)
    table(was, would, units)
    for t_s, message in after.events:
        out.print(f"  {show_duration(t_s):>12}  {message}", highlight=False, markup=False)
    known_s = before.time_s[-1]
    if after.time_s[-1] > known_s + 60.0:
        out.print(
            f"\nAfter {show_duration(known_s)} nothing was recorded: from there on the shed stays "
            f"as it was at the end.",
            highlight=False,
        )
    out.print(
        f"\n[dim]Fitted to that very night: {loss:.2f} W/K; {rebuilt.unexplained_w:.1f} W (root "
        f"mean square) it does not explain are kept as they were, a resin's own heat among them. "
        f"Rebuilt with them the air is within {rebuilt.air_rms_c:.2f} K of the record.[/]",
        highlight=False,
    )
    if plot is not None:
        out.print(f"The curves: {plot}", highlight=False)
