"""Books as the first schema kept them, written by plain statements: no later model has a say in them."""

import base64
import re
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from sqlalchemy import Connection, MetaData, Table, insert, inspect, select

from model.records.schema.tables import Record
from model.records.schema.types import to_epoch_ms
from model.records.store import MIGRATIONS, Store

FIRST = "0001"
AT = datetime(2025, 3, 9, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)
READINGS = 500


def take_to(store: Store, revision: str) -> None:
    """Make or migrate a database to a revision of the past."""
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    with store.engine.begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, revision)


def fill(store: Store) -> None:
    """Rows in every table of the first schema."""
    with store.engine.begin() as connection:
        tables = reflected(connection)
        for name, rows in _rows(connection).items():
            connection.execute(insert(tables[name]), rows)


def remember(store: Store, client_id: str, entries: bytes) -> None:
    """Unacknowledged messages, as ingest kept them among the preferences before they had a table."""
    with store.engine.begin() as connection:
        value = {"entries": base64.b64encode(entries).decode("ascii")}
        row = {"name": f"ingest unacknowledged {client_id}", "value": value}
        connection.execute(insert(reflected(connection)["preference"]), [row])


def reflected(connection: Connection) -> dict[str, Table]:
    metadata = MetaData()
    metadata.reflect(connection)
    return dict(metadata.tables)


def columns(store: Store) -> dict[str, set[str]]:
    """The columns that each table has."""
    with store.engine.connect() as connection:
        return {
            name: {column.name for column in table.columns} for name, table in reflected(connection).items()
        }


def content(store: Store, of: Mapping[str, set[str]] | None = None) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table but the schema's own mark, by column names in order, sorted.

    Parameters
    ----------
    of : mapping of table to columns, optional
        Those to read; else all.
    """
    with store.engine.connect() as connection:
        parts = _partitions(connection)
        found = {}
        for name, table in reflected(connection).items():
            if name != "alembic_version" and name not in parts and (of is None or name in of):
                own = [column for column in table.columns if of is None or column.name in of[name]]
                rows = connection.execute(select(*sorted(own, key=lambda column: column.name))).all()
                found[name] = sorted((tuple(row) for row in rows), key=repr)
        return found


def in_present_words(rows: Iterable[Any]) -> list[str]:
    """Rows as text, in order, with the words of then as they are said now."""
    words = {"'easy'": "'clear'", "'member': 'panel'": "'part': 'panel'"}
    return sorted(re.sub("|".join(words), lambda old: words[old[0]], repr(row)) for row in rows)


def carried(before: dict[str, list[tuple[Any, ...]]], of: Mapping[str, set[str]]) -> dict[str, Any]:
    """The rows of a book as they are after every migration: a reason in words is kept with its detail, and
    a piece's client apart from its document."""
    found: dict[str, Any] = dict(before)
    document = sorted(of["piece"]).index("document")
    found["piece"] = sorted(
        (
            tuple({"name": value["name"]} if k == document else value for k, value in enumerate(row))
            for row in before["piece"]
        ),
        key=repr,
    )
    for table in ("verdict", "warning"):
        names = sorted(of[table])
        detail, reason = names.index("detail"), names.index("reason")
        found[table] = sorted(
            (
                tuple(
                    {**row[detail], "key": "told", "text": row[reason]} if k == detail else value
                    for k, value in enumerate(row)
                    if k != reason
                )
                for row in before[table]
            ),
            key=repr,
        )
    return found


def differences(store: Store) -> list[Any]:
    """Where the migrated schema is not the one of the models."""
    with store.engine.connect() as connection:
        parts = _partitions(connection)

        def own(_object: Any, name: str | None, kind: str, *_: Any) -> bool:
            return not (kind == "table" and name in parts)

        context = MigrationContext.configure(
            connection, opts={"compare_type": True, "include_object": own, "target_metadata": Record.metadata}
        )
        return list(compare_metadata(context, Record.metadata))


def _partitions(connection: Connection) -> set[str]:
    if connection.dialect.name == "sqlite":
        return set()
    return {name for name in inspect(connection).get_table_names() if name.startswith("reading_")}


def _rows(connection: Connection) -> dict[str, list[dict[str, Any]]]:
    is_sqlite = connection.dialect.name == "sqlite"

    def at(hours: float = 0.0) -> Any:
        instant = AT + hours * HOUR
        return to_epoch_ms(instant) if is_sqlite else instant

    panel = {
        "species": "white ash", "cut": "flat-sawn", "width": 300.0, "mc_pct": 8.0, "thickness": 16.0,
    }  # fmt: skip
    groove = {
        "kind": "panel-in-groove", "member": "panel", "held": "centre", "sight_width": 290.0,
        "groove_depth": 9.0,
    }  # fmt: skip
    return {
        "place": [
            {"id": 1, "name": "shop ½", "kind": "shop", "zone": "Europe/Vienna", "wood_offset_c": 0.5,
             "climate": None, "note": "by the river"},
            {"id": 2, "name": "lake house", "kind": "home", "zone": "UTC", "wood_offset_c": 0.0,
             "climate": None, "note": ""},
        ],
        "sensor": [{"id": 1, "name": "bench", "temperature_unit": "C", "zone": "UTC", "accepted_at": at()}],
        "binding": [
            {"id": 1, "sensor_id": 1, "topic": "shop/bench", "part": "", "payload": {"shape": "json"}},
        ],
        "hanging": [{"id": 1, "sensor_id": 1, "place_id": 1, "since_at": at()}],
        "reading": [
            {"sensor_id": 1, "observed_at": at(k / 4), "received_at": at(k / 4),
             "temperature_c": None if k % 9 == 0 else 20.0 + k / 1000, "rh_pct": 45.0 + k % 5,
             "clock": "device"}
            for k in range(READINGS)
        ],
        "stale_hour": [{"sensor_id": 1, "hour_at": at(k), "revision": 1} for k in range(READINGS // 4)],
        "heard_message": [
            {"id": 1, "topic": "new/one", "payload": b"\x00\xff", "retained": True, "received_at": at()}
        ],
        "rejected_message": [
            {"id": 1, "topic": "shop/odd", "payload": b"{", "size": 1, "reason": "cut off",
             "received_at": at()}
        ],
        "tally": [{"name": "received", "count": 5_000_000_000}, {"name": "book", "count": 4}],
        "piece": [
            {"id": 1, "name": "Hall bench", "document": {"name": "Hall bench", "client": "Ottilie ½"},
             "recorded_at": at()},
            {"id": 2, "name": "Footstool", "document": {"name": "Footstool", "client": " ottilie ½"},
             "recorded_at": at()},
        ],
        "body": [
            {"id": 1, "kind": "member", "name": "panel", "document": panel, "start_at": at(),
             "start_mc_pct": 8.0, "start_basis": "measured"},
            {"id": 2, "kind": "stack", "name": "maple",
             "document": {"species": "hard maple", "thickness_mm": 25.4, "mc_pct": 11.0}, "start_at": at(),
             "start_mc_pct": 11.0, "start_basis": "assumed"},
        ],
        "member": [{"id": 1, "piece_id": 1}],
        "stack": [{"id": 2, "destination_id": 2}],
        "fit": [{"id": 1, "piece_id": 1, "name": "groove", "kind": "panel-in-groove", "document": groove}],
        "stay": [
            {"id": 1, "piece_id": 1, "stack_id": None, "place_id": 1, "since_at": at()},
            {"id": 2, "piece_id": None, "stack_id": 2, "place_id": 1, "since_at": at()},
        ],
        "measurement": [
            {"id": 1, "body_id": 1, "at": at(48), "quantity": "mc_pct", "value": 7.6, "uncertainty": 0.5,
             "how": "pin meter"}
        ],
        "doubt": [
            {"id": 1, "sensor_id": 1, "kind": "by hand", "since_at": at(3), "until_at": at(4),
             "reason": "a wet cloth", "raised_at": at(5)}
        ],
        "correction": [
            {"id": 1, "sensor_id": 1, "since_at": at(), "intercept_pct": 1.0, "slope": 0.98,
             "uncertainty_pct": 1.5, "evidence": {"salt": "sodium chloride"}, "made_at": at()}
        ],
        "warning": [
            {"id": 1, "subject_kind": "fit", "subject_id": 1, "limit_name": "groove-bottom", "tier": "week",
             "from_verdict": "easy", "to_verdict": "near", "reason": "swells", "detail": {},
             "opened_at": at(9), "closed_at": at(30), "trade_act": "eased it"}
        ],
        "notice": [
            {"id": 1, "warning_id": 1, "address": "mailto:maker", "stage": "opened", "due_at": at(9),
             "tries": 1, "sent_at": at(9)}
        ],
        "pulse": [{"part": "ingest", "at": at(10), "detail": {"backlog": 0}}],
        "preference": [{"name": "units", "value": {"is": "metric"}}],
    }  # fmt: skip
