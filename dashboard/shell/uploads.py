"""Files that a browser sends, kept aside until the viewer says what becomes of them."""

import secrets
import shutil
import tempfile
import time
from pathlib import Path

import flask
from werkzeug.utils import secure_filename

from model.wood.errors import BadInput

UPLOADS = "/upload"
MOST_BYTES = 32 * 1024 * 1024
"""A year of one reading a minute is some 25 MB."""
KEPT = 4
LONGEST_S = 3_600.0


class Uploads:
    """The last few files sent; each can be had by its token for an hour."""

    def __init__(self) -> None:
        self._folder: Path | None = None
        self._kept: dict[str, tuple[float, Path]] = {}

    def take(self, name: str, body: bytes) -> str:
        """Keep a file under a token that nobody guesses."""
        now_s = time.monotonic()
        for token, (at_s, path) in list(self._kept.items()):
            if now_s - at_s > LONGEST_S or len(self._kept) >= KEPT:
                del self._kept[token]
                shutil.rmtree(path.parent, ignore_errors=True)
        if self._folder is None:
            self._folder = Path(tempfile.mkdtemp(prefix="paneltide-"))
        token = secrets.token_urlsafe(16)
        path = self._folder / token / (secure_filename(name) or "readings.csv")
        path.parent.mkdir(parents=True)
        path.write_bytes(body)
        self._kept[token] = now_s, path
        return token

    def path(self, token: str) -> Path:
        """Where a file lies.

        Raises
        ------
        BadInput
            If it is gone.
        """
        found = self._kept.get(token)
        if found is None or not found[1].exists():
            raise BadInput("", "the file", "must be chosen again: it was not kept any longer", "nothing")
        return found[1]

    def register(self, server: flask.Flask) -> None:
        """Answer the browsers that send files."""

        @server.post(UPLOADS)
        def upload() -> tuple[str, int]:
            length = flask.request.content_length
            if length is None or length > MOST_BYTES:
                return f"The file must have at most {MOST_BYTES // 1_048_576} MB.", 413
            body = flask.request.get_data(cache=False)
            if not body:
                return "The file is empty.", 400
            return self.take(flask.request.args.get("name", ""), body), 200


uploads = Uploads()
