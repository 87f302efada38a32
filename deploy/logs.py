"""Formats log lines: text for people, or one JSON object a line for a collector."""

import json
import logging
from datetime import UTC, datetime

TEXT = "%(asctime)s %(levelname)-7s %(name)s: %(message)s"

# What every record carries (docs.python.org, "LogRecord attributes"); anything else was given as `extra`.
_USUAL = frozenset(vars(logging.makeLogRecord({}))) | {"message", "asctime", "taskName"}


def formatter(log_format: str) -> logging.Formatter:
    """The formatter of a setting's word, text or json."""
    if log_format == "json":
        return JsonLines()
    return logging.Formatter(TEXT, datefmt="%Y-%m-%d %H:%M:%S")


class JsonLines(logging.Formatter):
    """One JSON object a line: at (UTC, RFC 3339), level, logger, message, and whatever else was given.

    An exception is in `exception`, its lines within the one string.
    """

    def format(self, record: logging.LogRecord) -> str:
        at = datetime.fromtimestamp(record.created, UTC)
        document = {
            "at": at.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
            "pid": record.process,
        }
        document |= {name: value for name, value in vars(record).items() if name not in _USUAL}
        if record.exc_info:
            document["exception"] = self.formatException(record.exc_info)
        # Escaped beyond ASCII: a hostile topic can't break the line or turn the reading direction.
        return json.dumps(document, ensure_ascii=True, default=str)
