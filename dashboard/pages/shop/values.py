"""What charts show, as numbers: at a moment that was typed, and as a file for a spreadsheet."""

import csv
import io
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any
from urllib.parse import parse_qsl, urlencode, urlsplit

import flask
import numpy as np
from dash import ALL, Dash, Input, Output, State, ctx, no_update
from sqlalchemy.orm import Session

from dashboard.figures.air import doubted_in, worked_out
from dashboard.pages.frame import ADDRESS
from dashboard.paper.sheet import file_name
from dashboard.shell.moments import MOMENT, SAY, typed_moment
from dashboard.shell.spans import MINUTE, instant
from dashboard.shell.view import HIGHEST_NUMBER, Context, View, address, view_of
from model.records.queries import series, traces
from model.records.schema.tables import Body, Member, Place, Sensor
from model.wood.errors import BadInput

AIR = ("timestamp_utc", "temperature_c", "rh_pct", "emc_pct", "basis")
SENT = ("timestamp_utc", "temperature_c", "rh_pct", "trust")
WOOD = ("timestamp_utc", "mc_mean_pct", "mc_face_pct", "mc_core_pct", "width_mm", "basis")


def values_address(kind: str, number: int, since_at: datetime, until_at: datetime) -> str:
    """Where a chart's values are had as a file; `kind` is place, sensor or body."""
    ends = {"since": since_at.strftime(MINUTE), "until": until_at.strftime(MINUTE)}
    return address("values", kind, f"{number}.csv", **ends)


def rows_of(
    session: Session, kind: str, number: int, since_at: datetime, until_at: datetime
) -> tuple[str, tuple[str, ...], Iterable[tuple[Any, ...]]] | None:
    """A chart's values within a span, none left out: whose they are, their columns, their rows in SI units.

    Nothing in them was typed by anyone, so that no cell can be taken for a formula.
    """
    table = {"place": Place, "sensor": Sensor, "body": Body}.get(kind)
    found: Any = None if table is None else session.get(table, number)
    if found is None:
        return None
    if kind == "place":
        air = series.air(session, number, since_at, until_at)
        basis = np.where(air.estimated, "estimated", "measured")
        return found.name, AIR, _rows(air.at, (air.temperature_c, air.rh_pct, worked_out(air)[0]), 2, basis)
    if kind == "sensor":
        trace = traces.sensor_trace(session, number, since_at, until_at, every=True)
        trust = np.where(doubted_in(trace), "doubted", "trusted")
        return found.name, SENT, _rows(trace.at, (trace.temperature_c, trace.rh_pct), 3, trust)
    tide = series.tide(session, number, since_at, until_at)
    basis = np.where(tide.estimated, "estimated", "measured")
    columns = (tide.mc_mean_pct, tide.mc_face_pct, tide.mc_core_pct, tide.width_mm)
    name = f"{found.piece.name} {found.name}" if isinstance(found, Member) else found.name
    return name, WOOD, _rows(tide.at, columns, 3, basis)


def _rows(
    at: np.ndarray, columns: Iterable[np.ndarray], decimals: int, said: np.ndarray
) -> Iterable[tuple[Any, ...]]:
    numbers = (np.round(column, decimals).tolist() for column in columns)
    written = ([None if value != value else value for value in column] for column in numbers)
    return zip((f"{text}Z" for text in np.datetime_as_string(at, unit="s")), *written, said, strict=True)


def moment_address(href: str, text: str, zone: str, view: View) -> str:
    """A page's address that asks of a moment as typed; what is no moment stands in it as it was typed."""
    parts = urlsplit(href)
    asked = {name: value for name, value in parse_qsl(parts.query) if name != "at"}
    if text.strip():
        try:
            asked["at"] = typed_moment(text, zone, view.units, view.now).strftime(MINUTE)
        except BadInput:
            asked["at"] = text
    return f"{parts.path}?{urlencode(asked)}" if asked else parts.path


def register(app: Dash, context: Context) -> None:
    """The file, and the moment typed."""

    @app.server.get(f"/values/<kind>/<int(max={HIGHEST_NUMBER}):number>.csv")
    def values(kind: str, number: int) -> flask.Response:
        since_at, until_at = (instant(flask.request.args.get(end)) for end in ("since", "until"))
        until_at = until_at or context.now().astimezone(UTC)
        with context.store.session() as session:
            found = rows_of(session, kind, number, since_at or datetime(1970, 1, 1, tzinfo=UTC), until_at)
        if found is None:
            return flask.Response("that is not in the book", 404, mimetype="text/plain")
        name, columns, rows = found
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow(columns)
        writer.writerows(rows)
        response = flask.Response(text.getvalue(), mimetype="text/csv")
        named = file_name(name, "values").replace(".pdf", ".csv")
        response.headers["Content-Disposition"] = f'attachment; filename="{named}"'
        return response

    @app.callback(
        Output(ADDRESS, "href", allow_duplicate=True),
        Input({"form": SAY, "zone": ALL}, "n_clicks"),
        Input({"form": MOMENT, "zone": ALL}, "entered"),
        State({"form": MOMENT, "zone": ALL}, "value"),
        State(ADDRESS, "href"),
        prevent_initial_call=True,
    )
    def say_it(
        clicks: list[int | None], entered: list[float | None], typed: list[str | None], href: str | None
    ) -> Any:
        if not any([*clicks, *entered]) or not typed:
            return no_update
        zone = str(ctx.states_list[0][0]["id"]["zone"])
        return moment_address(href or "/", typed[0] or "", zone, view_of(context))
