"""The [model] and [regulator] sections that a survey makes, as text and into a file."""

from __future__ import annotations

import re
import shutil
from collections.abc import Mapping
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from pydantic import Field

from ..errors import BadInput
from ..settings import Model, Regulator, Section
from ..setup.oven_file import write_checked

if TYPE_CHECKING:
    from ..survey.identified import Survey
    from ..survey.tuning import Tuned


class SurveyedSections(Section):
    """What a survey found, to be put into an oven.toml: checked values, no text of anybody's."""

    night_id: Annotated[int, Field(ge=1)]
    model: Model
    regulator: Regulator


def _lines(values: Mapping[str, float | str | bool]) -> list[str]:
    lines = []
    for key, value in values.items():
        if isinstance(value, bool):
            shown = str(value).lower()
        elif isinstance(value, str):
            shown = f'"{value}"'
        else:
            shown = repr(float(f"{value:.4g}"))
        lines.append(f"{key} = {shown}")
    return lines


def model_section(found: Survey) -> str:
    """[model] as a survey found it."""
    loss = found.loss_w_per_k
    note = "" if loss is None else f"  # by survey; loss {loss.low:.3g} to {loss.high:.3g} W/K"
    values: dict[str, float | str | bool] = {**found.model(), "measured": loss is not None}
    return "\n".join([f"[model]{note}", *_lines(values)])


def regulator_section(tuned: Tuned) -> str:
    """[regulator] as the rules give it."""
    return "\n".join([f"[regulator]  # {tuned.gains.rule}", *_lines(tuned.regulator())])


def sections(found: Survey, tuned: Tuned | None) -> str:
    """What a survey knows as TOML: the model, and gains where there are any."""
    if tuned is None:
        return model_section(found)
    return f"{model_section(found)}\n\n{regulator_section(tuned)}"


def _replaced(toml: str, name: str, section: str) -> str:
    """TOML with a section's lines in place of what it says of the same keys."""
    lines = toml.splitlines()
    starts = [i for i, line in enumerate(lines) if re.match(r"\s*\[", line)]
    at = next((i for i in starts if re.match(rf"\s*\[\s*{name}\s*\]", lines[i])), None)
    if at is None:
        return f"{toml.rstrip()}\n\n{section}\n"
    end = next((i for i in starts if i > at), len(lines))
    while end > at + 1 and re.match(r"\s*(#|$)", lines[end - 1]):
        end -= 1  # remarks above the next section are its own
    written = {line.partition(" =")[0] for line in section.splitlines()}
    rest = [
        line
        for line in lines[at + 1 : end]
        if "=" in line and line.partition("=")[0].strip().strip("\"'") not in written
        and not line.lstrip().startswith("#")
    ]  # fmt: skip
    return "\n".join([*lines[:at], section, *rest, *lines[end:]]) + "\n"


def put_into(oven: Path, found: Survey, tuned: Tuned | None) -> Path:
    """Replace what a survey knows of an oven.toml; the old file is kept under the name returned.

    Raises:
        BadInput: as `put_sections`.
    """
    gains = None if tuned is None else regulator_section(tuned)
    return put_sections(oven, model_section(found), gains)


def put_values(oven: Path, values: SurveyedSections) -> Path:
    """The same from values alone, as the page's server asks for them. Raises as `put_sections`."""
    note = f"  # by survey of night {values.night_id}"
    model = values.model.model_dump(exclude_unset=True)
    regulator = values.regulator.model_dump(exclude_unset=True)
    return put_sections(
        oven,
        "\n".join([f"[model]{note}", *_lines(model)]),
        "\n".join([f"[regulator]{note}", *_lines(regulator)]),
    )


def put_sections(oven: Path, model: str, regulator: str | None) -> Path:
    """Replace [model], and [regulator] where there are gains; the old file is kept under the name
    returned.

    That is .bak, or .bak2, .bak3 and on: what was kept before stays.

    The rest stays, what a survey says nothing of in these sections too (`hysteresis_c`).

    Raises:
        BadInput: the file with the new sections would not be a valid one; it is left as it was.
    """
    old = oven.read_text(encoding="utf-8-sig")
    new = _replaced(old, "model", model)
    if regulator is not None:
        new = _replaced(new, "regulator", regulator)
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
