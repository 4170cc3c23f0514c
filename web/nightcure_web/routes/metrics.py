"""What a collector of measurements reads."""

from __future__ import annotations

import hmac
import time
from pathlib import Path

from fastapi import APIRouter, Request, Response

from nightcure.ledger.outbox import outbox_path, read_outbox

from ..access import read_secret
from ..openmetrics import MEDIA_TYPE, exposition
from ..problems import Problem, responses
from ..services import ServicesOf

router = APIRouter(tags=["now"])

EXAMPLE = (
    "# TYPE nightcure_air_temperature_celsius gauge\n# UNIT nightcure_air_temperature_celsius "
    'celsius\nnightcure_air_temperature_celsius{oven="Estuary box"} 37.9\n# EOF\n'
)


@router.get(
    "/metrics",
    response_class=Response,
    responses={
        200: {
            "description": "OpenMetrics text.",
            "content": {MEDIA_TYPE.partition(";")[0]: {"example": EXAMPLE}},
        },
        **responses(401, 503),
    },
)
def metrics(services: ServicesOf, request: Request) -> Response:
    """The live state as OpenMetrics.

    Where reading asks for a login, `Authorization: Bearer` with what stands in the file
    `<ledger>.metrics` (made when it is first asked for) is let in, too.
    """
    if not services.access.may_read(request):
        token = read_secret(Path(f"{services.settings.ledger}.metrics")).strip()
        said = request.headers.get("authorization", "")
        if not hmac.compare_digest(said.encode(), f"Bearer {token}".encode()):
            raise Problem(
                401,
                "Send 'Authorization: Bearer' with the token that stands beside the ledger.",
                {"WWW-Authenticate": "Bearer"},
            )
    state = services.reader.live() if services.settings.ledger.exists() else None
    outbox = read_outbox(outbox_path(services.settings.ledger), time.time())
    text = exposition(services.settings.name, state, outbox)
    return Response(text, media_type=MEDIA_TYPE)
