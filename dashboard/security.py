"""What keeps a page the viewer's own: headers on every answer, no word from another site, and a password.

Without a password the dashboard answers only to names of this machine, so that no page elsewhere can reach
it by a name that it made point here.
"""

import time
from collections.abc import Callable
from datetime import timedelta
from hashlib import scrypt
from typing import Any
from urllib.parse import urlencode, urlsplit

import flask
from dash import Dash
from flask.sessions import SecureCookieSessionInterface
from werkzeug.security import check_password_hash, generate_password_hash

from dashboard.metrics import METRICS
from dashboard.still_page import door_page

LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
ENTER, LEAVE = "/enter", "/leave"
OPEN_TO_ALL = ("/assets/", "/for/", "/healthz", ENTER)
SESSION = timedelta(days=14)

FREE_TRIES = 5
FIRST_WAIT_S, LONGEST_WAIT_S = 2.0, 300.0


def protect(app: Dash, password: str, key: str) -> None:
    """Guard an application. Call after every callback is registered: the policy names each inline script.

    Parameters
    ----------
    password : str
        In clear, or as werkzeug hashes it (``scrypt:…``); empty for none.
    key : str
        Signs sessions.
    """
    _headers(app)
    _same_site(app.server)
    if password:
        _ask_password(app.server, password, key)
    else:
        _own_machine_only(app.server)


def _headers(app: Dash) -> None:
    policy = "; ".join(
        [
            "default-src 'none'",
            f"script-src 'self' {' '.join(app.csp_hashes())}",
            # Dash writes style elements of its own; nothing else about a style can do harm here.
            "style-src 'self' 'unsafe-inline'",
            "img-src 'self' data:",
            "font-src 'self'",
            "connect-src 'self'",
            "form-action 'self'",
            "base-uri 'none'",
            "frame-ancestors 'none'",
        ]
    )

    @app.server.after_request
    def headed(response: flask.Response) -> flask.Response:
        response.headers.setdefault("Content-Security-Policy", policy)
        response.headers.setdefault("X-Content-Type-Options", "nosniff")
        response.headers.setdefault("Referrer-Policy", "same-origin")
        response.headers.setdefault("Cross-Origin-Opener-Policy", "same-origin")
        response.headers.setdefault("Permissions-Policy", "geolocation=(), microphone=(), camera=()")
        if response.mimetype in ("text/html", "application/json"):
            response.headers.setdefault("Cache-Control", "no-store")
        return response


def _same_site(server: flask.Flask) -> None:
    @server.before_request
    def same_site_only() -> flask.Response | None:
        if flask.request.method in ("GET", "HEAD", "OPTIONS"):
            return None
        origin = flask.request.headers.get("Origin")
        if origin is not None and urlsplit(origin).netloc != flask.request.host:
            return _plain("this page takes no orders from another site", 403)
        return None


def _own_machine_only(server: flask.Flask) -> None:
    @server.before_request
    def own_name_only() -> flask.Response | None:
        host = flask.request.host
        name = host.rsplit(":", 1)[0] if not host.endswith("]") else host
        if name not in LOOPBACK:
            return _plain(
                f"without a password this dashboard answers to 127.0.0.1 and localhost only, not to {name}",
                403,
            )
        return None


class _Session(SecureCookieSessionInterface):
    """A session whose cookie is sent over an encrypted line only, wherever it was given over one."""

    def get_cookie_secure(self, app: flask.Flask) -> bool:
        return flask.request.is_secure or flask.request.headers.get("X-Forwarded-Proto") == "https"


def _ask_password(server: flask.Flask, password: str, key: str) -> None:
    hashed = password if password.startswith(("scrypt:", "pbkdf2:")) else generate_password_hash(password)
    # A changed password ends every session that the old one opened.
    fingerprint = hashed[-16:] if hashed == password else _fingerprint(password, key)
    server.secret_key = key
    server.session_interface = _Session()
    server.config.update(
        SESSION_COOKIE_NAME="paneltide",
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        PERMANENT_SESSION_LIFETIME=SESSION,
    )
    tries = Tries(time.monotonic)

    @server.before_request
    def known_only() -> Any:
        path = flask.request.path
        if path.startswith(OPEN_TO_ALL) or flask.session.get("known") == fingerprint:
            return None
        if path == METRICS:
            return by_program()
        if flask.request.method == "GET" and not path.startswith("/_"):
            return flask.redirect(f"{ENTER}?{_next(path)}")
        return _plain("the session has ended: open the page again", 401)

    def by_program() -> flask.Response | None:
        """A monitor has no cookie; it names the password with each visit (RFC 7617), under any user name."""
        given = flask.request.authorization
        who = flask.request.remote_addr or ""
        if given is not None and tries.wait_s(who) > 0:
            return _plain("too many tries", 429)
        if given is not None and check_password_hash(hashed, given.password or ""):
            tries.forget(who)
            return None
        if given is not None:
            tries.failed(who)
        refused = _plain("this asks for the password", 401)
        refused.headers["WWW-Authenticate"] = 'Basic realm="paneltide", charset="UTF-8"'
        return refused

    @server.route(ENTER, methods=["GET", "POST"])
    def enter() -> Any:
        if flask.request.method == "GET":
            return _door("")
        who = flask.request.remote_addr or ""
        wait_s = tries.wait_s(who)
        if wait_s > 0:
            return _door(f"Too many tries. Wait {wait_s:.0f} seconds."), 429
        if not check_password_hash(hashed, flask.request.form.get("password", "")):
            tries.failed(who)
            return _door("That is not the password."), 403
        tries.forget(who)
        flask.session.clear()
        flask.session.permanent = True
        flask.session["known"] = fingerprint
        wanted = flask.request.args.get("next", "/")
        return flask.redirect(
            wanted if wanted.startswith("/") and not wanted.startswith(("//", "/\\")) else "/"
        )

    @server.post(LEAVE)
    def leave() -> Any:
        flask.session.clear()
        return flask.redirect(ENTER)


def _fingerprint(password: str, key: str) -> str:
    return scrypt(password.encode(), salt=key.encode(), n=2**14, r=8, p=1, dklen=12).hex()


def _next(path: str) -> str:
    return urlencode({"next": path})


class Tries:
    """Failed tries by address: after a few free ones, each makes the next wait longer.

    Parameters
    ----------
    clock : callable
        Seconds, rising.
    """

    REMEMBERED = 1000

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._failed: dict[str, tuple[int, float]] = {}

    def wait_s(self, who: str) -> float:
        """How long this address has to wait before its next try."""
        count, last_s = self._failed.get(who, (0, 0.0))
        if count < FREE_TRIES:
            return 0.0
        wait_s = min(FIRST_WAIT_S * 2.0 ** (count - FREE_TRIES), LONGEST_WAIT_S)
        return max(last_s + wait_s - self._clock(), 0.0)

    def failed(self, who: str) -> None:
        """This address named a wrong password."""
        count, _ = self._failed.pop(who, (0, 0.0))
        self._failed[who] = (count + 1, self._clock())
        while len(self._failed) > self.REMEMBERED:
            self._failed.pop(next(iter(self._failed)))

    def forget(self, who: str) -> None:
        """This address named the right one."""
        self._failed.pop(who, None)


def _door(problem: str) -> str:
    return door_page(flask.request.full_path, problem)


def _plain(text: str, status: int) -> flask.Response:
    return flask.Response(text, status, mimetype="text/plain")
