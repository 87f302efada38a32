"""What keeps a page the viewer's own: headers on every answer, no word from another site, and a password.

Without a password the dashboard answers only to names of this machine, so that no page elsewhere can reach
it by a name that it made point here.
"""

import re
import time
from collections.abc import Callable
from hashlib import scrypt
from ipaddress import ip_address, ip_network
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode, urlsplit

import flask
from dash import Dash
from flask.sessions import SecureCookieSessionInterface
from werkzeug.middleware.proxy_fix import ProxyFix
from werkzeug.security import check_password_hash, generate_password_hash

from dashboard.api.problems import is_api, problem
from dashboard.api.tokens import is_good
from dashboard.shell.metrics import METRICS
from dashboard.shell.patience import patiently
from dashboard.shell.sessions import LASTS, Sessions
from dashboard.shell.still_page import door_page

if TYPE_CHECKING:
    from _typeshed.wsgi import StartResponse, WSGIApplication, WSGIEnvironment

LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
ENTER, LEAVE, LEAVE_EVERYWHERE = "/enter", "/leave", "/leave/everywhere"
HEALTH = "/healthz"
OPEN_TO_ALL = ("/assets/", "/for/", HEALTH, ENTER)
FOR_PROGRAMS = (METRICS, HEALTH)
COOKIE = "paneltide"
DOOR_BYTES = 10_000
"""The most that a stranger may send: more than any password needs."""
OWN_ADDRESS = re.compile(r"/(?![/\\])[!-\[\]-~]*")
"""A path of this site: printable, no backslash, and no second slash that would name a host."""

FREE_TRIES = 5
FIRST_WAIT_S, LONGEST_WAIT_S = 2.0, 300.0


def protect(app: Dash, password: str, key: str, sessions: Sessions, trusted_proxy: str = "") -> None:
    """Guard an application. Call after every callback is registered: the policy names each inline script.

    Parameters
    ----------
    password : str
        In clear, or as werkzeug hashes it (``scrypt:…``); empty for none.
    key : str
        Signs sessions.
    sessions : Sessions
        Those that have entered.
    trusted_proxy : str
        Address of the proxy whose word is taken for who asks and how; empty for none.
    """
    if trusted_proxy:
        app.server.wsgi_app = BehindProxy(app.server.wsgi_app, trusted_proxy)
    _headers(app)
    _same_site(app.server)
    if password:
        _ask_password(app.server, password, key, sessions)
    else:
        _own_machine_only(app.server)


class BehindProxy:
    """Takes the client's address and scheme from a proxy's headers where, and only where, that proxy asks.

    Parameters
    ----------
    trusted_proxy : str
        Its address, or a network (10.0.0.0/24); several are separated by commas.
    """

    def __init__(self, app: "WSGIApplication", trusted_proxy: str) -> None:
        self._plain, self._proxied = app, ProxyFix(app, x_for=1, x_proto=1)
        self._trusted = [ip_network(one.strip(), strict=False) for one in trusted_proxy.split(",")]

    def __call__(self, environ: "WSGIEnvironment", start_response: "StartResponse") -> Any:
        try:
            peer = ip_address(environ.get("REMOTE_ADDR", ""))
        except ValueError:
            return self._plain(environ, start_response)
        trusted = any(peer in network for network in self._trusted)
        return (self._proxied if trusted else self._plain)(environ, start_response)


def may_know() -> bool:
    """Whether who asks now may be told more than a stranger."""
    return bool(flask.g.get("known"))


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
        headers = flask.request.headers
        sent_from = headers.get("Origin") or headers.get("Referer")
        elsewhere = sent_from is not None and urlsplit(sent_from).netloc != flask.request.host
        if elsewhere or headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
            return _plain("this page takes no orders from another site", 403)
        return None


def _own_machine_only(server: flask.Flask) -> None:
    @server.before_request
    def own_name_only() -> flask.Response | None:
        host = flask.request.host
        name = host.rsplit(":", 1)[0] if not host.endswith("]") else host
        flask.g.known = name in LOOPBACK
        if not flask.g.known:
            return _plain(
                f"without a password this dashboard answers to 127.0.0.1 and localhost only, not to {name}",
                403,
            )
        return None


class _Session(SecureCookieSessionInterface):
    """A session whose cookie is sent over an encrypted line only, wherever it was given over one.

    There its name keeps browsers from taking it from any other host or path (RFC 6265bis, 4.1.3.2).
    """

    def get_cookie_name(self, app: flask.Flask) -> str:
        return f"__Host-{COOKIE}" if flask.request.is_secure else COOKIE

    def get_cookie_secure(self, app: flask.Flask) -> bool:
        return flask.request.is_secure


def _ask_password(server: flask.Flask, password: str, key: str, sessions: Sessions) -> None:
    hashed = password if password.startswith(("scrypt:", "pbkdf2:")) else generate_password_hash(password)
    # A changed password ends every session that the old one opened.
    fingerprint = hashed[-16:] if hashed == password else _fingerprint(password, key)
    server.secret_key = key
    server.session_interface = _Session()
    server.config.update(
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        SESSION_REFRESH_EACH_REQUEST=False,
        PERMANENT_SESSION_LIFETIME=LASTS,
    )
    # Apart, so that a monitor with an old password doesn't keep its owner out.
    tries, tries_of_programs = Tries(time.monotonic), Tries(time.monotonic)

    def entered() -> bool:
        kept = flask.session
        return kept.get("known") == fingerprint and sessions.knows(kept.get("id"))

    @server.before_request
    def known_only() -> Any:
        path = flask.request.path
        if path.startswith(OPEN_TO_ALL) and path not in (ENTER, HEALTH):
            return None
        flask.g.known = entered()
        if flask.g.known:
            return None
        if path == ENTER:
            flask.request.max_content_length = DOOR_BYTES
            return None
        if path in FOR_PROGRAMS:
            return by_program()
        if is_api(path):
            return by_token()
        if flask.request.method == "GET" and not path.startswith("/_"):
            return flask.redirect(f"{ENTER}?{_next(path)}")
        return _plain("the session has ended: open the page again", 401)

    def by_program() -> flask.Response | None:
        """A monitor has no cookie; it names the password with each visit (RFC 7617), under any user name."""
        given = flask.request.authorization if flask.request.method == "GET" else None
        if given is None and flask.request.path == HEALTH:
            return None
        if given is not None:
            who = client()
            if tries_of_programs.wait_s(who) > 0:
                return _plain("too many tries", 429)
            flask.g.known = check_password_hash(hashed, given.password or "")
            if flask.g.known:
                tries_of_programs.forget(who)
                return None
            tries_of_programs.failed(who)
        refused = _plain("this asks for the password", 401)
        refused.headers["WWW-Authenticate"] = 'Basic realm="paneltide", charset="UTF-8"'
        return refused

    def by_token() -> flask.Response | None:
        """A program names its token with each question (RFC 6750)."""
        token = flask.request.authorization and flask.request.authorization.token
        flask.g.known = bool(token) and is_good(sessions.store, str(token))
        if flask.g.known:
            return None
        refused = _plain("this asks for a token: `paneltide token give NAME` makes one", 401)
        refused.headers["WWW-Authenticate"] = 'Bearer realm="paneltide"' + (
            ', error="invalid_token"' if token else ""
        )
        return refused

    @server.route(ENTER, methods=["GET", "POST"])
    def enter() -> Any:
        wanted = flask.request.args.get("next", "/")
        onward = wanted if OWN_ADDRESS.fullmatch(wanted) else "/"
        if flask.g.known:
            return flask.redirect(onward)
        if flask.request.method != "POST":
            return _door("")
        who = client()
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
        flask.session["id"] = patiently(sessions.open)
        return flask.redirect(onward)

    @server.post(LEAVE)
    def leave() -> Any:
        session_id = flask.session.get("id")
        flask.session.clear()
        patiently(lambda: sessions.end(session_id))
        return flask.redirect(ENTER)

    @server.post(LEAVE_EVERYWHERE)
    def leave_everywhere() -> Any:
        flask.session.clear()
        patiently(sessions.end_all)
        return flask.redirect(ENTER)


def client() -> str:
    """Who tries, as tries are counted: an address, or of IPv6 the network that a household has (64 bits)."""
    who = flask.request.remote_addr or ""
    return str(ip_network(f"{who}/64", strict=False)) if ":" in who else who


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
    """Why who asks is sent away; a program is told in a document of its own."""
    if is_api(flask.request.path):
        return problem(status, text)
    return flask.Response(text, status, mimetype="text/plain")
