"""A list from a spreadsheet (CSV), a thing a line: how each line is read, shown before any of it is kept.

All of a list is kept, as one act, or nothing of it: a line that can't be read is named with its column, the
rule and what was got.
"""

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from sqlalchemy.orm import Session

from dashboard.forms.acts import Act, doing, done
from dashboard.forms.declared import Asked
from dashboard.forms.fields import Faulty, day_value, in_words
from dashboard.say import sentences
from dashboard.shell.view import View
from model.records.acts.places import place_named
from model.wood.errors import BadInput
from model.words import display as say
from model.words.cells import as_meant

Cells = Mapping[str, str]
"""A line's cells that hold anything, by the keys of their columns."""
MOST_LINES = 5_000
FLAGS = {"yes": "yes", "true": "yes", "1": "yes", "no": "no", "false": "no", "0": "no"}


@dataclass(frozen=True)
class ListKind:
    """What a list may be of.

    Attributes
    ----------
    noun : str
        One of them: stack, piece.
    columns : mapping of str to str
        The columns there may be, by key, each with what it holds.
    needed : tuple of str
        Those that must be there.
    heads : tuple of str
        Of what is shown of a line as it is read.
    keep : callable
        ``keep(session, cells, view)`` records one and says how it was read, by the heads; raises BadInput.
    href : str
        The page of all of them.
    """

    noun: str
    columns: Mapping[str, str]
    needed: tuple[str, ...]
    heads: tuple[str, ...]
    keep: Callable[[Session, Cells, View], Sequence[str]]
    href: str


@dataclass(frozen=True)
class ListFault:
    """What is wrong in a list: its line, its column, the rule, what was got."""

    line: int
    column: str
    rule: str
    got: str

    def __str__(self) -> str:
        got = f", got {self.got!r}" if self.got else ""
        return f"line {self.line}, {self.column}: {self.rule}{got}"


@dataclass
class ListRead:
    """How a list was read: its lines as understood, what is wrong, and the act, if it was kept."""

    rows: list[tuple[int, Sequence[str]]] = field(default_factory=list)
    faults: list[ListFault] = field(default_factory=list)
    act: Act | None = None


class _NotKept(Exception):
    """Leaves the unit of work with nothing done."""


def read_list(kind: ListKind, content: bytes, view: View, keep: bool) -> ListRead:
    """Read a list, and keep it if `keep` and nothing in it is wrong.

    Raises
    ------
    BadInput
        If the file is no list of that kind: its columns are unknown, or it holds nothing.
    """
    lines = _lines(kind, content)
    found = ListRead()
    try:
        with doing(view, "list") as (session, revision):
            for line, cells, named in lines:
                try:
                    found.rows.append((line, kind.keep(session, cells, view)))
                except BadInput as error:
                    found.faults += _faults(error, kind, line, cells, named)
            if found.faults or not keep:
                raise _NotKept
            told = sentences.so_many(len(found.rows), kind.noun, "is", "are")
            said, back = say.sentence(f"{told} recorded"), say.sentence(f"{told} out of the book again")
            found.act = done(revision, said, back, kind.href, kind.href)
    except _NotKept:
        pass
    return found


def _faults(
    error: BadInput, kind: ListKind, line: int, cells: Cells, named: Mapping[str, str]
) -> list[ListFault]:
    every = error.faults.items() if isinstance(error, Faulty) else [(_key_meant(error.what, kind), error)]
    return [
        ListFault(line, named.get(key, key.replace("_", " ")), one.rule, cells.get(key, _got(one)))
        for key, one in every
    ]


def _key_meant(what: str, kind: ListKind) -> str:
    """The key of the column that a refusal is about; what it names, where that is none."""
    for key, meaning in kind.columns.items():
        if what in (key, meaning) or what.endswith((f" {key}", f".{key}")):
            return key
    return what


def _got(error: BadInput) -> str:
    return "" if error.got is None or repr(error.got) == "nothing" else str(error.got)


def _lines(kind: ListKind, content: bytes) -> list[tuple[int, dict[str, str], dict[str, str]]]:
    """Each line that holds anything: its number, its cells by key, and its columns' names by key."""
    text = _text(content)
    first = text.partition("\n")[0]
    delimiter = max(",;\t", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    heads = [as_meant(cell.strip()) for cell in next(reader, [])]
    keys = [_key(kind, head) for head in heads]
    for key in keys:
        if key and keys.count(key) > 1:
            raise BadInput("line 1", heads[keys.index(key)], "must be one column only", "two")
    for key in kind.needed:
        if key not in keys:
            raise BadInput("line 1", "the columns", f"must hold {key}: {kind.columns[key]}", ", ".join(heads))
    named = {key: head for key, head in zip(keys, heads, strict=True) if key}
    found = []
    for row in reader:
        cells = [as_meant(cell.strip()) for cell in row]
        if not any(cells):
            continue
        if len(cells) > len(keys) and any(cells[len(keys) :]):
            rule = f"must have {len(keys)} cells, as line 1 has"
            raise BadInput(f"line {reader.line_num}", "the line", rule, str(len(cells)))
        filled = {key: cell for key, cell in zip(keys, cells, strict=False) if key and cell}
        found.append((reader.line_num, filled, named))
        if len(found) > MOST_LINES:
            raise BadInput("", "the list", f"must have at most {MOST_LINES} lines", "more")
    if not found:
        raise BadInput("", "the list", f"must have a line for each {kind.noun} below the columns", "none")
    return found


def _text(content: bytes) -> str:
    if b"\0" in content[:4096]:
        rule = "must be text in columns (CSV): save the spreadsheet as CSV first"
        raise BadInput("", "the file", rule, "something else")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", "replace")


def _key(kind: ListKind, head: str) -> str:
    """The key of a column by its name as written; empty for a column without a name."""
    key = "_".join(head.lower().replace("_", " ").split())
    if not key or key in kind.columns:
        return key
    rule = f"is no column of this list; these are {', '.join(kind.columns)}"
    raise BadInput("line 1", f"the column {head!r}", rule, head)


# ---------------------------------------------------------------- cells as a form takes them


def as_typed(fields: Sequence[Asked], cells: Cells, session: Session, view: View) -> dict[str, str | None]:
    """A line's cells as they would be typed into the fields of a form: choices and places by their names.

    Raises
    ------
    Faulty
        With every cell that is none of a field's choices.
    """
    typed: dict[str, str | None] = {}
    faults: dict[str, BadInput] = {}
    for one in fields:
        cell = cells.get(one.key, "")
        try:
            typed[one.key] = _cell(one, cell, session, view)
        except BadInput as error:
            faults[one.key] = error
    if faults:
        raise Faulty(faults)
    return typed


def _cell(one: Asked, cell: str, session: Session, view: View) -> str | None:
    if one.kind == "place":
        return str(place_named(session, cell).id) if cell or one.needed else ""
    if one.kind == "day":
        return cell or day_value(view.now, view.context.zone)
    if one.kind not in ("choice", "flag"):
        return cell
    if not cell:
        return None if one.kind == "flag" else one.options[0][0]
    said = {words.lower(): value for value, words in one.options} | (FLAGS if one.kind == "flag" else {})
    values = {value.lower(): value for value, _ in one.options}
    meant = said.get(cell.lower(), values.get(cell.lower()))
    if meant is None:
        raise BadInput("", one.said, f"must be one of {', '.join(words for _, words in one.options)}", cell)
    return meant


def fault_words(error: BadInput) -> str:
    """What is wrong with a whole file, in words."""
    return f"{error.where}: {in_words(error)}" if error.where else in_words(error)
