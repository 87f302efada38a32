"""Reading one table of a piece file, key by key.

Every mistake becomes one `BadInput` that names the file, the key, the rule and the value, whether the
table came from a TOML file, from the database or from a page.
"""

import difflib
from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from typing import Any

from model.wood.errors import BadInput
from model.wood.units import parse_length_mm

# Spellings of the other side of the ocean, read as ours.
_SPELLINGS = {
    "center": "centre",
    "centered": "centre",
    "miter": "mitre",
    "molding": "moulding",
    "mold": "mould",
    "plow": "plough",
    "rebate": "rabbet",
    "housing": "dado",
    "fiber": "fibre",
}


class _Nothing:
    """Stands for the value of a key that is not there, in a message."""

    def __repr__(self) -> str:
        return "nothing"


NOTHING = _Nothing()
REQUIRED: Any = _Nothing()


def plain_word(text: str) -> str:
    """The word in lower case and in this project's spelling: "Center" is "centre"."""
    words = text.strip().lower().replace("_", "-").split("-")
    return "-".join(" ".join(_SPELLINGS.get(bit, bit) for bit in word.split()) for word in words)


def near_matches(word: str, known: Iterable[str]) -> str:
    """The rest of a sentence that offers the nearest known words; empty when none is near."""
    close = difflib.get_close_matches(word, list(known), n=3, cutoff=0.6)
    return f"; did you mean {' or '.join(close)}?" if close else ""


def in_present_words(table: Any) -> Any:
    """The same piece document, or table of a fit, with "part" where an old file says "member".

    A fit's `part` was then what is fixed across the member.
    """
    if not isinstance(table, Mapping) or not {"member", "members"} & table.keys():
        return table
    now = {"member": "part", "members": "parts", "part": "across"}
    return {now.get(str(key), key): value for key, value in table.items()}


class Table:
    """A table of a document, read once, key by key.

    Parameters
    ----------
    values : object
        What should be a table: a mapping of keys to values.
    where : str
        The file or record, for messages.
    path : str
        The table's own name in the document, such as "fit.back_panel".
    noun : str
        What the table describes, for messages: "a member", "a panel-in-groove fit".

    Raises
    ------
    BadInput
        If it is no table; the reading methods raise it for each rule that a value breaks.
    """

    def __init__(self, values: object, where: str, path: str, noun: str) -> None:
        if not isinstance(values, Mapping):
            raise BadInput(where, path, "must be a table of keys and values", values)
        self.values: Mapping[str, Any] = values
        self.where, self.path, self.noun = where, path, noun
        self._read: set[str] = set()

    def key(self, key: str) -> str:
        return f"{self.path}.{key}"

    def bad(self, key: str, rule: str, got: object) -> BadInput:
        return BadInput(self.where, self.key(key), rule, got)

    def has(self, key: str) -> bool:
        return self.values.get(key) is not None

    def take(self, key: str, meaning: str, default: Any = REQUIRED) -> Any:
        """The raw value, or the default; a missing required key is named with its meaning."""
        self._read.add(key)
        value = self.values.get(key)
        if value is None:
            if default is REQUIRED:
                raise self.bad(key, f"must be given ({meaning})", NOTHING)
            return default
        return value

    def length(self, key: str, meaning: str, default: Any = REQUIRED, zero: bool = False) -> Any:
        """A length in mm; `zero` allows nought. Rounded to a nanometre, so that 14 1/2 in is 368.3 mm."""
        value = self.take(key, meaning, default)
        if value is default and not self.has(key):
            return default
        rule = f"must be a length {'of 0 or more' if zero else 'more than 0'}"
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise self.bad(key, rule, value)
        try:
            length_mm = parse_length_mm(value, self.where, self.key(key))
        except BadInput as problem:
            # The reader of lengths may know better what is wrong: a fraction without its unit, say.
            known = ("must be a length", "must not be negative")
            raise self.bad(key, rule if problem.rule.startswith(known) else problem.rule, value) from problem
        if not (length_mm >= 0.0 if zero else length_mm > 0.0) or length_mm == float("inf"):
            raise self.bad(key, rule, value)
        return round(length_mm, 6) or (0.0 if zero else length_mm)

    def number(
        self,
        key: str,
        meaning: str,
        least: float,
        most: float,
        default: Any = REQUIRED,
        unit: str = "",
        why: str = "",
    ) -> Any:
        value = self.take(key, meaning, default)
        if value is default and not self.has(key):
            return default
        if isinstance(value, bool) or not isinstance(value, int | float) or not least <= value <= most:
            span = f"{least:g} to {most:g}{' ' + unit if unit else ''}{' (' + why + ')' if why else ''}"
            raise self.bad(key, f"must be a number in {span}", value)
        return float(value)

    def count(self, key: str, meaning: str, default: Any = REQUIRED, least: int = 1) -> Any:
        value = self.take(key, meaning, default)
        if value is default and not self.has(key):
            return default
        if isinstance(value, bool) or not isinstance(value, int) or value < least:
            raise self.bad(key, f"must be a whole number of {least} or more", value)
        return value

    def text(self, key: str, meaning: str, default: Any = REQUIRED) -> Any:
        value = self.take(key, meaning, default)
        if value is default and not self.has(key):
            return default
        if not isinstance(value, str) or (default is REQUIRED and not value.strip()):
            raise self.bad(key, f"must be text ({meaning})", value)
        return value

    def flag(self, key: str, meaning: str, default: bool) -> bool:
        value = self.take(key, meaning, default)
        if not isinstance(value, bool):
            raise self.bad(key, "must be true or false", value)
        return value

    def choice(self, key: str, meaning: str, choices: Iterable[str], default: Any = REQUIRED) -> Any:
        value = self.take(key, meaning, default)
        if value is default and not self.has(key):
            return default
        word = plain_word(value) if isinstance(value, str) else ""
        for known in choices:
            if word.replace("-", " ") == known.replace("-", " "):
                return known
        raise self.bad(key, f"must be one of: {', '.join(choices)}", value)

    def instant(self, key: str, meaning: str) -> datetime | None:
        """An aware instant in UTC, from a TOML date or date-time or ISO 8601 text; none when left out."""
        value = self.take(key, meaning, None)
        if value is None:
            return None
        rule = "must be a date, or a date and time with its offset from UTC (2026-01-31T09:00:00+01:00)"
        if isinstance(value, str):
            try:
                parsed = datetime.fromisoformat(value)
            except ValueError as problem:
                raise self.bad(key, rule, value) from problem
            value = parsed if len(value.strip()) > len("2026-01-31") else parsed.date()
        if isinstance(value, datetime):
            if value.tzinfo is None:
                raise self.bad(key, rule, value.isoformat())
            return value.astimezone(UTC)
        if isinstance(value, date):
            return datetime(value.year, value.month, value.day, tzinfo=UTC)
        raise self.bad(key, rule, value)

    def refuse_the_rest(self) -> None:
        """Refuse the first key that nothing has read, with the nearest key that would have been.

        A null is as if the key were left out.
        """
        for key, value in self.values.items():
            if key not in self._read and value is not None:
                raise self.bad(key, f"is not a key of {self.noun}{near_matches(str(key), self._read)}", value)
