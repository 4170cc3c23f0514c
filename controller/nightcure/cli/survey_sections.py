"""The [model] and [regulator] sections that a survey makes, and into an oven.toml."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import Field

from ..errors import BadInput
from ..settings import Model, Regulator, Section
from ..settings.toml_text import with_values
from ..setup.oven_file import write_checked

if TYPE_CHECKING:
    from ..survey.identified import Survey
    from ..survey.tuning import Tuned


class SurveyedSections(Section):
    """What a survey found, to be put into an oven.toml: checked values, no text of anybody's."""

    night_id: Annotated[int, Field(ge=1)]
    model: Model
    regulator: Regulator


def sections(found: Survey, tuned: Tuned | None) -> dict[str, tuple[str, dict[str, Any]]]:
    """[model] as a survey found it, and [regulator] as the rules give it where there are gains:
    remark and values."""
    loss = found.loss_w_per_k
    note = "" if loss is None else f"by survey; loss {loss.low:.3g} to {loss.high:.3g} W/K"
    told = {"model": (note, {**_rounded(found.model()), "measured": loss is not None})}
    if tuned is not None:
        told["regulator"] = tuned.gains.rule, _rounded(tuned.regulator())
    return told


def _rounded(values: Mapping[str, Any]) -> dict[str, Any]:
    return {
        key: float(f"{value:.4g}") if isinstance(value, float) else value
        for key, value in values.items()
    }


def put_into(oven: Path, found: Survey, tuned: Tuned | None) -> Path:
    """Put both sections into an oven.toml; the old file is kept under the name returned.

    Raises:
        BadInput: as `put_sections`.
    """
    return put_sections(oven, sections(found, tuned))


def put_values(oven: Path, values: SurveyedSections) -> Path:
    """The same from values alone, as the page's server asks for them. Raises as `put_sections`."""
    note = f"by survey of night {values.night_id}"
    both = {"model": values.model, "regulator": values.regulator}
    told = {name: (note, _rounded(s.model_dump(exclude_unset=True))) for name, s in both.items()}
    return put_sections(oven, told)


def put_sections(oven: Path, told: Mapping[str, tuple[str, Mapping[str, Any]]]) -> Path:
    """Put sections into an oven.toml; the old file is kept under the name returned.

    That is .bak, or .bak2, .bak3 and on: what was kept before stays.

    The rest stays, what a survey says nothing of in these sections too (`hysteresis_c`).

    Args:
        told: by the section's name, a remark and its values.

    Raises:
        BadInput: the file with the new sections would not be a valid one; it is left as it was.
    """
    new = with_values(oven.read_text(encoding="utf-8-sig"), told)
    try:
        kept = _kept(oven)
    except OSError as error:
        raise BadInput(f"{oven} cannot be kept as .bak: {error.strerror}.") from None
    write_checked(oven, new, replace=True)
    return kept


def _kept(oven: Path) -> Path:
    """A copy of the file under a name of its own, or the copy that is there already."""
    for number in count(1):
        kept = oven.with_name(f"{oven.name}.bak{number if number > 1 else ''}")
        if not kept.exists():
            shutil.copy2(oven, kept)  # as private as the file itself
            break
        if kept.is_file() and kept.read_bytes() == oven.read_bytes():
            break
    return kept
