"""nightcure adopt: what the page's survey found, into oven.toml. For the service that may write."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated

import typer

from .show import print_json, sentences

#: A request has a dozen numbers.
MOST_BYTES = 16_384


def adopt(
    request: Annotated[Path, typer.Argument(help="What the page asks for, as JSON.")],
    oven: Annotated[Path, typer.Option(help="The oven.toml to change; the old one stays as .bak.")],
) -> None:
    """Put [model] and [regulator] of a request into an oven.toml.

    The request is the page's and is not believed: only numbers within the settings' ranges are
    taken from it, through no symbolic link.
    """
    with sentences():
        from pydantic import ValidationError

        from ..errors import BadInput, faults_as_sentences
        from .survey_sections import SurveyedSections, put_values

        try:
            handle = os.open(request, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
            with open(handle, "rb") as file:
                text = file.read(MOST_BYTES + 1)
        except OSError as error:
            raise BadInput(f"{request} cannot be read: {error.strerror}.") from None
        if len(text) > MOST_BYTES:
            raise BadInput(f"{request} is longer than a request can be ({MOST_BYTES} bytes).")
        try:
            values = SurveyedSections.model_validate_json(text)
        except ValidationError as error:
            raise BadInput(*faults_as_sentences(error, str(request))) from None
        print_json({"kept": put_values(oven, values).name})
