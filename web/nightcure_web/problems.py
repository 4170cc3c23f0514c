"""Errors as problem details (RFC 9457): one sentence a person can use."""

from __future__ import annotations

import logging
import re
from collections.abc import Sequence
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from starlette.exceptions import HTTPException
from starlette.routing import compile_path
from starlette.types import Receive, Scope, Send

from nightcure.errors import BadInput, NightcureError, fault_sentence

log = logging.getLogger("nightcure.web")

MEDIA_TYPE = "application/problem+json"

#: A refusal tells so many faults, and so many letters of each: a request must not be answered
#: with more than it brought.
MOST_FAULTS, MOST_LETTERS = 8, 300


class Problem(Exception):
    """A refusal: HTTP status, one sentence, and headers if it needs any."""

    def __init__(self, status: int, detail: str, headers: dict[str, str] | None = None) -> None:
        super().__init__(detail)
        self.status = status
        self.detail = detail
        self.headers = headers


def problem_response(
    status: int, detail: str, headers: dict[str, str] | None = None
) -> JSONResponse:
    """A problem document."""
    body = {"type": "about:blank", "title": HTTPStatus(status).phrase, "status": status}
    return JSONResponse(
        {**body, "detail": detail}, status_code=status, headers=headers, media_type=MEDIA_TYPE
    )


def together(sentences: Sequence[str]) -> str:
    """Several faults as one text of bearable length."""
    told = [s if len(s) <= MOST_LETTERS else f"{s[:MOST_LETTERS]}…." for s in sentences]
    more = len(told) - MOST_FAULTS
    return " ".join(told[:MOST_FAULTS] + ([f"And {more} more."] if more > 0 else []))


def _validation_sentence(error: RequestValidationError) -> str:
    sentences = []
    for fault in error.errors():
        if fault["type"] == "json_invalid":
            sentences.append("The request is no JSON.")
            continue
        place = tuple(part for part in fault["loc"] if part not in ("body", "query", "path"))
        sentences.append(fault_sentence({**fault, "loc": place}, "the request"))
    return together(sentences)


def install(app: FastAPI, headers: dict[str, str]) -> None:
    """Turn every error of `app` into a problem document.

    `headers` go with the answer to a mistake of the server's own, which no middleware sees.
    """

    @app.exception_handler(Problem)
    async def refused(_: Request, error: Problem) -> JSONResponse:
        return problem_response(error.status, error.detail, error.headers)

    @app.exception_handler(HTTPException)
    async def http(_: Request, error: HTTPException) -> JSONResponse:
        own = dict(error.headers) if error.headers else None
        return problem_response(error.status_code, f"{str(error.detail).rstrip('.')}.", own)

    @app.exception_handler(RequestValidationError)
    async def invalid(_: Request, error: RequestValidationError) -> JSONResponse:
        return problem_response(422, _validation_sentence(error))

    @app.exception_handler(BadInput)
    async def bad(_: Request, error: BadInput) -> JSONResponse:
        return problem_response(422, together(error.sentences))

    @app.exception_handler(NightcureError)
    async def lost(_: Request, error: NightcureError) -> JSONResponse:
        return problem_response(503, str(error))

    @app.exception_handler(Exception)
    async def unexpected(_: Request, error: Exception) -> JSONResponse:
        log.exception("unexpected", exc_info=error)
        return problem_response(
            500,
            "The page's server made a mistake; its log says more.",
            {**headers, "Cache-Control": "no-store"},
        )


#: A problem document in OpenAPI; every route refers to it.
SCHEMA = {
    "title": "Problem",
    "description": "A refusal (RFC 9457): `detail` is one sentence for the person.",
    "type": "object",
    "properties": {
        "type": {"type": "string"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
    },
    "required": ["type", "title", "status", "detail"],
}


def responses(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """OpenAPI entries for the problems a route may answer with."""
    content = {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}
    return {
        status: {"description": HTTPStatus(status).phrase, "content": content}
        for status in statuses
    }


def described(app: FastAPI, schemas: dict[str, Any], cookie: str) -> dict[str, Any]:
    """The API's own description, with what every route has in common.

    `cookie` is what this oven's session is called; `schemas` are what an object with `x-schema` is,
    which names one of them.
    """
    if app.openapi_schema is None:
        document = FastAPI.openapi(app)
        _refer(document)
        document["components"]["securitySchemes"]["session"]["name"] = cookie
        document["components"]["schemas"] |= {**schemas, "Problem": SCHEMA}
        misdirected = {str(status): said for status, said in responses(421).items()}
        for verbs in document["paths"].values():
            for route in verbs.values():
                route["responses"] |= misdirected
    return app.openapi_schema or {}


def _refer(node: Any) -> None:
    if isinstance(node, dict):
        if isinstance(name := node.get("x-schema"), str):
            node["$ref"] = f"#/components/schemas/{name}"
            del node["x-schema"], node["type"]
            node.pop("title", None)
        for below in node.values():
            _refer(below)
    elif isinstance(node, list):
        for below in node:
            _refer(below)


class NoSuchRoute:
    """What the API has no route for: 405 with what is allowed there (RFC 9110), or 404."""

    def __init__(self, app: FastAPI) -> None:
        self._app = app
        self._paths: list[tuple[re.Pattern[str], set[str]]] = []

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if not self._paths:
            own = {self._app.openapi_url or "": {"get": None, "head": None}}
            for path, verbs in (self._app.openapi()["paths"] | own).items():
                self._paths.append((compile_path(path)[0], {verb.upper() for verb in verbs}))
        path = scope["path"]
        allowed = sorted(set().union(*(verbs for at, verbs in self._paths if at.fullmatch(path))))
        if allowed:
            told = f"Only {', '.join(allowed)} can be asked of {path}."
            answer = problem_response(405, told, {"Allow": ", ".join(allowed)})
        else:
            answer = problem_response(404, "The page has nothing under this address.")
        await answer(scope, receive, send)
