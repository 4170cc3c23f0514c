"""A night's record as a page to read and print, and its table for a spreadsheet."""

from __future__ import annotations

import time
from collections.abc import Iterator
from typing import Any

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response, StreamingResponse

from nightcure.errors import BadInput
from nightcure.ledger.export import csv_lines
from nightcure.report.document import Document
from nightcure.report.facts import gather
from nightcure.report.html import page
from nightcure.report.pdf import pdf
from nightcure.report.sheet import Extras, sheet

from ..problems import Problem, responses
from ..services import AsExport, InTurn, Services, ServicesOf
from .nights import NightId

router = APIRouter(prefix="/api", tags=["nights"])

#: The record has its style within itself and nothing else: no script runs, nothing is fetched.
RECORD_CSP = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'; sandbox"
)


def _text(kind: str, example: str) -> dict[int | str, dict[str, Any]]:
    """OpenAPI entries of an answer that is no JSON."""
    content = {kind: {"schema": {"type": "string"}, "example": example}}
    return {200: {"description": "Done.", "content": content}, **responses(401, 404, 422, 503)}


def _unhurried(pieces: Iterator[str]) -> Iterator[str]:
    """The pieces, with a rest after each as long as it took (see `services.Turns`)."""
    while True:
        began_s = time.monotonic()
        piece = next(pieces, None)
        if piece is None:
            return
        time.sleep(time.monotonic() - began_s)
        yield piece


@router.get(
    "/nights/{night_id}/record",
    response_class=HTMLResponse,
    responses=_text("text/html", "<!doctype html><title>Night 3</title>"),
    dependencies=[InTurn],
)
def record(services: ServicesOf, night_id: NightId) -> HTMLResponse:
    """The morning record as one HTML file, as `nightcure record` writes it.

    The oven is not refitted here; what the ledger has of an earlier refit is shown.
    """
    text = page(_document(services, night_id))
    return HTMLResponse(text, headers={"Content-Security-Policy": RECORD_CSP})


@router.get(
    "/nights/{night_id}/record.pdf",
    response_class=Response,
    responses={
        200: {"description": "Done.", "content": {"application/pdf": {"example": "%PDF-1.4"}}},
        **responses(401, 404, 422, 501, 503),
    },
    dependencies=[InTurn],
)
def record_pdf(services: ServicesOf, night_id: NightId) -> Response:
    """The same as a PDF; it needs the extra 'planning' on the oven's machine."""
    try:
        data = pdf(_document(services, night_id))
    except BadInput as error:
        raise Problem(501, str(error)) from None
    name = f'attachment; filename="night-{night_id}.pdf"'
    return Response(data, media_type="application/pdf", headers={"Content-Disposition": name})


def _document(services: Services, night_id: int) -> Document:
    try:
        facts = gather(services.reader, night_id)
    except BadInput as error:
        raise Problem(404, str(error)) from None
    return sheet(facts, Extras(printed_s=time.time()))


@router.get(
    "/nights/{night_id}/export.csv",
    response_class=StreamingResponse,
    responses=_text("text/csv", "night_s,control_c\n0.0,9.1\n"),
    dependencies=[AsExport],
)
def export(services: ServicesOf, night_id: NightId) -> StreamingResponse:
    """Every tick as a row: s of the night, UTC, °C, shares of full power; units in the header."""
    try:
        lines = csv_lines(services.reader, night_id)
    except BadInput as error:
        raise Problem(404, str(error)) from None
    lines = _unhurried(lines)
    name = f'attachment; filename="night-{night_id}.csv"'
    return StreamingResponse(lines, media_type="text/csv", headers={"Content-Disposition": name})
