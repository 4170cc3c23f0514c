"""A part's temperature history from a night in the ledger, or from a profile that is planned."""

from __future__ import annotations

import json
from pathlib import Path

from ..cure.history import History, read_history
from ..errors import BadInput
from ..ledger.reader import LedgerReader
from ..profile import load_profile, planned_air
from ..settings import Role

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
    reader = LedgerReader(path)
    if night_id is None:
        newest = reader.nights(1)
        if not newest:
            raise BadInput(f"{path} has no night in it.")
        night_id = int(newest[0]["id"])
    night = reader.night(night_id)
    if night is None:
        raise BadInput(f"{path} has no night {night_id}.")
    known = json.loads(night.settings)["thermometers"]
    names = [t["name"] for t in known]
    if thermometer is None:
        parts = [t["name"] for t in known if t["role"] in (Role.PART, Role.MOULD)]
        thermometer = parts[0] if parts else names[0]
    if thermometer not in names:
        raise BadInput(f"night {night_id} has no thermometer '{thermometer}'; {', '.join(names)}.")
    index = names.index(thermometer)
    history: History = []
    began_s: float | None = None
    for row in reader.ticks(night_id):
        began_s = row.mono_s if began_s is None else began_s
        part_c = json.loads(row.believed)[index]
        t_s = row.mono_s - began_s
        if part_c is not None and (not history or t_s >= history[-1][0] + EVERY_S):
            history.append((t_s, part_c))
    if len(history) < 2:
        raise BadInput(f"night {night_id} has no believable history of '{thermometer}'.")
    return history
