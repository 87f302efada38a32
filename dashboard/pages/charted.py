"""A chart over time on its page: its span, a moment that is asked of, and its values as a file."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from typing import Any

import flask
import numpy as np
from dash import Dash, html
from sqlalchemy.orm import Session

from dashboard.figures import plot
from dashboard.figures.air import doubted_among, doubted_in, worked_out
from dashboard.forms import fields as forms
from dashboard.forms.asking import leads_typed
from dashboard.forms.fields import Line, field
from dashboard.pages.frame import Child
from dashboard.shell.files import answer_file
from dashboard.shell.spans import MINUTE, TimeSpan, instant, no_moment, span_links, typed_moment
from dashboard.shell.view import HIGHEST_NUMBER, Context, View, address
from model.records.queries import mounted, series, traces
from model.records.schema.tables import BodyRow, MemberRow, Place, Sensor
from model.wood.errors import BadInput
from model.words import display as say
from model.words import times
from model.words.cells import csv_text

MOMENT = "moment"
AIR = ("timestamp_utc", "temperature_c", "rh_pct", "emc_pct", "basis")
SENT = ("timestamp_utc", "temperature_c", "rh_pct", "trust")
WOOD = ("timestamp_utc", "mc_mean_pct", "mc_face_pct", "mc_core_pct", "width_mm", "basis")


def charted(
    view: View,
    span: TimeSpan,
    names: tuple[str, ...],
    chart: plot.Chart,
    title: str,
    here: str,
    whose: tuple[str, int],
    then: str = "",
    tall: bool = False,
) -> list[Child]:
    """A chart under the links to its spans, and below it where a day and a time are typed.

    Parameters
    ----------
    names : tuple of str
        The spans there are.
    title : str
        What a saved picture is called.
    here : str
        The page's address.
    whose : tuple of (str, int)
        Of what its values are had as a file: place, sensor or body, and its number.
    then : str
        What was so at the moment that is asked of, as a sentence.
    """
    ends = {"since": span.since_at.strftime(MINUTE), "until": span.until_at.strftime(MINUTE)}
    values = address("values", whose[0], f"{whose[1]}.csv", **ends)
    return [
        span_links(here, span, names),
        plot.placed(chart, title, here, values, tall),
        _moment_part(view, span, then),
    ]


def _moment_part(view: View, span: TimeSpan, then: str) -> html.Div:
    """Where a day and a time are typed, and what was so then."""
    text, at = view.query.get("at", ""), span.asked_at
    shown: Any = None
    if text and at is None:
        shown = forms.problem(no_moment(text))
    elif at is not None:
        shown = html.P(say.sentence(then), className="answered", role="status")
    value = times.moment(at, span.zone, view.units, view.now) if at is not None else text
    hint = "12 January, 3 pm" if view.units == "metric" else "January 12, 3 pm"
    line = Line({"form": MOMENT, "key": "at"}, value, placeholder=hint)
    press = html.Button("Say it", id={"act": MOMENT, "zone": span.zone})
    return html.Div([field("At a day and a time", line), press, shown], className="moment no-print")


def nearest(at: Any, asked_at: datetime, within: timedelta) -> int | None:
    """The index of the instant of an array nearest to one; none where there is none so near."""
    if not len(at):
        return None
    away = np.abs(at - np.datetime64(asked_at.astimezone(UTC).replace(tzinfo=None), "ms"))
    index = int(away.argmin())
    return index if away[index] <= np.timedelta64(within) else None


def rows_of(
    session: Session, kind: str, number: int, since_at: datetime, until_at: datetime
) -> tuple[str, tuple[str, ...], Iterable[tuple[Any, ...]]] | None:
    """All of a chart's values within a span: whose they are, their columns, their rows in SI units."""
    table = {"place": Place, "sensor": Sensor, "body": BodyRow}.get(kind)
    found: Any = None if table is None else session.get(table, number)
    if found is None:
        return None
    if kind == "place":
        air = series.air(session, number, since_at, until_at)
        basis = np.where(air.estimated, "estimated", "measured")
        return found.name, AIR, _rows(air.at, (air.temperature_c, air.rh_pct, worked_out(air)[0]), 2, basis)
    if kind == "sensor":
        if on_wood := mounted.mounted(session, until_at, sensor_id=number):
            sent = mounted.sent_on_wood(session, number, since_at, until_at)
            trust = np.where(doubted_among(sent.at, sent.doubts), "doubted", "trusted")
            heads = ("timestamp_utc", on_wood[0].measures, "trust")
            return found.name, heads, _rows(sent.at, (sent.value,), 3, trust)
        trace = traces.sensor_trace(session, number, since_at, until_at, every=True)
        trust = np.where(doubted_in(trace), "doubted", "trusted")
        return found.name, SENT, _rows(trace.at, (trace.temperature_c, trace.rh_pct), 3, trust)
    tide = series.tide(session, number, since_at, until_at)
    basis = np.where(tide.estimated, "estimated", "measured")
    columns = (tide.mc_mean_pct, tide.mc_face_pct, tide.mc_core_pct, tide.width_mm)
    name = f"{found.piece.name} {found.name}" if isinstance(found, MemberRow) else found.name
    return name, WOOD, _rows(tide.at, columns, 3, basis)


def _rows(
    at: np.ndarray, columns: Iterable[np.ndarray], decimals: int, said: np.ndarray
) -> Iterable[tuple[Any, ...]]:
    numbers = (np.round(column, decimals).tolist() for column in columns)
    written = ([None if value != value else value for value in column] for column in numbers)
    return zip((f"{text}Z" for text in np.datetime_as_string(at, unit="s")), *written, said, strict=True)


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
        return answer_file(csv_text(columns, rows), name, "values", "csv")

    leads_typed(app, context, MOMENT, _moment_address, which="zone")


def _moment_address(view: View, path: str, typed: dict[str, str], zone: str) -> str:
    """A page's address that asks of a moment as typed; what is no moment stands in it as it was typed."""
    asked = {name: value for name, value in view.query.items() if name != "at"}
    text = str(typed.get("at") or "").strip()
    try:
        at = typed_moment(text, zone, view.units, view.now).strftime(MINUTE) if text else None
    except BadInput:
        at = text
    return address(*path.strip("/").split("/"), **asked, at=at)
