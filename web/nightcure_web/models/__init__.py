"""The API's answers as models: what a client may rely on, one module a subject."""

from __future__ import annotations

from typing import Any

from ..problems import responses


def told(example: Any, *statuses: int) -> dict[int | str, dict[str, Any]]:
    """OpenAPI entries of a route: an example of its answer, and the problems it may answer with."""
    content = {"application/json": {"example": example}}
    return {200: {"description": "Done.", "content": content}, **responses(*statuses)}
