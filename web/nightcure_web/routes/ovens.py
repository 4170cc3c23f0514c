"""All ovens on one page: a card each. Commands go to each oven's own page."""

from __future__ import annotations

import socket
import time
from typing import Any
from urllib.parse import urlsplit

from fastapi import APIRouter, Request

from nightcure.errors import NightcureError

from ..models import told
from ..models.telling_models import OVENS, Ovens
from ..other_ovens import OtherOvens
from ..services import ServicesOf

router = APIRouter(prefix="/api", tags=["ovens"])

#: A controller that has said nothing for so long is silent, s.
SILENT_S = 20.0
SILENT = "Its controller says nothing. If in doubt, pull the heater's plug."
SOON = {"gelled": "gelled", "laminate-opens": "ready to laminate on", "demould": "hard"}


@router.get("/ovens", response_model=Ovens, responses=told(OVENS, 401, 503))
def ovens(services: ServicesOf, request: Request) -> Any:
    """This oven and the others: listed in oven.toml, on this machine, or announced on the network.

    What the others said last is answered at once; whoever asks again after some seconds gets what
    they say then. Those that need somebody come first.
    """
    others: OtherOvens = request.app.state.others
    now_s = time.time()
    try:
        own: Any = services.reader.live() or {}
    except NightcureError as error:
        own = str(error)
    cards = [_card(str(request.base_url).rstrip("/"), "here", 0.0, own, now_s)]
    every = others.said()
    own_host = f"http://{socket.gethostname().partition('.')[0]}.local:"
    ports = {services.settings.web.port, *(_port(a) for a, how, *_ in every if how == "host")}
    for address, how, age_s, said in every:
        ours = how == "network" and address.lower().startswith(own_host.lower())
        if ours and _port(address) in ports:
            continue  # of this machine, and known without
        if how == "host" and request.url.hostname:  # as whoever looks has come here
            host = request.url.hostname
            address = f"http://{f'[{host}]' if ':' in host else host}:{_port(address)}"
        cards.append(_card(address, how, age_s, said, now_s))
    cards.sort(key=lambda c: (not c["tripped"], c["alarm"] is None, c["age_s"] is not None))
    return {"ovens": cards, "asked_s": others.asked_host_s}


def _port(address: str) -> int:
    return urlsplit(address).port or 80


def _card(address: str, found: str, age_s: float, said: Any, now_s: float) -> dict[str, Any]:
    """One oven's card from its status; nothing of another's answer is taken as it came."""
    status = said if isinstance(said, dict) else {}
    word_s, then_s = _number(status.get("host_s")), _number(status.get("now_s"))
    age = None if word_s is None else max((then_s or now_s) - word_s, 0.0) + age_s
    alarms = [a for a in _list(status.get("alarms")) if isinstance(a, dict)]
    alarms.sort(key=lambda a: (not a.get("latching"), a.get("state") != "unacknowledged"))
    trip = status.get("trip")
    worst = trip if isinstance(trip, dict) else (alarms[0] if alarms else None)
    line = said if isinstance(said, str) else _text(status.get("next")) or "It has no state yet."
    if age is not None and age > SILENT_S:
        line = SILENT
    milestone, milestone_s = _next(status, now_s)
    phase = status.get("phase")
    return {
        "address": address,
        "found": found,
        "name": _text(status.get("oven"), 60) or address.partition("://")[2],
        "line": line,
        "phase": phase if isinstance(phase, str) else None,
        "air_c": _number(status.get("control_c")),
        "setpoint_c": _number(status.get("setpoint_c")),
        "units": "F" if status.get("units") == "F" else "C",
        "milestone": milestone,
        "milestone_s": milestone_s,
        "alarm": None if worst is None else _text(worst.get("message")),
        "tripped": isinstance(trip, dict),
        "age_s": None if age is None else round(age, 1),
    }


def _next(status: dict[str, Any], now_s: float) -> tuple[str | None, float | None]:
    """The next milestone of any part; else the night's end."""
    wall_s = _number(status.get("wall_s")) or now_s
    coming = []
    for part in _list(status.get("cure")):
        for m in _list(part.get("milestones")) if isinstance(part, dict) else []:
            at_s = _number(m.get("at_s")) if isinstance(m, dict) else None
            word = SOON.get(str(m.get("name"))) if isinstance(m, dict) else None
            if at_s is not None and word is not None and at_s > wall_s:
                coming.append((at_s, f"{_text(part.get('name'), 40)} {word}"))
    ends_s = _number(status.get("ends_s"))
    if not coming:
        return ("the night's end", ends_s) if ends_s is not None else (None, None)
    at_s, said = min(coming)
    return said, at_s


def _number(value: Any) -> float | None:
    fine = isinstance(value, int | float) and not isinstance(value, bool)
    return float(value) if fine and abs(value) < 1e15 else None


def _text(value: Any, most: int = 300) -> str:
    return value[:most] if isinstance(value, str) else ""


def _list(value: Any) -> list[Any]:
    return value[:64] if isinstance(value, list) else []
