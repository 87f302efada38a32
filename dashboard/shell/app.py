"""The dashboard: one Dash application over the book, and how it is served.

Importing this does nothing; `build_app` hands every page what it needs, so that a test can build two.
"""

import functools
import hashlib
import json
import re
import select
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import flask
from dash import Dash, Input, Output, State, ctx, no_update
from dash.development.base_component import Component
from flask_compress import Compress
from plotly.utils import PlotlyJSONEncoder
from werkzeug.test import Client

from dashboard.api import routes as api
from dashboard.pages import frame
from dashboard.pages.frame import ACTED, ADDRESS, PAGE, SAID, SHOWN, TICK, UNITS, missing, shell, top
from dashboard.shell import answering, metrics, page_registry, security, signing
from dashboard.shell.links import Links
from dashboard.shell.page_cache import Fresh
from dashboard.shell.patience import patiently
from dashboard.shell.ports import NoticeDoor, SensorDoor
from dashboard.shell.sessions import Sessions
from dashboard.shell.static_html import still
from dashboard.shell.view import UNITS_COOKIE, Context, Route, View, view_of
from model.records.clock import Now, SampleClock
from model.records.queries import overview as queries
from model.records.store import Store
from model.wood.material.species import NORTH_AMERICA, Region
from model.words.display import Display, Units

ASSETS = Path(__file__).parents[1] / "assets"
YEAR_S = 365 * 24 * 3600
THREADS = 8
PLOTLY = "plotly/plotly-basic-4.1.1.min.js"
"""Lines, bars and pies only, a quarter of the whole; fetched by `page.js` where the first chart is."""
LOOK_S = 0.2  # how often the server looks whether it is to stop
SHUTDOWN_S = 2.0

INDEX = """<!DOCTYPE html>
<html lang="en">
<head>
<meta name="viewport" content="width=device-width, initial-scale=1, viewport-fit=cover">
<script src="{page_js}" data-plotly="{plotly}"></script>
{{%metas%}}
<title>{{%title%}}</title>
<link rel="icon" href="{icon}" type="image/svg+xml">
<link rel="preload" href="{serif}" as="font" type="font/woff2" crossorigin>
<link rel="preload" href="{sans}" as="font" type="font/woff2" crossorigin>
{{%css%}}
</head>
<body>
{first_sight}
{{%app_entry%}}
{{%config%}}
{{%scripts%}}
{{%renderer%}}
</body>
</html>"""


HELD = "text/plain"
SCRIPT = re.compile(r'<script src="([^"]+)"></script>')


def _held_back(scripts: str) -> str:
    """Dash's scripts as `page.js` starts them: they begin once what came with the document has been drawn."""
    return SCRIPT.sub(rf'<script type="{HELD}" data-src="\1"></script>', scripts)


class Sheets(Dash):
    """Dash, with each page written into the document it arrives in.

    A page can be read before a script has run; the live page takes its place once it stands.
    """

    first_sight: Any = staticmethod(lambda: "")

    def callback(self, *args: Any, **kwargs: Any) -> Any:
        """A press is tried again while the book is busy; what it raises in the end is told on the page."""
        register = super().callback(*args, **kwargs)

        def registered(function: Callable[..., Any]) -> Any:
            @functools.wraps(function)
            def patient(*given: Any) -> Any:
                return patiently(lambda: function(*given))

            return register(patient)

        return registered

    def interpolate_index(self, **kwargs: Any) -> str:  # type: ignore[override]
        asset = self.get_asset_url
        document = INDEX.format(
            page_js=asset("page.js"),
            plotly=asset(PLOTLY),
            icon=asset("mark.svg"),
            serif=asset("fonts/vollkorn-latin-400-normal.woff2"),
            sans=asset("fonts/alegreya-sans-latin-400-normal.woff2"),
            first_sight=self.first_sight().replace("{%", "{&#37;"),
        )
        kwargs["scripts"] = _held_back(kwargs["scripts"])
        kwargs["renderer"] = kwargs["renderer"].replace("application/javascript", HELD)
        for name, value in kwargs.items():
            document = document.replace("{%" + name + "%}", value)
        return document


def build_app(
    store: Store,
    now: Now,
    units: Units = "inch",
    password: str = "",
    zone: str = "UTC",
    sensors: SensorDoor | None = None,
    notices: NoticeDoor | None = None,
    public_url: str = "",
    trusted_proxy: str = "",
    guide: Path | None = None,
    region: Region = NORTH_AMERICA,
) -> Dash:
    """The dashboard over a book.

    Parameters
    ----------
    store : Store
        The book, at the current schema.
    now : Now
        The book's clock.
    units : 'inch' or 'metric'
        What is shown to a viewer who has not chosen.
    password : str
        Asked of every viewer; empty for none, which is right on loopback only.
    zone : str
        Time zone of the first place recorded; later places have their own.
    sensors : SensorDoor, optional
        What ingest does for the Sensors page; without it unknown topics are not listed.
    notices : NoticeDoor, optional
        The addresses that are told of warnings, masked; without it none are listed.
    public_url : str
        The address under which clients reach the pages; empty for the one a page is asked by.
    region : str
        Whose woods trade names mean, as ash and cherry.
    trusted_proxy : str
        Address of the proxy before it, whose word is taken for who asks; empty for none.
    guide : Path, optional
        The folder of the guide for makers, shown at /help.

    Returns
    -------
    Dash
        Ready to serve: it has answered a first request already.
    """
    key, sessions = signing.signing_key(store), Sessions(store)
    context = Context(
        store=store,
        now=now,
        units=units,
        region=region,
        zone=zone,
        sensors=sensors,
        notices=notices,
        sample=isinstance(now, SampleClock),
        links=Links(key),
        public_url=public_url,
        sessions=sessions if password else None,
        guide=guide,
    )
    # Dash's own folder scan would import every page; ours are named in `routes`.
    app = Sheets(
        "dashboard",
        assets_folder=str(ASSETS),
        pages_folder="",
        use_pages=False,
        include_pages_meta=False,
        assets_ignore=r"page\.js|plotly-.*\.js",
        suppress_callback_exceptions=True,
        update_title="",
        title="paneltide",
        add_log_handler=False,
        enable_mcp=False,
        on_error=answering.tell,
    )
    app.enable_dev_tools(debug=False, dev_tools_ui=False, dev_tools_props_check=False)
    server = app.server
    Compress(server)
    server.config["COMPRESS_MIMETYPES"] = [
        "application/javascript",
        "text/html",
        "text/css",
        "application/json",
        "text/javascript",
    ]

    table = page_registry.routes()
    fresh = Fresh(store)

    def answered(view: View, path: str) -> tuple[Component, bool]:
        # The page written into the document and the one its scripts ask for a moment later are one.
        def make() -> tuple[Component, bool]:
            return _answer(table, view, path)

        shared = _shared(table, view, path)
        return fresh.of(("page", *shared), make) if shared else make()

    def first_page() -> str:
        view, path = _asked(context, flask.request.full_path)
        shared = _shared(table, view, path)

        def written() -> str:
            page, _live = answered(view, path)
            head = top(view.units, path, live=False, sample=context.sample)
            return f'<div class="first-sight">{still([head, page, frame.helped(path)])}</div>'

        return fresh.of(("first sight", *shared), written) if shared else written()

    def layout() -> Component:
        # Dash asks for the layout apart from the page; the browser says for which page in the referrer.
        href = flask.request.referrer if flask.has_request_context() else None
        view, path = _asked(context, href or "/")
        page, _live = answered(view, path)
        return shell(page, view.units, href or "/", path, context.sample)

    app.first_sight = first_page
    app.layout = layout
    _register_router(app, context, answered)
    page_registry.register(app, context)

    @server.get(security.HEALTH)
    def healthz() -> flask.Response:
        answer = queries.health(store, now)
        told = answer if security.may_know() else {"ok": answer["ok"]}
        if asked := flask.request.args.get("book"):
            told = told | {"is_book": asked == store.mark}
        response = flask.jsonify(told)
        response.status_code = 200 if answer["ok"] else 503
        response.headers["Cache-Control"] = "no-store"
        return response

    metrics.register(server, store, now)
    api.register(server, context)
    answering.register(app)
    security.protect(app, password, key, sessions, trusted_proxy)
    _warm(server)
    return app


Answered = Callable[[View, str], tuple[Component, bool]]


def _register_router(app: Dash, context: Context, answered: Answered) -> None:
    @app.callback(
        Output(PAGE, "children"),
        Output(SHOWN, "data"),
        Output(UNITS, "children"),
        Output(UNITS, "aria-label"),
        Output(SAID, "children"),
        Input(ADDRESS, "href"),
        Input(UNITS, "n_clicks"),
        Input(TICK, "n_intervals"),
        Input(ACTED, "data"),
        State(SHOWN, "data"),
        prevent_initial_call=True,
    )
    def turn_page(
        href: str | None,
        _clicks: int | None,
        _ticks: int | None,
        acted: dict[str, str] | None,
        shown: dict[str, str] | None,
    ) -> tuple[Any, Any, Any, Any, Any]:
        view, path = _asked(context, href or "/")
        # A press can come in one message with a tick: then it's the press that is answered.
        asked_by = set(ctx.triggered_prop_ids.values())
        drawn, act = shown or {}, (acted or {}).get("nonce", "")
        # A tick takes the place of a press whose answer is on its way: what that one asked is drawn now.
        is_drawn = (drawn.get("path"), drawn.get("act", ""), drawn.get("units")) == (path, act, view.units)
        only_time = asked_by == {TICK} and is_drawn
        if UNITS in asked_by:
            units: Units = "metric" if view.units == "inch" else "inch"
            view = View(context, Display(units), view.now, view.query)
            ctx.response.set_cookie(UNITS_COOKIE, units, max_age=YEAR_S, samesite="Lax", path="/")
        page, live = answered(view, path)
        if only_time and not live:
            return (no_update,) * 5
        # A page that reads the same is not sent again: most ticks change nothing.
        digest = hashlib.sha256(json.dumps(page, cls=PlotlyJSONEncoder).encode()).hexdigest()[:16]
        said = {"units": view.units, "digest": digest, "path": path, "act": act}
        if only_time and drawn.get("digest") == digest:
            return (no_update,) * 5
        # What was done is told until its page is left.
        told: Any = no_update if acted and acted.get("path") in (path, "") else []
        return (
            frame.placed(page, path),
            said,
            frame.units_word(view.units),
            frame.units_label(view.units),
            told,
        )


def _asked(context: Context, href: str) -> tuple[View, str]:
    """Who asks for what: the view, and the path of an address."""
    return view_of(context, href), urlsplit(href).path or "/"


def _shared(table: list[Route], view: View, path: str) -> tuple[Any, ...] | None:
    """By what a page is the same for every viewer; None where it is one viewer's own."""
    if not any(route.live and route.match(path) is not None for route in table):
        return None
    return path, tuple(sorted(view.query.items())), view.units, view.now.replace(second=0, microsecond=0)


def _answer(table: list[Route], view: View, path: str) -> tuple[Component, bool]:
    """The page at a path, and whether it is drawn again as time goes on."""
    for route in table:
        numbers = route.match(path)
        if numbers is not None:
            page = route.build(view, **numbers)
            return (missing("That is not in the book"), False) if page is None else (page, route.live)
    return missing("There is no page at this address"), False


def _warm(server: flask.Flask) -> None:
    """Ask for everything a first visit asks for: concurrent first requests of a cold Dash can fail."""
    client = Client(server)  # Flask's own brings a debugger with it
    # With a password they lead to its page, which is all a first visit meets.
    for path in ("/", "/_dash-layout", "/_dash-dependencies"):
        client.get(path)


def serve(app: Dash, bind: str, port: int, stop: threading.Event) -> None:
    """Serve the dashboard until told to stop.

    Parameters
    ----------
    bind, port : str, int
        Address to listen on.
    stop : threading.Event
        Set from another thread or a signal handler.

    Raises
    ------
    OSError
        If the address is taken.
    """
    from waitress import wasyncore
    from waitress.server import create_server

    # Our own map of sockets, so that the loop can end, and close them, within a moment of being told to.
    sockets: dict[int, Any] = {}
    # `security` decides whose word is taken for who asks; waitress would drop it unread.
    server = create_server(
        app.server,
        map=sockets,
        host=bind,
        port=port,
        threads=THREADS,
        ident=None,
        clear_untrusted_proxy_headers=False,
    )
    try:
        while not stop.is_set():
            wasyncore.loop(timeout=LOOK_S, map=sockets, use_poll=hasattr(select, "poll"), count=1)
    finally:
        dispatcher = getattr(server, "task_dispatcher", None)
        if dispatcher is not None:
            dispatcher.shutdown(timeout=SHUTDOWN_S)
        wasyncore.close_all(sockets, ignore_all=True)
