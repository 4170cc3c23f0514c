"""What should be so before a night is started."""

from __future__ import annotations

import shutil
import time
from collections.abc import Iterator
from typing import Any

from fastapi import APIRouter

from nightcure.oven.installation import Rating, consequences
from nightcure.record.off_sentences import FAULT_WORDS
from nightcure.settings import Settings

from ..models import told
from ..models.status_models import START_CHECKS, StartCheck, StartChecks
from ..services import ServicesOf

router = APIRouter(prefix="/api", tags=["now"])

#: A controller that has said nothing for so long does not run, s.
SILENT_S = 15.0
#: A night takes some 5 MB; the disk's other users take theirs.
LEAST_FREE_BYTES = 50_000_000
#: Two sensors of the kind may be this far apart at one temperature, K (data sheet: 0.5 each).
APART_K = 1.5

Found = Iterator[StartCheck]


@router.get("/start-checks", response_model=StartChecks, responses=told(START_CHECKS, 401, 503))
def start_checks(services: ServicesOf) -> Any:
    """Whether a night could be started now, check by check, a sentence each.

    The independent cut-out nobody can see from here: the page asks the person for it.
    """
    live = services.reader.live()
    checks = [
        *_controller(live, time.time()),
        *(() if live is None else _oven(live)),
        *_disk(services.settings),
        *_box(services.settings),
        _check(
            "cautions",
            services.cautions_accepted,
            "The cautions were accepted for this oven.",
            "The cautions have not been accepted for this oven; read and accept them.",
        ),
    ]
    return StartChecks(ready=all(c.ok for c in checks if c.needed), checks=checks)


def _check(name: str, ok: bool, yes: str, no: str, needed: bool = True) -> StartCheck:
    return StartCheck(name=name, ok=ok, sentence=yes if ok else no, needed=needed)


def _controller(live: dict[str, Any] | None, host_s: float) -> Found:
    fresh = live is not None and abs(host_s - live["host_s"]) < SILENT_S
    yield _check(
        "controller",
        fresh,
        "The controller answers.",
        "The controller has said nothing for a while; see whether it runs.",
    )


def _oven(live: dict[str, Any]) -> Found:
    trip = live["trip"]
    why = "" if trip is None else f"The oven has tripped: {trip['message']} Reset it first."
    yield _check("trip", trip is None, "Nothing has tripped.", why)
    yield _check(
        "night",
        live["phase"] in ("idle", "done", "tripped"),
        "No night is running.",
        "A night is running; stop it, or wait for its end.",
    )
    yield _check(
        "stop-button",
        not live.get("stop_pressed", False),
        "The stop button is not held.",
        "The stop button at the oven is pressed; release it first.",
    )
    air = [t for t in live["thermometers"] if t["role"] == "air"]
    yield _check(
        "control-sensor",
        live["control_c"] is not None,
        f"The air is measured by {air[0]['name']}.",
        f"There is no believable air temperature ({air[0]['name']}: {_fault(air[0])}).",
    )
    lost = [f"{t['name']} ({_fault(t)})" for t in live["thermometers"] if t["value_c"] is None]
    yield _check(
        "thermometers",
        not lost,
        "Every thermometer is believed.",
        f"Not believed: {', '.join(lost)}; see to it.",
    )
    yield from _agreement(live)


def _fault(thermometer: dict[str, Any]) -> str:
    """What is wrong with a thermometer, in words."""
    fault = str(thermometer["fault"] or "missing")
    return FAULT_WORDS.get(fault, fault)


def _agreement(live: dict[str, Any]) -> Found:
    """A note only: the oven may still be warm from the night before."""
    inside = [
        (t["value_c"], t["name"])
        for t in live["thermometers"]
        if t["role"] in ("air", "part", "mould") and t["value_c"] is not None
    ]
    if len(inside) < 2 or live["phase"] not in ("idle", "done"):
        return
    (low_c, low), (high_c, high) = min(inside), max(inside)
    yield _check(
        "agreement",
        high_c - low_c <= APART_K,
        f"The thermometers in the box agree within {high_c - low_c:.1f} K.",
        f"{high} shows {high_c - low_c:.1f} K more than {low}; in a box that has stood cold "
        f"overnight they agree, so check them if it has.",
        needed=False,
    )


def _box(settings: Settings) -> Found:
    """What has to be put right at box and place first; what may not be heated at all hinders."""
    never = settings.limits.no_heat()
    for number, (rating, sentence) in enumerate(consequences(settings), 1):
        if rating is Rating.WRONG:
            yield _check(f"box-{number}", False, "", sentence, needed=sentence in never)


def _disk(settings: Settings) -> Found:
    free = shutil.disk_usage(settings.ledger.absolute().parent).free
    free_mb = free // 1_000_000
    yield _check(
        "disk",
        free >= LEAST_FREE_BYTES,
        f"{free_mb} MB are free for the ledger.",
        f"Only {free_mb} MB are free for the ledger; make room, a night without one is ended.",
    )
