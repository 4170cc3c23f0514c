"""The ruler's own process: a box by its sizes on standard input, what it comes to on output."""

from __future__ import annotations

import json
import sys
from typing import Any

from pydantic import ValidationError

from nightcure.cure.clock_figures import ClockFigures
from nightcure.errors import NightcureError, faults_as_sentences
from nightcure.oven.description import GAP_MM, MOULD_M2_PER_KG, Description
from nightcure.oven.meaning import meaning_of
from nightcure.oven.sizing import size
from nightcure.plan.one_heat import one_heat
from nightcure.settings import Limits


def main() -> None:
    """Answer with the box, or with `refused`: sentences."""
    asked = json.load(sys.stdin)
    try:
        answer = told(asked)
    except ValidationError as error:
        answer = {"refused": list(faults_as_sentences(error, "the box"))}
    except (NightcureError, ValueError) as error:
        answer = {"refused": str(error).splitlines()}
    json.dump(answer, sys.stdout)


def told(asked: dict[str, Any]) -> dict[str, Any]:
    """The box as `models.ruler_models.Ruled` has it.

    Raises:
        ValidationError: sizes no box has.
        ValueError: a hold that is not above the shed.
    """
    box = _box(asked["box"])
    network, shape = box.network(), box.shape
    ambient_c, hold_c = asked["ambient_c"], asked["hold_c"]
    sized = size(
        network, hold_c, ambient_c, asked["ramp_c_per_h"], warmest_c=asked["warmest_c"],
        cut_outs=asked["cut_outs"],
    )  # fmt: skip
    figures = asked.get("figures")
    heat = one_heat(
        network, ambient_c, asked["heat_to_c"], hold_c,
        None if figures is None else ClockFigures.model_validate(figures),
        3600.0 * asked["before_h"], asked["before_c"],
    )  # fmt: skip
    return {
        "faces": [face._asdict() for face in shape.faces],
        "outline_m": [list(corner) for corner in shape.outline_m],
        "length_m": shape.length_m,
        "area_m2": shape.area_m2,
        "volume_m3": shape.volume_m3,
        "loss_w_per_k": network.loss_w_per_k,
        "leak_w_per_k": network.leak_w_per_k,
        "hold_w": sized.hold_w,
        "recommended_w": sized.recommended_w,
        "meaning": meaning_of(network.power_w, box.model(), Limits.model_validate(asked["limits"])),
        "cautions": list(sized.cautions),
        "what_ifs": [
            {"change": name, "loss_w_per_k": changed.network().loss_w_per_k,
             "rise_k": changed.heater.power_w / changed.network().loss_w_per_k}
            for name, changed in box.what_ifs()[1:]
        ],
        "one_heat": heat.as_json(),
    }  # fmt: skip


def _box(asked: dict[str, Any]) -> Description:
    """Joints along every edge, moulds with the surface their weight has."""
    moulds = [{**m, "area_m2": MOULD_M2_PER_KG * m["mass_kg"]} for m in asked["moulds"]]
    box = Description.model_validate({**asked, "moulds": moulds})
    gaps = {**asked["gaps"], "length_m": min(box.shape.edges_m, 1000.0), "width_mm": GAP_MM}
    return Description.model_validate({**asked, "moulds": moulds, "gaps": gaps})


if __name__ == "__main__":
    main()
