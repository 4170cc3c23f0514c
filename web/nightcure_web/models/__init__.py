"""The API's answers as models: what a client may rely on, one module a subject."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field, PlainSerializer

from nightcure.record.off_sentences import asked_by

from ..problems import responses

#: Who asked for something, as it was recorded; told in words.
AskedBy = Annotated[
    str,
    PlainSerializer(asked_by),
    Field(description="As words after a verb: by whom, or where on the page it came from."),
]


def told(example: Any, *statuses: int) -> dict[int | str, dict[str, Any]]:
    """OpenAPI entries of a route: an example of its answer, and the problems it may answer with."""
    content = {"application/json": {"example": example}}
    return {200: {"description": "Done.", "content": content}, **responses(*statuses)}
