"""Before there is a box: what it would lose and hold, by a ruler, and what one heat would do."""

from __future__ import annotations

import asyncio
import json
from importlib.util import find_spec
from typing import Any

from fastapi import APIRouter, Request

from nightcure.cure.card import load_card, shipped
from nightcure.errors import BadInput

from ..jobs import Jobs
from ..models import told
from ..models.ruler_models import RULED, Ruled, Ruler
from ..plan_job import NO_NUMERICS, SOON_S
from ..problems import Problem
from ..services import Services, ServicesOf, Who

router = APIRouter(prefix="/api", tags=["survey"])

#: It takes a second; a small board half a minute.
LONGEST_S = 90


@router.post(
    "/ruler",
    response_model=Ruled,
    responses=told(RULED, 400, 401, 403, 404, 411, 413, 422, 429, 501, 503),
)
async def ruler(services: ServicesOf, request: Request, _: Who, asked: Ruler) -> Any:
    """What a box of these sizes loses, which heater it needs, and what one heat would do in it.

    Reckoned, never measured. A second of hard work, so it needs a login. Nothing is kept.
    """
    if not all(find_spec(name) for name in ("numpy", "scipy")):
        raise Problem(501, NO_NUMERICS)
    if asked.heat_to_c <= asked.ambient_c:
        raise Problem(
            422,
            f"One heat to {asked.heat_to_c:g} °C warms nothing in a shed of {asked.ambient_c:g} "
            f"°C; it should go higher.",
        )
    jobs: Jobs = request.app.state.jobs
    if jobs.busy:
        raise Problem(
            429, f"Something else is being reckoned; ask again in {SOON_S} s.",
            {"Retry-After": str(SOON_S)},
        )  # fmt: skip
    question = {
        "box": _box(asked),
        "figures": await asyncio.to_thread(_figures, services, asked),
        "limits": services.settings.limits.model_dump(mode="json"),
        **asked.model_dump(
            include={"ambient_c", "warmest_c", "hold_c", "ramp_c_per_h", "cut_outs", "heat_to_c",
                     "before_h", "before_c"}
        ),
    }  # fmt: skip
    done = await jobs.run(
        "The ruler", LONGEST_S, "nightcure_web.ruler_process", sent=json.dumps(question).encode()
    )
    if done.status < 0:
        raise Problem(503, "It was ended from outside, perhaps because memory is short.")
    if done.status > 0:
        raise RuntimeError(done.err.decode(errors="replace"))
    answer: dict[str, Any] = json.loads(done.out)
    if "refused" in answer:
        raise Problem(422, " ".join(answer["refused"]))
    return answer


def _box(asked: Ruler) -> dict[str, Any]:
    """The box as `oven.description` has it, but for what goes by its edges and weights."""
    tube = None
    if asked.tube_m is not None:
        if asked.length_m is None:
            raise Problem(422, "The tube's length is missing.")
        tube = {"panels_m": asked.tube_m, "length_m": asked.length_m}
    panels = [p.model_dump() for p in asked.panels or ()]
    return {
        "inside_m": asked.inside_m,
        "tube": tube,
        "panels": panels,
        "volume_m3": asked.volume_m3,
        "boards": [
            {"thickness_m": b.thickness_mm / 1000.0, "material": b.material} for b in asked.boards
        ],
        "gaps": {"taped": asked.taped},
        "fan": asked.fan,
        "heater": {"power_w": asked.power_w},
        "moulds": [{"name": m.name, "mass_kg": m.mass_kg} for m in asked.moulds],
    }


def _figures(services: Services, asked: Ruler) -> dict[str, Any] | None:
    """The resin's figures; a Problem for a card that is not there, or a share it has not."""
    if asked.card is None:
        return None
    card = (
        load_card(asked.card) if asked.card in shipped() else services.own_cards().get(asked.card)
    )
    if card is None:
        raise Problem(404, "There is no resin card of this name.")
    try:
        return card.figures(asked.catalyst_pct).model_dump(mode="json")
    except BadInput as error:
        raise Problem(422, str(error)) from None
