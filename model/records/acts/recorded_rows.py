"""Rows that people recorded, as documents, without the columns that devices and the watch write."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import JSON, Column, Table, null, select
from sqlalchemy.orm import Session

from model.records.schema.tables import Record
from model.records.schema.types import UtcDateTime, from_epoch_ms, to_epoch_ms

OTHERS_COLUMNS = {
    "client": (),
    "place": (),
    "sensor": ("presence", "presence_at", "battery_pct"),
    "binding": (),
    "hanging": (),
    "piece": (),
    "body": (),
    "member": (),
    "stack": (),
    "fit": (),
    "stay": (),
    "mount": (),
    "measurement": (),
    "glue_up": (),
    "doubt": (),
    "correction": (),
    "dismissed_topic": (),
    "preference": (),
    "warning": None,
}
"""The tables that people write, and the columns of each that devices and the watch write; of a warning all
but its answer."""
ANSWER = ("acknowledged_at", "trade_act")

Row = dict[str, Any]
Key = tuple[str, Any]
TABLES = {table.name: table for table in Record.metadata.sorted_tables}


@dataclass(frozen=True)
class RowChange:
    """One row as an act found it, and as it left it: none where it was not there."""

    table: str
    key: Any
    before: Row | None
    after: Row | None

    @property
    def is_new(self) -> bool:
        return self.before is None

    @property
    def columns(self) -> list[str]:
        """Those that are what people recorded and that the act changed; all of a row it made or deleted."""
        names = own_columns(TABLES[self.table])
        if self.before is None or self.after is None:
            return names
        return [name for name in names if self.before[name] != self.after[name]]


def children(table: Table) -> Iterator[tuple[Table, Column[Any]]]:
    """The tables whose rows refer to a table's, and by which column."""
    for child in TABLES.values():
        for column in child.columns:
            if any(foreign.column.table is table for foreign in column.foreign_keys):
                yield child, column


def cascades(column: Column[Any]) -> bool:
    """Whether a row goes with the one that its column refers to."""
    return any(foreign.ondelete == "CASCADE" for foreign in column.foreign_keys)


def own_columns(table: Table) -> list[str]:
    """The columns that people write."""
    others = OTHERS_COLUMNS[table.name]
    return [
        column.name
        for column in table.columns
        if (column.name in ANSWER if others is None else column.name not in others)
    ]


def key_of(table: Table) -> Column[Any]:
    """The column of a table's key: each of them has one."""
    (column,) = table.primary_key
    return column


def read_rows(session: Session, table: str, column: Column[Any], values: Sequence[Any]) -> dict[Any, Row]:
    """The rows whose column has one of some values, as documents by their key: instants in milliseconds."""
    one, found = TABLES[table], {}
    for row in session.connection().execute(select(one).where(column.in_(values))).mappings():
        found[row[key_of(one).name]] = {
            name: to_epoch_ms(value) if isinstance(value, datetime) else value for name, value in row.items()
        }
    return found


def read_row(session: Session, table: str, key: Any) -> Row | None:
    """One of them; none where it is not there."""
    return read_rows(session, table, key_of(TABLES[table]), [key]).get(key)


def decoded(table: Table, row: Row) -> Row:
    """A document, or a part of one, as values of its columns."""
    values: Row = {}
    for name, value in row.items():
        kind = table.c[name].type
        # Nothing at all, not JSON's null.
        nothing = null() if isinstance(kind, JSON) else None
        instant = value is not None and isinstance(kind, UtcDateTime)
        values[name] = nothing if value is None else from_epoch_ms(value) if instant else value
    return values
