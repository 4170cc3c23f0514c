"""The settings a night ran with, as they were.

They are read without today's limits: a night that was allowed when it was recorded stays readable
whatever is allowed now. What no settings ever were is refused: a number that is not finite, one
below zero (or zero) where none may be, no thermometer of the air. What a person writes into
oven.toml is checked by `settings` itself.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from types import UnionType
from typing import Any, TypeVar, Union, get_args, get_origin

from pydantic import TypeAdapter, ValidationError

from ..errors import BadInput
from ..ledger.rows import NightRow
from ..settings import Limits, Role, Section, Settings

S = TypeVar("S", bound=Section)
#: No setting is ever as large.
HUGE = 1e9


def settings_of(night: NightRow) -> Settings:
    """The settings of a recorded night.

    Raises:
        BadInput: this version does not know a key of theirs, or lacks one.
    """
    try:
        settings = _section(Settings, json.loads(night.settings))
        if not settings.indices(Role.AIR):
            raise ValueError("there is no thermometer of the air")
        return settings
    except (ValueError, TypeError) as error:
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
    values = {}
    for name, recorded in data.items():
        found = f"{kind.__name__.lower()}.{name} is {str(recorded)[:40]}"
        try:
            value = values[name] = _value(fields[name].annotation, recorded)
        except ValidationError:
            raise ValueError(found) from None
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if number and not _can_be(value, fields[name].metadata):
            raise ValueError(found)
    if kind is Limits:
        values.setdefault("cut_out_c", None)
    section: S = kind.model_construct(**values)  # type: ignore[assignment]
    return section


def _value(kind: Any, value: Any) -> Any:
    """A recorded value as `kind`, a field's type without its range."""
    if get_origin(kind) in (Union, UnionType):
        if value is None:
            return None
        (kind,) = [k for k in get_args(kind) if k is not type(None)]
    if get_origin(kind) is tuple:
        if not isinstance(value, list):
            raise ValueError(f"{str(value)[:40]} is no list")
        return tuple(_value(get_args(kind)[0], item) for item in value)
    if isinstance(kind, type) and issubclass(kind, Section):
        return _section(kind, value)
    return TypeAdapter(kind).validate_python(value)


def _can_be(value: float, limits: Iterable[Any]) -> bool:
    """Whether a number is finite, and positive (or not negative) where today's least one is."""
    if not abs(value) < HUGE:
        return False
    for limit in limits:
        above, least = getattr(limit, "gt", None), getattr(limit, "ge", None)
        lowest = above if above is not None else least
        if lowest is None or lowest < 0:
            continue
        if value < 0 or (value == 0 and (above is not None or lowest > 0)):
            return False
    return True
