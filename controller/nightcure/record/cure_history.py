"""A part's temperature history from a night in the ledger, or from a profile that is planned."""

from __future__ import annotations

from pathlib import Path

from ..cure.history import History, read_history
from ..errors import BadInput
from ..profile import load_profile, planned_air
from ..settings import Role
from .night import Night

#: Ticks closer together than this add nothing to a cure.
EVERY_S = 20.0


def history_from(
    path: Path, night_id: int | None = None, thermometer: str | None = None, start_c: float = 10.0
) -> History:
    """A history by the kind of file: a CSV, a profile (.toml), or a ledger (.ledger).

    Args:
        night_id: of a ledger; its newest night if None.
        thermometer: of a ledger, by name; the first part's or mould's, else the air's, if None.
        start_c: of a profile, which is taken as the air if nothing waits: where it begins.

    Raises:
        BadInput: one sentence.
    """
    if path.suffix == ".toml":
        return planned_air(load_profile(path), start_c)
    if path.suffix == ".ledger":
        return history_of_night(path, night_id, thermometer)
    return read_history(path)


def history_of_night(path: Path, night_id: int | None, thermometer: str | None) -> History:
    """What a thermometer was believed to say in a night, from its start; errors as above."""
    if not path.exists():
        raise BadInput(f"{path}: there is no such file.")
    night = Night.at(path, night_id)
    names = [t["name"] for t in night.thermometers]
    if thermometer is None:
        thermometer = names[next(iter(night.indices(Role.PART, Role.MOULD)), 0)]
    if thermometer not in names:
        raise BadInput(
            f"night {night.number} has no thermometer '{thermometer}'; {', '.join(names)}."
        )
    history: History = []
    seen = zip(night.time_s, night.thermometer_c(names.index(thermometer)), strict=True)
    for t_s, part_c in seen:
        if part_c is not None and (not history or t_s >= history[-1][0] + EVERY_S):
            history.append((t_s, part_c))
    if len(history) < 2:
        raise BadInput(f"night {night.number} has no believable history of '{thermometer}'.")
    return history
