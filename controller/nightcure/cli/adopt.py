"""nightcure adopt: what the page's survey found, into oven.toml. For the service that may write."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from .show import print_json, sentences

if TYPE_CHECKING:
    from ..settings import Settings
    from .survey_sections import SurveyedSections

#: A request has a dozen numbers.
MOST_BYTES = 16_384
#: What is taken from it; of the settings, nothing else.
MODEL = (
    *("loss_w_per_k", "air_capacity_j_per_k", "mould_capacity_j_per_k", "mould_lag_s"),
    *("heater_lag_s", "measured"),
)
GAINS = ("gain_w_per_k", "integral_s", "derivative_s", "filter_s")
#: What no oven for parts is outside of: the warmth above its shed that the heater could hold, K,
#: and its heat capacity over its loss, s.
RISE_K, SLOW_S = (5.0, 400.0), (300.0, 72.0 * 3600.0)
#: Old files that are kept; somebody looks before there are more.
MOST_KEPT = 50


def adopt(
    request: Annotated[Path, typer.Argument(help="What the page asks for, as JSON.")],
    oven: Annotated[Path, typer.Option(help="The oven.toml to change; the old one stays as .bak.")],
) -> None:
    """Put [model] and the gains that follow from it into an oven.toml, from a request.

    The request is the page's and is not believed: only numbers are taken from it, within the
    settings' ranges and within what an oven with this heater can be (5 to 400 K above its shed,
    a heat capacity of 5 minutes to 72 hours of its loss), through no symbolic link. Nothing is
    written while a night runs or a trip waits for its reset.
    """
    with sentences():
        from pydantic import ValidationError

        from ..errors import BadInput, faults_as_sentences
        from ..settings import load_settings
        from .survey_sections import SurveyedSections, put_values

        settings = load_settings(oven)
        refuse_in_a_night(settings)

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
        refuse_what_no_oven_is(values, settings.heater.power_w)
        if len(list(oven.parent.glob(f"{oven.name}.bak*"))) >= MOST_KEPT:
            raise BadInput(
                f"{oven.parent} keeps {MOST_KEPT} old files of {oven.name}; put some away first."
            )
        print_json({"kept": put_values(oven, only_what_was_found(values)).name})


def refuse_in_a_night(settings: Settings) -> None:
    """Raise BadInput unless the trip latch says that the oven rests, or that it never ran."""
    from ..errors import BadInput
    from ..ledger.latch_file import ARMED, CLEAR, MISSING, TRIPPED, read_latch, state_folder

    latch = read_latch(state_folder(settings.ledger))
    if latch.state in (CLEAR, MISSING) and not latch.torn:
        return
    why = {
        ARMED: "A night is under way; write it once the oven rests.",
        TRIPPED: "The oven has tripped; write it after a person's reset.",
    }
    raise BadInput(why.get(latch.state, "The trip latch cannot be read; see the controller."))


def refuse_what_no_oven_is(values: SurveyedSections, power_w: float) -> None:
    """Raise BadInput for numbers that no oven with this heater has."""
    from ..errors import BadInput

    m = values.model
    least, most = (power_w / k for k in reversed(RISE_K))
    if not least <= m.loss_w_per_k <= most:
        raise BadInput(
            f"the loss is {m.loss_w_per_k:g} W/K; with a heater of {power_w:g} W it should be "
            f"{least:.3g} to {most:.3g} W/K."
        )
    slow_s = (m.air_capacity_j_per_k + m.mould_capacity_j_per_k) / m.loss_w_per_k
    if not SLOW_S[0] <= slow_s <= SLOW_S[1]:
        raise BadInput(
            f"heat capacity over loss is {slow_s:.3g} s; it should be {SLOW_S[0]:g} to "
            f"{SLOW_S[1]:g} s."
        )


def only_what_was_found(values: SurveyedSections) -> SurveyedSections:
    """The request without whatever a survey does not find."""
    from ..settings import Model, Regulator

    model = values.model.model_dump(include=set(MODEL), exclude_unset=True)
    gains = values.regulator.model_dump(include=set(GAINS), exclude_unset=True)
    found = {"model": Model.model_validate(model), "regulator": Regulator.model_validate(gains)}
    return values.model_copy(update=found)
