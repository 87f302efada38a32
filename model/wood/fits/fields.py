"""The keys of a kind of fit: declared beside its attributes, read from its table, told to a page."""

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from model.wood.material.member import Member
from model.wood.piece_table import REQUIRED, Table, near_matches


@dataclass(frozen=True)
class Field:
    """One key of a kind's table, for guided entry and for messages.

    `unit` is "mm", "degrees", "%", "count", "choice", "flag", "text", "member" or "members". A default of
    None on a field that is not required means: left out, or worked out from the rest as `usual` says.
    `only_when` names another key and the values of it for which this field counts.
    """

    key: str
    attribute: str
    meaning: str
    unit: str
    required: bool
    default: Any = None
    choices: tuple[str, ...] = ()
    usual: str = ""
    only_when: tuple[str, tuple[str, ...]] | None = None
    zero: bool = False
    span: tuple[float, float] = (0.0, 0.0)


def _declare(unit: str, meaning: str, default: Any, **more: Any) -> Any:
    metadata = {"unit": unit, "meaning": meaning, "required": default is REQUIRED, **more}
    if default is REQUIRED:
        return dataclasses.field(metadata=metadata)
    return dataclasses.field(default=default, metadata=metadata)


def length(
    meaning: str,
    default: Any = REQUIRED,
    zero: bool = False,
    usual: str = "",
    only_when: tuple[str, tuple[str, ...]] | None = None,
) -> Any:
    """A length in mm; its key is the attribute's name without `_mm`."""
    return _declare("mm", meaning, default, zero=zero, usual=usual, only_when=only_when)


def number(
    meaning: str, span: tuple[float, float], unit: str, default: Any = REQUIRED, usual: str = ""
) -> Any:
    return _declare(unit, meaning, default, span=span, usual=usual)


def choice(meaning: str, choices: tuple[str, ...], default: Any = REQUIRED) -> Any:
    return _declare("choice", meaning, default, choices=choices)


def count(meaning: str, default: int) -> Any:
    """A whole number of 1 or more."""
    return _declare("count", meaning, default)


def text(meaning: str, default: Any = "") -> Any:
    return _declare("text", meaning, default)


def flag(meaning: str, default: bool) -> Any:
    return _declare("flag", meaning, default)


def one_member(meaning: str) -> Any:
    return _declare("member", meaning, REQUIRED)


def several_members(meaning: str, default: Any = REQUIRED, key: str | None = None) -> Any:
    """One or more members; `key` where the table calls them otherwise than the attribute."""
    return _declare("members", meaning, default, **({"key": key} if key else {}))


class Millimetres:
    """A length in a message."""

    def __init__(self, length_mm: float) -> None:
        self.length_mm = length_mm

    def __repr__(self) -> str:
        return f"{self.length_mm:.4g} mm"


def read_field(reader: Table, field: Field, members: Mapping[str, Member]) -> Any:
    key, meaning = field.key, field.meaning
    default = REQUIRED if field.required else field.default
    if field.unit == "mm":
        return reader.length(key, meaning, default, field.zero)
    if field.unit == "choice":
        return reader.choice(key, meaning, field.choices, default)
    if field.unit == "count":
        return reader.count(key, meaning, field.default)
    if field.unit == "flag":
        return reader.flag(key, meaning, field.default)
    if field.unit == "text":
        return reader.text(key, meaning, default)
    if field.unit in ("member", "members"):
        return _members_named(reader, field, members)
    low, high = field.span
    return reader.number(key, meaning, low, high, default, field.unit)


def _members_named(reader: Table, field: Field, members: Mapping[str, Member]) -> Any:
    several = field.unit == "members"
    key = field.key
    # A fit of one part may say `part = "front"` where its kind takes several.
    if several and key == "parts" and not reader.has(key) and reader.has("part"):
        key = "part"
    elif several and key == "parts" and reader.has("part"):
        raise reader.bad("part", "must be left out when parts is given", reader.values["part"])
    value = reader.take(key, field.meaning, REQUIRED if field.required else field.default)
    if value is field.default and not reader.has(key):
        return value
    names = [value] if isinstance(value, str) else value
    if not isinstance(names, list | tuple) or not names or not all(isinstance(n, str) for n in names):
        what = "a part's name or a list of them" if several else "a part's name"
        raise reader.bad(key, f"must be {what}", value)
    if not several and len(names) != 1:
        raise reader.bad(key, "must be one part's name", value)
    for name in names:
        if name not in members:
            known = near_matches(name, members) or f" (there are: {', '.join(sorted(members)) or 'none'})"
            raise reader.bad(key, f"must name a part of this piece{known}", name)
    found = tuple(members[name] for name in names)
    return found if several else found[0]
