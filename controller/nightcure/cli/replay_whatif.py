"""What if: the rebuilt night, changed, beside the original."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from ..errors import BadInput
from ..ledger.reader import LedgerReader
from ..units import show_duration
from .show import err, out, print_json

if TYPE_CHECKING:
    from ..replay.changes import Changes
    from ..replay.rebuilt import Rebuilt
    from ..replay.recorded_series import RecordedSeries
    from ..replay.whatif import Curves
    from ..settings import Settings
    from ..survey.log import Log
    from ..units import TemperatureUnit

#: Given the night's start (wall, s; None where nobody knows it), what is to be changed.
Asked = Callable[[float | None], "Changes"]


class Named(NamedTuple):
    """How the person names a table's columns."""

    time: str | None
    air: str | None
    part: str | None
    shed: str | None
    heater: str | None
    time_unit: str | None
    fahrenheit: bool
    power_w: float | None


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
    from ..record.recorded_settings import settings_of
    from ..replay.rebuilt import rebuild
    from ..replay.recorded_series import series_from_ledger
    from ..replay.verify import night_of
    from ..replay.whatif import recorded_curves, recorded_ticks, what_if

    night = night_of(reader, night_id)
    if reader.thinned(night_id) is not None:
        raise BadInput(f"Night {night_id} was thinned; what is left of it cannot be rebuilt.")
    settings = settings_of(night)
    changes = asked(night.started_s)
    if changes.profile is not None:
        refusals = changes.profile.refusals(settings.limits)
        if refusals:
            raise BadInput(*refusals)
    changes.settings(settings)
    with err.status("Fitting the oven to the night ..."):
        series = series_from_ledger(reader, night_id, settings)
        rebuilt = rebuild(series)
    with err.status("The night passes again ...") as status:
        after = what_if(
            rebuilt, series, settings, changes,
            recorded_ticks(reader, night_id, settings.timing.tick_s),
            lambda t_s: status.update(f"The night passes again: {t_s / 3600.0:.1f} h"),
        )  # fmt: skip
    before = recorded_curves(reader, night_id, settings)
    _tell(f"Night {night_id}", rebuilt, before, after, changes, settings.units, plot, as_json)


def of_table(
    file: Path, named: Named, oven: Path | None, asked: Asked, plot: Path | None, as_json: bool
) -> None:
    """A table of any logger: regulated by the loop with a --profile, else as it was switched."""
    _need_numerics()
    from ..replay.rebuilt import rebuild
    from ..replay.recorded_series import series_from_table
    from ..replay.whatif import as_switched, plain_ticks, what_if
    from ..survey.read_log import Columns, read_log

    columns = Columns(named.time, named.air, named.part, named.shed, named.heater)
    log = read_log(file, columns, named.time_unit, named.fahrenheit, named.power_w)
    changes = asked(None)
    series = series_from_table(log)
    with err.status("Fitting the oven to the table ..."):
        rebuilt = rebuild(series)
    if changes.profile is None:
        if changes.regulator:
            raise BadInput("To regulate a table's oven the loop needs a profile: say --profile.")
        after = as_switched(rebuilt, series, changes)
    else:
        settings = _settings_for(log, series, rebuilt, oven)
        refusals = changes.profile.refusals(settings.limits)
        if refusals:
            raise BadInput(*refusals)
        ticks = plain_ticks(settings, changes.profile, series)
        with err.status("The night passes again ..."):
            after = what_if(rebuilt, series, settings, changes, ticks)
    _tell(str(file), rebuilt, _as_it_was(series), after, changes, "C", plot, as_json)


def _as_it_was(series: RecordedSeries) -> Curves:
    from ..replay.whatif import Curves

    count = len(series.time_s)
    return Curves(
        series.time_s.tolist(), series.air_c.tolist(),
        {name: values.tolist() for name, values in series.parts_c.items()}, [float("nan")] * count,
        series.heat.tolist(), ["open"] * count, [False] * count, power_w=series.power_w,
    )  # fmt: skip


def _settings_for(
    log: Log, series: RecordedSeries, rebuilt: Rebuilt, oven: Path | None
) -> Settings:
    """The oven.toml if there is one, else the scenario's with this oven's model and gains."""
    from ..settings import Settings, load_settings
    from ..simulate.scenario import scenario
    from ..survey.tuning import tune

    settings = load_settings(oven) if oven is not None else scenario()[0]
    data = settings.model_dump(mode="json")
    data["heater"]["power_w"] = series.power_w
    thermometers = [{"id": "28-000000000001", "role": "air", "name": "Air"}]
    for number, name in enumerate(rebuilt.parts, 2):
        thermometers.append({"id": f"28-{number:012x}", "role": "part", "name": name})
    if log.ambient_c is not None:
        thermometers.append({"id": "28-0000000000ff", "role": "ambient", "name": "Shed"})
    data["thermometers"] = thermometers
    if oven is None:
        network = rebuilt.network
        data["name"] = "The table's oven"
        moulds_j = float(sum(m.capacity_j_per_k for m in network.moulds))
        lags_s = [m.capacity_j_per_k / m.air_w_per_k for m in network.moulds]
        data["model"] = {
            "loss_w_per_k": float(network.loss_w_per_k),
            "air_capacity_j_per_k": float(
                network.air_capacity_j_per_k + network.wall_capacity_j_per_k
            ),
            "mould_capacity_j_per_k": moulds_j,
            "mould_lag_s": float(sum(lags_s) / len(lags_s)) if lags_s else 0.0,
            "heater_lag_s": float(network.heater_capacity_j_per_k / network.heater_air_w_per_k),
            "assumed_ambient_c": float(rebuilt.ambient_c[0]),
        }
        data["regulator"] |= tune(network, data["heater"]["window_s"]).regulator()
    return Settings.model_validate(data)


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
