"""The settings as a person sees them; they are changed in oven.toml, offsets by a check."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from nightcure.oven.installation import consequences
from nightcure.oven.meaning import meaning
from nightcure.settings import Settings

from ..models import told
from ..models.oven_models import SETTINGS, OvenSettings
from ..services import ServicesOf
from ..settings_texts import GROUPS, VALUES

router = APIRouter(prefix="/api", tags=["settings"])


@router.get("/settings", response_model=OvenSettings, responses=told(SETTINGS, 401, 503))
def settings(services: ServicesOf) -> Any:
    """Every setting with its value, its unit and what it is for; thermometers with their checks.

    An offset that a check gave stands over the one in oven.toml. No secret is among them.
    """
    s = services.settings
    checks = services.reader.checks() if s.ledger.exists() else {}
    thermometers = []
    for t in s.thermometers:
        check = checks.get(t.id)
        last = None if check is None else {k: v for k, v in check.items() if k != "sensor_id"}
        offset_c = t.offset_c if check is None else check["offset_c"]
        thermometers.append(
            {
                "id": t.id,
                "name": t.name,
                "role": t.role.value,
                "offset_c": offset_c,
                "last_check": last,
            }
        )
    groups = [
        {"title": title, "rows": [_row(s, *words) for words in rows if _there(s, words[0])]}
        for title, rows in GROUPS
    ]
    return {
        "oven": s.name,
        "units": s.units,
        "groups": [g for g in groups if g["rows"]],
        "thermometers": thermometers,
        "meaning": meaning(s),
        "consequences": [c._asdict() for c in consequences(s)],
    }


def _there(s: Settings, path: str) -> bool:
    """Whether the section of a setting is in this oven.toml at all (a contactor may not be)."""
    section = path.rpartition(".")[0]
    return not section or getattr(s, section) is not None


def _row(s: Settings, path: str, name: str, unit: str, explains: str) -> dict[str, Any]:
    value: Any = s
    for key in path.split("."):
        value = getattr(value, key)
    if isinstance(value, tuple):
        value = ", ".join(value)
    elif value is not None and not isinstance(value, bool | int | float):
        value = VALUES.get(path, {}).get(value, str(value))
    return {
        "name": name,
        "value": None if value == "" else value,
        "unit": unit,
        "explains": explains,
    }
