"""TOML as people edit it: written whole, or changed in some values with all remarks kept."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import tomlkit
from tomlkit.exceptions import ParseError
from tomlkit.items import Item

from ..errors import BadInput


def toml_text(data: Mapping[str, Any], remark: str = "") -> str:
    """A file of these values: plain ones first, then a table for each mapping.

    A list of mappings is a table for each; a mapping within a table, and one of a value with its
    source, stands in one line. What is None or empty is left out.
    """
    document = tomlkit.document()
    if remark:
        document.add(tomlkit.comment(remark))
    known = {key: value for key, value in data.items() if value not in (None, [], {})}
    tables = {key: value for key, value in known.items() if _is_table(value)}
    for key, value in known.items():
        if key not in tables:
            document.add(key, _inline(value))
    for key, value in tables.items():
        if isinstance(value, list):
            rows = tomlkit.aot()
            for row in value:
                rows.append(_table(row))
            document.append(key, rows)
        else:
            document.add(key, _table(value))
    return tomlkit.dumps(document)


def with_values(text: str, tables: Mapping[str, tuple[str, Mapping[str, Any]]]) -> str:
    """A file's text with some values of some tables put in; all else stays as it is.

    Args:
        tables: by name, the remark beside the table's name and its values.

    Raises:
        BadInput: the text is no TOML.
    """
    try:
        document = tomlkit.parse(text)
    except ParseError as error:
        raise BadInput(f"It is not TOML: {error}.") from None
    for name, (remark, values) in tables.items():
        if name not in document:
            document.add(name, tomlkit.table())
        table: Any = document[name]
        if remark:
            table.comment(remark)
        for key, value in values.items():
            if key in table:
                table[key] = value
                told = table.value.item(key).trivia
                told.comment_ws = told.comment = ""  # it was of the value before
            else:
                table.add(key, value)
    return tomlkit.dumps(document)


def _is_table(value: Any) -> bool:
    if isinstance(value, list):
        return any(isinstance(row, Mapping) and _is_table(row) for row in value)
    return isinstance(value, Mapping) and value.keys() != {"value", "source"}


def _table(values: Mapping[str, Any]) -> Item:
    table = tomlkit.table()
    for key, value in values.items():
        if value not in (None, [], {}):
            table.add(key, _inline(value))
    return table


def _inline(value: Any) -> Any:
    if isinstance(value, Mapping):
        row = tomlkit.inline_table()
        for key, one in value.items():
            if one is not None:
                row.append(key, _inline(one))
        return row
    if isinstance(value, list):
        rows = tomlkit.array()
        for one in value:
            rows.append(_inline(one))
        return rows.multiline(any(isinstance(one, Mapping) for one in value))
    return value
