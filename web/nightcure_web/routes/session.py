"""Log in, log out."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Body, Request, Response

from ..access import COOKIE
from ..problems import responses
from ..store import StoreOf

router = APIRouter(prefix="/api", tags=["session"])


@router.get("/session")
def session(store: StoreOf, request: Request) -> dict[str, Any]:
    """Whether this browser is logged in, and whether commands are possible at all."""
    return {
        "logged_in": store.access.logged_in(request),
        "has_passphrase": store.access.has_passphrase,
    }


@router.post("/login", responses=responses(400, 401, 403, 411, 413, 422, 429))
def login(
    store: StoreOf,
    request: Request,
    response: Response,
    passphrase: Annotated[str, Body(embed=True, max_length=200)],
) -> dict[str, Any]:
    """Log in with the oven's passphrase; sets a cookie."""
    store.access.log_in(passphrase, request, response)
    return {"logged_in": True}


@router.post("/logout", responses=responses(403, 411, 413))
def logout(store: StoreOf, request: Request, response: Response) -> dict[str, Any]:
    """Forget this browser."""
    store.access.check_origin(request)
    response.delete_cookie(COOKIE, httponly=True, samesite="strict")
    return {"logged_in": False}
