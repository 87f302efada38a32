"""Files that a page answers with."""

import re

import flask

MIMETYPES = {
    "pdf": "application/pdf",
    "csv": "text/csv",
    "json": "application/json",
    "txt": "text/plain",
    "toml": "application/toml",
    "ics": "text/calendar",
    "atom": "application/atom+xml",
}


def file_name(whose: str, what: str, ending: str = "pdf") -> str:
    """A file's name by whose it is and what it holds: `hall-bench-sheet.pdf`."""
    plain = re.sub(r"[^a-z0-9]+", "-", whose.lower()).strip("-") or "piece"
    return f"{plain}-{what}.{ending}"


def answer_file(body: bytes | str, whose: str, what: str, ending: str = "pdf") -> flask.Response:
    """A file under its name: paper opens in the browser, what is for a program is saved."""
    response = flask.Response(body, mimetype=MIMETYPES[ending])
    way = "inline" if ending == "pdf" else "attachment"
    response.headers["Content-Disposition"] = f'{way}; filename="{file_name(whose, what, ending)}"'
    return response


def answer_plainly(words: str, status: int = 404) -> flask.Response:
    """Why there is no file, as a sentence."""
    return flask.Response(words, status, mimetype="text/plain")
