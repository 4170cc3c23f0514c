"""Log in, log out, log everybody out."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Body, Request, Response

from ..models import told
from ..models.oven_models import SESSION, LoggedIn, Session
from ..services import Services, ServicesOf, Who

router = APIRouter(prefix="/api", tags=["session"])


@router.get("/session", response_model=Session, responses=told(SESSION))
def session(services: ServicesOf, request: Request) -> Any:
    """Whether this browser is logged in, and whether commands are possible at all."""
    return {
        "logged_in": services.access.logged_in(request),
        "has_passphrase": services.access.has_passphrase,
    }


@router.post(
    "/login",
    response_model=LoggedIn,
    responses=told({"logged_in": True}, 400, 401, 403, 411, 413, 422, 429),
)
async def login(
    services: ServicesOf,
    request: Request,
    response: Response,
    passphrase: Annotated[str, Body(embed=True, max_length=200, examples=["four words of mine"])],
) -> Any:
    """Log in with the oven's passphrase; sets a cookie."""
    await services.log_in(passphrase, request, response)
    return {"logged_in": True}


@router.post(
    "/logout",
    response_model=LoggedIn,
    responses=told({"logged_in": False}, 400, 403, 411, 413, 503),
)
def logout(services: ServicesOf, request: Request, response: Response) -> Any:
    """Forget this browser, and end its session: its cookie is worth nothing from now on."""
    services.access.check_origin(request)
    services.access.log_out(request)
    return _forgotten(services, response)


@router.post(
    "/logout-everywhere",
    response_model=LoggedIn,
    responses=told({"logged_in": False}, 400, 401, 403, 411, 413, 503),
)
def logout_everywhere(services: ServicesOf, _: Who, response: Response) -> Any:
    """End every session, on every device; the page's server may be restarted, they stay ended."""
    services.access.log_everybody_out()
    return _forgotten(services, response)


def _forgotten(services: Services, response: Response) -> dict[str, bool]:
    response.delete_cookie(services.access.cookie, httponly=True, samesite="strict")
    return {"logged_in": False}
