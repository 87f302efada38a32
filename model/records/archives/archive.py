"""The whole book as one archive: a consistent copy while everything runs, proven when it is brought back.

An archive is a ZIP file that holds one Parquet file a table and a `manifest.json` with the schema's
revision, and for each table its number of rows and a checksum of its content. The checksum is taken over
the rows in the order of their key, not over a file, so that the same book has the same one in any database.
"""

import hashlib
import json
import shutil
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

import pyarrow as pa
from pyarrow import parquet
from sqlalchemy import (
    JSON,
    BigInteger,
    Column,
    Connection,
    LargeBinary,
    Table,
    cast,
    extract,
    func,
    insert,
    select,
    text,
    type_coerce,
)
from sqlalchemy.exc import DBAPIError

from model.records.archives.manifest import (
    FORMAT,
    MANIFEST,
    ROWS_AT_ONCE,
    as_declared,
    distrusted,
    entry_of,
    read_manifest,
    schema_of,
)
from model.records.private import private
from model.records.schema.tables import Record
from model.records.schema.types import UtcDateTime, from_epoch_ms
from model.records.store import Store, StoreUnavailable, cause_of, newest_revision
from model.wood.errors import BadInput

Progress = Callable[[str, int], None]
Counts = dict[str, int]


def _quiet(_table: str, _rows: int) -> None:
    """Tell nobody how far it is."""


def write_archive(store: Store, path: Path, at: datetime, progress: Progress = _quiet) -> Counts:
    """Write the whole book, as it is at one instant, into an archive.

    Parameters
    ----------
    store : Store
        At the schema of this program; other parts may go on writing.
    path : Path
        The archive; it appears under this name only when it is whole.
    at : datetime
        When the copy is made, aware UTC; kept in the manifest.

    Returns
    -------
    dict of table name to number of rows

    Raises
    ------
    BadInput
        If the file can't be written.
    """
    partial = path.with_name(f".{path.name}.partial")
    try:
        partial.unlink(missing_ok=True)
        with (
            open(partial, "wb", opener=private) as file,
            zipfile.ZipFile(file, "w", zipfile.ZIP_STORED) as archive,
            _snapshot(store) as connection,
        ):
            tables = {
                table.name: _write_table(connection, table, archive, progress)
                for table in Record.metadata.sorted_tables
            }
            manifest = {
                "format": FORMAT,
                "schema": newest_revision(),
                "made_at": at.isoformat(),
                "tables": tables,
            }
            archive.writestr(MANIFEST, json.dumps(manifest, indent=2))
        partial.replace(path)
    except OSError as error:
        partial.unlink(missing_ok=True)
        raise BadInput(str(path), "archive", "must be a file that can be written", error.strerror) from error
    return {name: int(entry["rows"]) for name, entry in tables.items()}


def restore_archive(store: Store, path: Path, progress: Progress = _quiet) -> Counts:
    """Bring an archive back into an empty book, and prove that what is stored is what was saved.

    Everything is one transaction: it is all there afterwards, or nothing is.

    Returns
    -------
    dict of table name to number of rows, each proven by count and checksum.

    Raises
    ------
    BadInput
        If the archive can't be used or does not hold what its manifest says, or the book isn't empty.
    StoreUnavailable
        If the database can't be written.
    """
    manifest = read_manifest(path)
    where = str(path)
    try:
        with distrusted(where), store.engine.begin() as connection, zipfile.ZipFile(path) as archive:
            for table in Record.metadata.sorted_tables:
                if connection.execute(select(func.count()).select_from(table)).scalar_one():
                    raise BadInput(store.shown, "book", "must be empty", f"rows in {table.name}")
            for table in Record.metadata.sorted_tables:
                _read_table(connection, table, archive, manifest["tables"][table.name]["rows"], progress)
            for table in Record.metadata.sorted_tables:
                _prove(connection, table, manifest["tables"][table.name], where)
                _set_counter(connection, table)
    except DBAPIError as error:
        raise StoreUnavailable(f"the database {store.shown} can't be written: {cause_of(error)}") from error
    return {name: int(entry["rows"]) for name, entry in manifest["tables"].items()}


def compare(store: Store, path: Path) -> list[str]:
    """Tables in which a book differs from an archive, each in one sentence; empty when all is the same."""
    manifest = read_manifest(path)
    differing = []
    with _snapshot(store) as connection:
        for table in Record.metadata.sorted_tables:
            entry = manifest["tables"][table.name]
            rows, checksum = _checksum(connection, table)
            if (rows, checksum) != (entry["rows"], entry["checksum"]):
                differing.append(f"{table.name}: {rows} rows here, {entry['rows']} in the archive")
    return differing


# ---------------------------------------------------------------- one table


@contextmanager
def _snapshot(store: Store) -> Iterator[Connection]:
    """A connection that sees the book as it is now, whatever others write meanwhile."""
    with store.engine.connect() as connection:
        if not store.is_sqlite:
            connection = connection.execution_options(isolation_level="REPEATABLE READ")
        with connection.begin():
            if store.is_sqlite:
                # The driver opens its transaction at the first write; a snapshot has to begin at once.
                connection.exec_driver_sql("BEGIN")
                connection.execute(text("SELECT 1 FROM alembic_version")).all()
            yield connection


def _write_table(
    connection: Connection, table: Table, archive: zipfile.ZipFile, progress: Progress
) -> dict[str, Any]:
    rows, digest = 0, hashlib.sha256()
    with tempfile.TemporaryFile() as spool:
        with parquet.ParquetWriter(spool, schema_of(table), compression="zstd") as writer:
            for batch in _batches(connection, table):
                digest.update(_content(batch))
                writer.write_batch(batch)
                rows += batch.num_rows
                progress(table.name, rows)
        spool.seek(0)
        with archive.open(entry_of(table.name), "w", force_zip64=True) as entry:
            shutil.copyfileobj(spool, entry)
    return {"rows": rows, "checksum": digest.hexdigest()}


def _read_table(
    connection: Connection, table: Table, archive: zipfile.ZipFile, wanted: int, progress: Progress
) -> None:
    columns = list(table.columns)
    statement = insert(table)
    rows = 0
    with tempfile.TemporaryFile() as spool:
        with archive.open(entry_of(table.name)) as entry:
            shutil.copyfileobj(entry, spool)
        size = spool.tell()
        spool.seek(0)
        for batch in as_declared(parquet.ParquetFile(spool), table, size, wanted, str(archive.filename)):
            values = [
                _stored(column, batch.column(place).to_pylist()) for place, column in enumerate(columns)
            ]
            names = [column.key for column in columns]
            if batch.num_rows:
                connection.execute(
                    statement, [dict(zip(names, row, strict=True)) for row in zip(*values, strict=True)]
                )
            rows += batch.num_rows
            progress(table.name, rows)


def _prove(connection: Connection, table: Table, entry: dict[str, Any], where: str) -> None:
    rows, checksum = _checksum(connection, table)
    if rows != entry["rows"]:
        raise BadInput(where, f"table {table.name}", f"must hold {entry['rows']} rows as saved", rows)
    if checksum != entry["checksum"]:
        raise BadInput(where, f"table {table.name}", "must have the checksum it was saved with", checksum)


def _checksum(connection: Connection, table: Table) -> tuple[int, str]:
    rows, digest = 0, hashlib.sha256()
    for batch in _batches(connection, table):
        digest.update(_content(batch))
        rows += batch.num_rows
    return rows, digest.hexdigest()


def _batches(connection: Connection, table: Table) -> Iterator[pa.RecordBatch]:
    """The rows of a table in the order of its key, always cut at the same places."""
    schema = schema_of(table)
    statement = select(*[_plain(column, connection.dialect.name) for column in table.columns])
    result = connection.execution_options(yield_per=ROWS_AT_ONCE).execute(
        statement.order_by(*table.primary_key.columns)
    )
    for rows in result.partitions(ROWS_AT_ONCE):
        cells = zip(*rows, strict=True)
        arrays = [
            pa.array([_saved(column, cell) for cell in column_cells], field.type)
            for column, column_cells, field in zip(table.columns, cells, schema, strict=True)
        ]
        yield pa.RecordBatch.from_arrays(arrays, schema=schema)


def _content(batch: pa.RecordBatch) -> memoryview:
    return memoryview(batch.serialize())


def _plain(column: Column[Any], dialect: str) -> Any:
    """A column as plain numbers: an instant as whole milliseconds since 1970."""
    if not isinstance(column.type, UtcDateTime):
        return column
    if dialect == "sqlite":
        return type_coerce(column, BigInteger)
    return cast(func.round(extract("epoch", column) * 1000), BigInteger)


def _saved(column: Column[Any], cell: Any) -> Any:
    if isinstance(column.type, JSON) and cell is not None:
        return json.dumps(cell, sort_keys=True, ensure_ascii=False)
    if isinstance(column.type, LargeBinary) and cell is not None:
        return bytes(cell)
    return cell


def _stored(column: Column[Any], cells: list[Any]) -> list[Any]:
    if isinstance(column.type, UtcDateTime):
        return [None if cell is None else from_epoch_ms(cell) for cell in cells]
    if isinstance(column.type, JSON):
        return [None if cell is None else json.loads(cell) for cell in cells]
    return cells


def _set_counter(connection: Connection, table: Table) -> None:
    """PostgreSQL numbers new rows from a counter of its own, which rows brought in don't move."""
    key = list(table.primary_key.columns)
    if connection.dialect.name != "postgresql" or len(key) != 1 or key[0].name != "id" or key[0].foreign_keys:
        return
    highest = connection.execute(select(func.max(key[0]))).scalar()
    if highest is not None:
        connection.execute(
            text("SELECT setval(pg_get_serial_sequence(:table, 'id'), :highest)"),
            {"table": table.name, "highest": highest},
        )
