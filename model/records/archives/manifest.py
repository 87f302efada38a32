"""What an archive says of itself, and whether its files are what it says: none of it is believed unread."""

import json
import struct
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pyarrow as pa
from pyarrow import parquet
from sqlalchemy import Boolean, Column, Double, Float, Integer, LargeBinary, Table
from sqlalchemy.exc import DataError, DBAPIError, IntegrityError, StatementError

from model.records.schema.tables import Record
from model.records.schema.types import UtcDateTime
from model.records.store import StoreUnavailable, cause_of, newest_revision
from model.wood.errors import BadInput

FORMAT = 1
MANIFEST = "manifest.json"
ROWS_AT_ONCE = 50_000
MANIFEST_BYTES = 1_000_000
MOST_UNPACKED, ALWAYS_UNPACKED_BYTES = 200, 16_000_000
"""Readings unpack to some ten times their size; a file made to fill the memory, to thousands of times."""
DAMAGE = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    pa.ArrowException,
    StatementError,
    EOFError,
    LookupError,
    NotImplementedError,
    OSError,
    OverflowError,
    RuntimeError,
    TypeError,
    ValueError,
)
"""What reading a damaged or forged archive raises, in the libraries that do it."""


def read_manifest(path: Path) -> dict[str, Any]:
    """What an archive says of itself.

    Raises
    ------
    BadInput
        If it is no archive of a book, is cut off, or is of another format or schema.
    """
    where = str(path)
    with distrusted(where), zipfile.ZipFile(path) as archive:
        with archive.open(MANIFEST) as entry:
            text = entry.read(MANIFEST_BYTES + 1)
        if len(text) > MANIFEST_BYTES:
            raise BadInput(
                where, "archive manifest", f"must be no longer than {MANIFEST_BYTES} bytes", "more"
            )
        manifest = json.loads(text)
        names = archive.namelist()
        packed = [entry.filename for entry in archive.infolist() if entry.compress_type != zipfile.ZIP_STORED]
    if not isinstance(manifest, dict) or manifest.get("format") != FORMAT:
        got = manifest.get("format") if isinstance(manifest, dict) else "another document"
        raise BadInput(where, "archive format", f"must be {FORMAT}", got)
    if manifest.get("schema") != newest_revision():
        rule = f"must be {newest_revision()}: restore it with the program that wrote it, then migrate"
        raise BadInput(where, "archive schema", rule, manifest.get("schema"))
    tables = manifest.get("tables")
    if not isinstance(tables, dict) or not all(_is_counted(entry) for entry in tables.values()):
        raise BadInput(where, "archive manifest", "must count the rows of each table", "something else")
    known = {table.name for table in Record.metadata.sorted_tables}
    if set(tables) != known:
        raise BadInput(
            where, "archive", "must hold the tables of this schema", ", ".join(sorted(known ^ set(tables)))
        )
    wanted = sorted([MANIFEST, *(entry_of(name) for name in known)])
    if sorted(names) != wanted or packed:
        strange = packed or sorted(set(names) ^ set(wanted)) or names
        raise BadInput(where, "archive", "must hold one file a table, not packed again", ", ".join(strange))
    return manifest


@contextmanager
def distrusted(where: str) -> Iterator[None]:
    """Say in one sentence whatever a damaged or forged archive makes the libraries that read it say."""
    try:
        yield
    except BadInput:
        raise
    except (FileNotFoundError, IsADirectoryError, PermissionError) as error:
        raise BadInput(where, "archive", "must be a file that can be read", error.strerror) from error
    except (DBAPIError, StoreUnavailable) as error:
        if isinstance(error, (IntegrityError, DataError)):
            raise BadInput(
                where, "archive", "must hold rows that belong together", cause_of(error)
            ) from error
        raise
    except DAMAGE as error:
        raise BadInput(where, "archive", "must be a whole archive of a book", cause_of(error)) from error


def _is_counted(entry: Any) -> bool:
    return (
        isinstance(entry, dict)
        and isinstance(entry.get("rows"), int)
        and entry["rows"] >= 0
        and isinstance(entry.get("checksum"), str)
    )


def entry_of(table_name: str) -> str:
    """The name of a table's file in an archive."""
    return f"{table_name}.parquet"


def as_declared(
    file: parquet.ParquetFile, table: Table, size: int, wanted: int, where: str
) -> Iterator[pa.RecordBatch]:
    """The rows of a table's file, if it has the columns of the table, the rows counted, and a sane size."""
    metadata = file.metadata
    if not file.schema_arrow.equals(schema_of(table)):
        raise BadInput(where, f"table {table.name}", "must have the columns of this schema", "others")
    if metadata.num_rows != wanted:
        rule = f"must hold {wanted} rows as saved"
        raise BadInput(where, f"table {table.name}", rule, metadata.num_rows)
    unpacked = sum(metadata.row_group(group).total_byte_size for group in range(metadata.num_row_groups))
    if unpacked > MOST_UNPACKED * size + ALWAYS_UNPACKED_BYTES:
        rule = f"must not unpack to more than {MOST_UNPACKED} times its size"
        raise BadInput(where, f"table {table.name}", rule, f"{unpacked} bytes from {size}")
    return file.iter_batches(ROWS_AT_ONCE)


def schema_of(table: Table) -> pa.Schema:
    """The columns of a table as its file has them."""
    return pa.schema([pa.field(column.key, _arrow_type(column)) for column in table.columns])


def _arrow_type(column: Column[Any]) -> pa.DataType:
    kind = column.type
    if isinstance(kind, UtcDateTime | Integer):
        return pa.int64()
    if isinstance(kind, Boolean):
        return pa.bool_()
    if isinstance(kind, Double | Float):
        return pa.float64()
    if isinstance(kind, LargeBinary):
        return pa.binary()
    return pa.string()
