"""Reads the lines of a CSV file in pieces, as text, each with its number."""

import gzip
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, cast

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as compute
import pyarrow.csv as csv
from numpy.typing import NDArray

from ingest.files.columns import ColumnGuess
from ingest.payload.quantities import plain
from model.wood.errors import BadInput

BLOCK_BYTES = 8_388_608

Refuse = Callable[[int, str], None]


@dataclass(frozen=True)
class LineBlock:
    """Some consecutive lines, as text, without the empty ones."""

    frame: pd.DataFrame
    lines: NDArray[np.int64]
    last_line: int
    bytes_done: int
    bytes_total: int


def pieces_of(path: Path, guess: ColumnGuess, refuse: Refuse, from_line: int = 1) -> Iterator[LineBlock]:
    """The pieces of a file in order; a line with too few or too many fields is refused and left out.

    Raises
    ------
    BadInput
        If the file can't be read, or is not text all through.
    """
    wrong: list[int] = []
    skipped = max(guess.header, from_line - 1)

    def on_wrong(row: csv.InvalidRow) -> str:
        line = row.number or 0
        wrong.append(line)
        # A file that ends in the middle of a line, or an empty line, is nothing to complain of at length.
        if row.text.strip():
            refuse(line, f"must have {row.expected_columns} fields, got {row.actual_columns}")
        return "skip"

    try:
        total = path.stat().st_size
        with path.open("rb") as raw:
            text = gzip.GzipFile(fileobj=raw) if path.suffix == ".gz" else raw
            reader = csv.open_csv(
                cast(BinaryIO, text),
                read_options=csv.ReadOptions(
                    use_threads=False,
                    block_size=BLOCK_BYTES,
                    skip_rows=skipped,
                    column_names=list(guess.names),
                    encoding=guess.encoding,
                ),
                parse_options=csv.ParseOptions(
                    delimiter=guess.delimiter, invalid_row_handler=on_wrong, ignore_empty_lines=False
                ),
                convert_options=csv.ConvertOptions(
                    column_types={name: pa.string() for name in guess.names}, strings_can_be_null=False
                ),
            )
            next_line = skipped + 1
            for block in reader:
                frame = block.to_pandas()
                lines, next_line = _numbered(len(frame), next_line, wrong)
                if (frame[guess.time] == "").any():
                    filled = (frame != "").any(axis=1).to_numpy(dtype=bool)
                    frame, lines = frame[filled].reset_index(drop=True), lines[filled]
                yield LineBlock(frame, lines, next_line - 1, raw.tell(), total)
    except pa.ArrowInvalid as error:
        if "Empty CSV" in str(error):
            return
        raise BadInput(
            path.name, "file", "must be text in one encoding, in columns", plain(str(error))
        ) from None
    except (OSError, EOFError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise BadInput(path.name, "file", "must be readable to its end", plain(reason)) from None


def cast_whole(text: "pd.Series[Any]", kind: Any) -> NDArray[Any] | None:
    """A column of text as numbers or instants, if all of it is written plainly; much faster than pandas."""
    try:
        cast = compute.cast(pa.chunked_array([pa.array(text)]), kind)
    except (pa.ArrowInvalid, pa.ArrowNotImplementedError, pa.ArrowTypeError, TypeError):
        return None
    values: NDArray[Any] = cast.to_numpy()
    return values


def _numbered(count: int, first: int, left_out: list[int]) -> tuple[NDArray[np.int64], int]:
    """Line numbers of so many rows, past the lines that were left out; and the number of the next one."""
    lines = np.arange(first, first + count, dtype=np.int64)
    while left_out and count and left_out[0] <= lines[-1]:
        lines[lines >= left_out.pop(0)] += 1
    return lines, int(lines[-1]) + 1 if count else first
