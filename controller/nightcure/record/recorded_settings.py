"""The settings a night ran with, as they were.

They are read without today's limits: a night that was allowed when it was recorded stays readable
whatever is allowed now. What a person writes into oven.toml is checked by `settings` itself.
"""

from __future__ import annotations

import json
from types import UnionType
from typing import Any, TypeVar, Union, get_args, get_origin

from pydantic import TypeAdapter

from ..errors import BadInput
from ..ledger.rows import NightRow
from ..settings import Section, Settings

S = TypeVar("S", bound=Section)


def settings_of(night: NightRow) -> Settings:
    """The settings of a recorded night.

    Raises:
        BadInput: this version does not know a key of theirs, or lacks one.
    """
    try:
        return _section(Settings, json.loads(night.settings))
    except ValueError as error:
        from .. import __version__

        first = str(error).splitlines()[0]
        raise BadInput(
            f"Night {night.id} was run by version {night.version}, whose settings this one "
            f"({__version__}) cannot read: {first}."
        ) from None


def _section(kind: type[S], data: Any) -> S:
    """A section from its recorded table: known keys, values of their kind, no range looked at."""
    if not isinstance(data, dict):
        raise ValueError(f"{kind.__name__.lower()} is no table")
    fields = kind.model_fields
    unknown = sorted(data.keys() - fields.keys())
    if unknown:
        raise ValueError(f"{kind.__name__.lower()} has '{unknown[0]}', which is not known here")
    missing = [name for name, f in fields.items() if f.is_required() and name not in data]
    if missing:
        raise ValueError(f"{kind.__name__.lower()} has no {missing[0]}")
    values = {name: _value(fields[name].annotation, value) for name, value in data.items()}
    section: S = kind.model_construct(**values)  # type: ignore[assignment]
    return section


def _value(kind: Any, value: Any) -> Any:
    """A recorded value as `kind`, a field's type without its range."""
    if get_origin(kind) in (Union, UnionType):
        if value is None:
            return None
        (kind,) = [k for k in get_args(kind) if k is not type(None)]
    if get_origin(kind) is tuple:
        return tuple(_value(get_args(kind)[0], item) for item in value)
    if isinstance(kind, type) and issubclass(kind, Section):
        return _section(kind, value)
    return TypeAdapter(kind).validate_python(value)
