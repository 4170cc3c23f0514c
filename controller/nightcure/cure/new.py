"""A card from a data sheet: the questions, and the card their answers make."""

from __future__ import annotations

import math
import re
from typing import Any

from ..errors import BadInput
from .card import Card, load_card, parse_card
from .card_sections import Time

SHEET = "your data sheet"
#: What an answer may be; the card's own limits.
RANGES: dict[str, tuple[float, float]] = {
    "lowest_c": (-10.0, 200.0),
    "highest_c": (20.0, 250.0),
    "monomer_pct": (0.0, 70.0),
    "density_kg_per_m3": (800.0, 2500.0),
    "demould": (1.0, 100_000.0),
    "demould_at_c": (-10.0, 200.0),
    "demould_catalyst_pct": (0.1, 5.0),
}
#: How an answer is called in a refusal, and its unit.
CALLED: dict[str, tuple[str, str]] = {
    "lowest_c": ("The lowest working temperature", " °C"),
    "highest_c": ("The highest temperature", " °C"),
    "monomer_pct": ("The styrene share", " %"),
    "density_kg_per_m3": ("The density", " kg/m³"),
    "demould": ("The time to demould", " minutes"),
    "demould_at_c": ("The temperature of the demould", " °C"),
    "demould_catalyst_pct": ("The catalyst of the demould", " %"),
}
#: What a row of gel times may say, in its order; the card's own limits.
ROW: tuple[tuple[str, float, float, str], ...] = (
    ("the temperature", -10.0, 250.0, " °C"),
    ("the catalyst", 0.1, 5.0, " %"),
    ("the gel time", 0.1, 100_000.0, " minutes"),
)
#: A density below this is told in kg per litre, as many data sheets do.
MOST_KG_PER_LITRE = 20.0
ALL_THREE = "temperature °C, catalyst %, minutes"
NO_DATA = f"{ALL_THREE}; without the % where the ratio is fixed"


def questions(like: str) -> list[tuple[str, str]]:
    """(key, question) in the order in which they are asked. Raises BadInput for no such card."""
    card = load_card(like)
    asked = [
        ("name", "A short name (small letters, digits, dashes)"),
        ("title", "The resin's name"),
        ("lowest_c", "Lowest working temperature, °C"),
        ("highest_c", "Highest temperature, °C"),
        ("monomer_pct", "Styrene share, % by weight"),
        ("density_kg_per_m3", "Density, kg/m³ or kg/litre"),
        ("demould", "Demould after, minutes"),
        ("demould_at_c", "... at, °C"),
    ]
    if card.gel and card.gel[0].catalyst_pct is not None:
        asked.append(("demould_catalyst_pct", "... with catalyst, %"))
    return asked


def checked_answer(key: str, text: str) -> str:
    """One answer as it is kept: a decimal comma becomes a point, kg/litre kg/m³.

    Raises:
        BadInput: it cannot be; the sentence has the range.
    """
    text = text.strip()
    if key == "name" and text and not re.fullmatch(r"[a-z0-9][a-z0-9-]{1,40}", text):
        raise BadInput(f"'{text}' cannot be a name; use small letters, digits and dashes.")
    if key not in RANGES or not text:
        return text
    least, most = RANGES[key]
    what, unit = CALLED[key]
    low = f"{least:g}{unit}" if unit == " °C" else f"{least:g}"
    span = f"{low} to {most:g}{unit}"
    value = _number(text.replace(",", "."), what, f", {span}")
    if key == "density_kg_per_m3" and value < MOST_KG_PER_LITRE:
        value *= 1000.0
    if not least <= value <= most:
        raise BadInput(f"{what} is {text}{unit}; it should be {span}.")
    return f"{value:g}"


def assemble(like: str, answers: dict[str, str], gel_rows: list[str]) -> Card:
    """The card the answers make; what was not answered is the generic card's.

    Raises:
        BadInput: an answer that is no number, or a card that cannot be true.
    """
    generic = load_card(like)
    data: dict[str, Any] = _generic(generic.model_dump(mode="json", exclude_none=True))
    data["reference"] = False
    data["generic"] = generic.generic and not gel_rows
    data["name"] = answers.get("name", "").strip() or f"my-{generic.name}"
    data["title"] = answers.get("title", "").strip() or f"{generic.title}, calibrated"
    for key in ("lowest_c", "highest_c", "monomer_pct", "density_kg_per_m3"):
        if answers.get(key, "").strip():
            data[key] = {"value": _number(answers[key], key), "source": SHEET}
    if answers.get("demould", "").strip():
        demould: dict[str, Any] = {
            "minutes": _number(answers["demould"], "demould"),
            "at_c": _number(answers.get("demould_at_c", ""), "demould_at_c"),
            "source": SHEET,
        }
        if answers.get("demould_catalyst_pct", "").strip():
            demould["catalyst_pct"] = _number(answers["demould_catalyst_pct"], "demould catalyst")
        demould["low_minutes"], demould["high_minutes"] = (
            round(0.7 * demould["minutes"], 1),
            round(1.4 * demould["minutes"], 1),
        )
        data["demould"] = demould
    if gel_rows:
        data["gel"] = [_gel_row(row, generic) for row in gel_rows]
        times = {k: data.pop(k) for k in ("demould", "full_cure") if k in data}
        gels = parse_card(data, "the new card")
        for key, time in times.items():
            own = time["source"] == SHEET
            data[key] = time if own else _placed(time, getattr(generic, key), generic, gels)
    return parse_card(data, "the new card")


def _placed(data: dict[str, Any], time: Time, generic: Card, card: Card) -> dict[str, Any]:
    """A generic time (`data`) as a card's own gel times allow it.

    Where they do not reach its temperature or catalyst share it is given at the nearest they have,
    as many gel times long: the cure after the gel is taken to quicken as the gel does.
    """
    shares = sorted(r.catalyst_pct for r in card.gel if r.catalyst_pct is not None)
    share = time.catalyst_pct
    if share is not None and shares:
        share = min(max(share, shares[0]), shares[-1])
    table = card.gel_table(share)
    at_c = max(time.at_c, table.coldest_c)
    if (share, at_c) == (time.catalyst_pct, time.at_c):
        return data
    was, now = generic.gel_table(time.catalyst_pct).at(time.at_c), table.at(at_c)
    assert was is not None
    assert now is not None
    moved = {k: round(v * now / was, 1) for k, v in data.items() if k.endswith("minutes")}
    source = f"generic: {time.minutes / was:.3g} gel times; {time.source}"[:200]
    placed = {**data, **moved, "at_c": at_c, "source": source}
    return placed if share is None else {**placed, "catalyst_pct": share}


def _generic(value: Any) -> Any:
    """Every source says that the number is the generic card's."""
    if isinstance(value, dict):
        return {
            k: f"generic: {v}"[:200] if k.endswith("source") else _generic(v)
            for k, v in value.items()
        }
    return [_generic(v) for v in value] if isinstance(value, list) else value


def check_gel_row(like: str, text: str) -> None:
    """Whether a row of gel times can be. Raises BadInput."""
    _gel_row(text, load_card(like))


def _gel_row(text: str, generic: Card) -> dict[str, Any]:
    parts = [p for p in re.split(r"[,;\s]+", text.strip()) if p]
    if len(parts) not in (2, 3):
        raise BadInput(f"gel row '{text}' should have two or three numbers: {NO_DATA}.")
    if generic.gel:
        count = 2 if generic.gel[0].catalyst_pct is None else 3
        if len(parts) != count:
            right = "two: temperature °C, minutes" if count == 2 else f"three: {ALL_THREE}"
            raise BadInput(
                f"gel row '{text}' has {len(parts)} numbers; like {generic.name}'s it should have "
                f"{right}."
            )
    numbers = [_number(p, f"gel row '{text}'") for p in parts]
    asked = ROW if len(numbers) == 3 else (ROW[0], ROW[2])
    for value, (what, least, most, unit) in zip(numbers, asked, strict=True):
        if not least <= value <= most:
            raise BadInput(
                f"gel row '{text}': {what} is {value:g}{unit}; it should be {least:g} to "
                f"{most:g}{unit}."
            )
    row: dict[str, Any] = {"temp_c": numbers[0], "minutes": numbers[-1], "source": SHEET}
    if len(numbers) == 3:
        row["catalyst_pct"] = numbers[1]
    return row


def _number(text: str, what: str, within: str = "") -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise BadInput(f"{what} is '{text}'; it should be a number{within}.")
    return value
