"""What keeps a page the viewer's own: headers on every answer, and no word from another site."""

from urllib.parse import urlsplit

import flask
from dash import Dash


def protect(app: Dash, password: str) -> None:
    """Put headers on every answer, and refuse requests that another site's page made.

    Call after every callback is registered: the policy names the hash of each inline script.
    """
    policy = "; ".join(
        [
            "default-src 'none'",
            f"script-src 'self' {' '.join(app.csp_hashes())}",
            # Charts and inputs write their own style elements; nothing else about a style can do harm here.
            "style-src 'self' 'unsafe-inline'",
            "img-src 'self' data: blob:",
            "font-src 'self'",
            "connect-src 'self'",
            "form-action 'self'",
            "base-uri 'none'",
            "frame-ancestors 'none'",
        ]
    )

    @app.server.before_request
    def same_site_only() -> flask.Response | None:
        if flask.request.method in ("GET", "HEAD", "OPTIONS"):
            return None
        origin = flask.request.headers.get("Origin")
        if origin and urlsplit(origin).netloc != flask.request.host:
            return flask.Response("this page takes no orders from another site", 403, mimetype="text/plain")
        return None

    @app.server.after_request
    def headed(response: flask.Response) -> flask.Response:
        response.headers.setdefault("Content-Security-Policy", policy)
        response.headers.setdefault("X-Content-Type-Options", "nosniff")
        response.headers.setdefault("Referrer-Policy", "same-origin")
        response.headers.setdefault("Permissions-Policy", "geolocation=(), microphone=(), camera=()")
        return response
