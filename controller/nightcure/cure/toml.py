"""A card as TOML text, which the standard library reads but does not write."""

from __future__ import annotations

import json
from typing import Any

from .card import Card


def as_toml(card: Card, remark: str) -> str:
    """The card's file: plain keys first, then one table each; what is not known is left out."""
    data = card.model_dump(mode="json", exclude_none=True)
    plain: list[str] = []
    tables: list[str] = []
    for key, value in data.items():
        if isinstance(value, dict) and set(value) != {"value", "source"}:
            lines = [f"{k} = {_value(v)}" for k, v in value.items()]
            tables.append("\n".join([f"\n[{key}]", *lines]))
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            rows = "".join(f"  {_value(row)},\n" for row in value)
            plain.append(f"{key} = [\n{rows}]")
        elif value != []:
            plain.append(f"{key} = {_value(value)}")
    return "\n".join([f"# {remark}", *plain, *tables]) + "\n"


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    if isinstance(value, float):
        return repr(value)
    return json.dumps(value, ensure_ascii=False)
