"""The one error a person sees: a sentence that says what is wrong, where, what would be right."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pydantic import ValidationError


class NightcureError(Exception):
    """Something the person can put right. ``str(error)`` is one sentence per fault, a line each."""


class BadInput(NightcureError, ValueError):
    """A file, option or request that cannot be used as it stands."""

    def __init__(self, *sentences: str) -> None:
        super().__init__("\n".join(sentences))
        self.sentences: tuple[str, ...] = sentences


#: What pydantic calls a fault -> what would be right; `{...}` are its own bounds.
_RIGHT = {
    "greater_than": "it should be above {gt:g}",
    "greater_than_equal": "it should be at least {ge:g}",
    "less_than_equal": "it should be at most {le:g}",
    "finite_number": "it should be a finite number",
    "float_type": "it should be a number",
    "float_parsing": "it should be a number",
    "int_type": "it should be a whole number",
    "int_parsing": "it should be a whole number",
    "int_parsing_size": "it should be a whole number of a sensible size",
    "int_from_float": "it should be a whole number",
    "bool_type": "it should be true or false",
    "bool_parsing": "it should be true or false",
    "string_type": "it should be text in quotes",
    "path_type": "it should be a file's name in quotes",
    "string_too_short": "it should not be empty",
    "string_too_long": "it should be at most {max_length} characters long",
    "literal_error": "it should be {expected}",
    "enum": "it should be {expected}",
    "too_short": "it should have at least {min_length}",
    "too_long": "it should have at most {max_length}",
    "tuple_type": "it should be a list of tables, each under its own [[...]]",
    "model_type": "it should be a table of keys and values",
    "model_attributes_type": "it should be a table of keys and values",
}
#: Keys whose form is told better than by their pattern.
_FORM = {
    "pin": "it should be 9 to 27, since GPIO0-8 are pulled up at boot and may switch a heater on",
    "id": "it should be 28- and twelve digits or letters a-f, as under /sys/bus/w1/devices",
    "passphrase_hash": "it should be the line that nightcure setup passphrase prints",
}
#: Keys whose form is told better than by their pattern, where the key alone says too little.
_PATTERNS = {
    r"^[a-z0-9][a-z0-9-]{1,40}$": "it should be small letters, digits and dashes, two at the least",
    r"^[A-Za-z0-9_][A-Za-z0-9_.-]{0,252}$": (
        "it should be a name as 'oven.example.org', without http:// and without a port"
    ),
    r"^([01]?[0-9]|2[0-3]):[0-5][0-9]$": "it should be a time of day, such as 08:00",
    r"^[0-9A-Fa-f.:]{2,45}(/[0-9]{1,3})?$": (
        "it should be an address as '127.0.0.1', or a network as '10.1.0.0/16'"
    ),
}
_PATTERNS |= {
    r"^[A-Za-z0-9_.:-]{1,253}$": "it should be a host's name or address, without a port",
    r"^https?://[^\s/]+(/[^\s]*)?$": "it should be an address as 'https://oven.example.org'",
    r"^https?://[^\s/?#@]+/?$": "it should be an oven's page as 'http://oven-2.local:8733'",
    r"^[^+#/\x00$][^+#/\x00]*(/[^+#/\x00]+)*$": (
        "it should be a topic as 'shed/oven-1', without + and #"
    ),
}
_BOUNDS = ("greater_than_equal", "less_than_equal")
#: Keys of lists -> what one of their members is called.
_MEMBER = {"thermometers": "thermometer", "segments": "segment", "parts": "part"}


def _place(loc: tuple[int | str, ...]) -> str:
    """Where a fault is, as people would say it: `heater.pin`, `thermometer 2: id`."""
    place, rest = "", list(loc)
    while rest:
        part = rest.pop(0)
        if part in _MEMBER and rest and isinstance(rest[0], int):
            number = rest.pop(0)
            assert isinstance(number, int)
            place += f"{_MEMBER[str(part)]} {number + 1}"
            if part == "segments" and rest:
                place += f" ({rest.pop(0)})"
            place += ": "
        else:
            place += f"{part}." if rest else str(part)
    return place.removesuffix(": ")


def _found(value: Any) -> str:
    """A value as it stands in the file, shortened where it is long."""
    text = str(value).lower() if isinstance(value, bool) else repr(value)
    return text if len(text) <= 40 else f"{text[:37]}..."


def fault_sentence(fault: Any, where: str) -> str:
    """One pydantic fault as a sentence with key, value found and what would be right."""
    key = _place(fault["loc"])
    kind, found, ctx = fault["type"], fault["input"], fault.get("ctx", {})
    place = f"{where}: {key}" if key else where
    if kind == "missing":
        return f"{place} is missing; add it."
    if kind == "extra_forbidden":
        return f"{place} is not a key that is known here; check its spelling or remove it."
    if kind == "value_error":
        return f"{place}: {ctx['error']}"
    if kind == "union_tag_not_found":
        return f"{place} has no kind; it should be 'ramp', 'soak' or 'cool'."
    if kind == "union_tag_invalid":
        return f"{place}: kind is {_found(ctx['tag'])}; it should be 'ramp', 'soak' or 'cool'."
    name = fault["loc"][-1] if fault["loc"] else ""
    if name == "passphrase_hash":  # it may be the passphrase itself: not for the log
        return f"{place} is not a hash; {_FORM[name]}."
    if name == "passphrase":
        return f"{place} is none; it should be the oven's."
    if name in _FORM and kind in ("string_pattern_mismatch", *_BOUNDS):
        return f"{place} is {_found(found)}; {_FORM[name]}."
    if kind == "string_pattern_mismatch" and ctx["pattern"] in _PATTERNS:
        right = _PATTERNS[ctx["pattern"]]
    elif kind in _RIGHT:
        right = _RIGHT[kind].format(**ctx)
    else:  # pydantic's own words, which may hold braces
        right = fault["msg"][0].lower() + fault["msg"][1:].replace("input should", "it should")
    return f"{place} is {_found(found)}; {right}."


def faults_as_sentences(error: ValidationError, where: str) -> tuple[str, ...]:
    """Every fault of a pydantic error as a sentence; `where` names the file or request."""
    faults = error.errors()
    # A list whose every member was at fault is called too short as well: that would mislead.
    held = {fault["loc"][:-n] for fault in faults for n in range(1, len(fault["loc"]))}
    return tuple(
        fault_sentence(fault, where)
        for fault in faults
        if not (fault["type"] == "too_short" and fault["loc"] in held)
    )
