"""Who is told, and whether that works; and the browsers that are told by the page itself."""

from __future__ import annotations

import base64
import threading
import time
from importlib.util import find_spec
from typing import Annotated, Any

from fastapi import APIRouter, Body, Request

from nightcure.ledger.outbox import outbox_path, read_outbox
from nightcure.ledger.push_file import change_browsers, key_path, push_path, read_browsers

from ..models import told
from ..models.telling_models import PUSH, TELLING, Browser, Push, Telling
from ..problems import Problem
from ..services import Services, ServicesOf, Who

router = APIRouter(prefix="/api", tags=["telling"])

#: A notifier that was not seen for so long does not run, s.
SEEN_S = 30.0
#: Where a browser takes messages without https, too (W3C Secure Contexts).
OWN_HOSTS = ("localhost", "127.0.0.1", "::1")
HTTPS = (
    "A browser takes messages only from a page that is served over https; this one came over "
    "http. hardware-notes/https.md says how a proxy before it does that."
)
MISSING = "The page's server lacks what signs messages; install nightcure with 'notifications'."
_making = threading.Lock()


@router.get("/notifications", response_model=Telling, responses=told(TELLING, 401))
def notifications(services: ServicesOf) -> Any:
    """Whether the notifier runs, which of its services fail and why, and what was told last."""
    now_s = time.time()
    state = read_outbox(outbox_path(services.settings.ledger), now_s)
    if state is None:
        return {"runs": False, "seen_s": None, "services": [], "messages": []}
    names = ("id", "kind", "at_s", "title", "text")
    return {
        "runs": now_s - state.alive_s < SEEN_S,
        "seen_s": state.alive_s,
        "services": [s._asdict() for s in state.services],
        "messages": [dict(zip(names, m, strict=True)) for m in state.messages],
    }


def _push(services: Services, request: Request) -> dict[str, Any]:
    why_not = None
    if find_spec("py_vapid") is None:
        why_not = MISSING
    elif request.url.scheme != "https" and request.url.hostname not in OWN_HOSTS:
        why_not = HTTPS
    ledger = services.settings.ledger
    return {
        "possible": why_not is None,
        "why_not": why_not,
        "key": None if why_not else _public_key(services),
        "browsers": len(read_browsers(push_path(ledger))),
    }


def _public_key(services: Services) -> str:
    """The page's key, made on first use, as browsers take it."""
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
    from py_vapid import Vapid

    path = key_path(services.settings.ledger)
    try:
        with _making:
            if not path.exists():
                key = Vapid()
                key.generate_keys()
                fresh = path.with_name(path.name + ".new")
                fresh.unlink(missing_ok=True)
                fresh.touch(0o600)
                key.save_key(str(fresh))
                fresh.replace(path)
        public = Vapid.from_file(str(path)).public_key
    except (OSError, ValueError):
        raise Problem(503, f"The key {path} can be neither read nor made.") from None
    point = public.public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
    return base64.urlsafe_b64encode(point).rstrip(b"=").decode()


@router.get("/push", response_model=Push, responses=told(PUSH, 401, 503))
def push(services: ServicesOf, request: Request) -> Any:
    """Whether this browser can be told by the page itself, and if not, why."""
    return _push(services, request)


@router.post(
    "/push", response_model=Push, responses=told(PUSH, 400, 401, 403, 409, 411, 413, 422, 503)
)
def join(services: ServicesOf, _: Who, request: Request, browser: Browser) -> Any:
    """Tell this browser from now on."""
    found = _push(services, request)
    if not found["possible"]:
        raise Problem(409, str(found["why_not"]))
    try:
        count = change_browsers(push_path(services.settings.ledger), add=browser.model_dump())
    except ValueError as error:
        raise Problem(409, str(error)) from None
    except OSError:
        raise Problem(503, "The browsers cannot be written down.") from None
    return {**found, "browsers": count}


@router.post(
    "/push/leave", response_model=Push, responses=told(PUSH, 400, 401, 403, 411, 413, 422, 503)
)
def leave(
    services: ServicesOf,
    _: Who,
    request: Request,
    endpoint: Annotated[
        str, Body(embed=True, max_length=1000, examples=["https://push.example/abc"])
    ],
) -> Any:
    """Stop sending messages to this browser."""
    found = _push(services, request)
    try:
        count = change_browsers(push_path(services.settings.ledger), remove=endpoint)
    except OSError:
        raise Problem(503, "The browsers cannot be written down.") from None
    return {**found, "browsers": count}
