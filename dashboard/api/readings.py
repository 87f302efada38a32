"""Raw readings as JSON lines or CSV, written while they are read."""

import csv
import io
import json
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from typing import Any

from model.records.queries.readings import SensorSpan, portions
from model.records.schema.types import from_epoch_ms
from model.records.store import Store
from model.words.cells import harmless

COLUMNS = ("timestamp_utc", "sensor", "topic", "temperature_c", "rh_pct")
JSON_LINES, CSV = "application/x-ndjson", "text/csv"
PORTION_ROWS = 5_000


def as_json_lines(store: Store, spans: Iterable[SensorSpan]) -> Iterator[str]:
    """One object a line."""
    for rows in _rows(store, spans):
        yield "".join(f"{json.dumps(dict(zip(COLUMNS, row, strict=True)))}\n" for row in rows)


def as_csv(store: Store, spans: Iterable[SensorSpan]) -> Iterator[str]:
    """With a line of names first; no text is taken for a formula by a spreadsheet."""
    yield ",".join(COLUMNS) + "\n"
    for rows in _rows(store, spans):
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\n")
        for at, sensor, topic, *values in rows:
            writer.writerow([at, harmless(sensor), harmless(topic or ""), *values])
        yield text.getvalue()


def _rows(store: Store, spans: Iterable[SensorSpan]) -> Iterator[list[tuple[Any, ...]]]:
    for span in spans:
        for rows in portions(store, span, PORTION_ROWS):
            yield [
                (_written(at), span.sensor, span.topic, temperature_c, rh_pct)
                for at, temperature_c, rh_pct, _ in rows
            ]


def _written(at: int | datetime) -> str:
    """An instant as RFC 3339 in UTC, with milliseconds where it has any."""
    moment = from_epoch_ms(at) if isinstance(at, int) else at.astimezone(UTC)
    fine = "milliseconds" if moment.microsecond else "seconds"
    return moment.replace(tzinfo=None).isoformat(timespec=fine) + "Z"
