"""Foretold against measured: every measurement beside what the book would have said, with bias and spread."""

from collections.abc import Iterable
from datetime import UTC, timedelta

import flask
from dash import Dash, html

from dashboard.figures import plot
from dashboard.figures.compared import Off, compared_chart
from dashboard.pages.frame import num, part, sheet, table
from dashboard.shell.files import answer_file
from dashboard.shell.view import Context, Route, View
from model.answers.validation import Agreement, Spread, agreement
from model.records.schema.tables import Place
from model.words import display as say
from model.words.cells import csv_text
from model.words.display import Display
from model.words.record_text import NAMES, difference_said, spread_sentence

MARGIN = timedelta(days=10)
VALUES = "/values/foretold.csv"
COLUMNS = ("timestamp_utc", "piece", "part_or_fit", "quantity", "foretold", "measured", "doubt", "with")
WHATS = {"width_mm": "Widths", "gap_mm": "Gaps", "mc_pct": "Moisture"}


def layout(view: View) -> html.Main:
    """All pieces together, and each by itself."""
    with view.store.session() as session:
        found = agreement(session, view.now)
        zone = session.query(Place.zone).limit(1).scalar() or "UTC"
    known = sum(spread.count for spread in found.overall)
    if not known:
        return sheet(
            "Nothing has been measured against a forecast yet.",
            html.P("Measure a width, a gap or a moisture on a piece: it is set beside what was foretold."),
        )
    return sheet(
        f"{known} measurement{'' if known == 1 else 's'} beside what was foretold.",
        spreads_list(found.overall, view.display),
        chart_part(found, zone, view),
        *[
            part(name, spreads_list(spreads, view.display))
            for name, spreads in found.by_piece.items()
            if spreads
        ],
        foretold_part(found, zone, view, named=True),
        lead="Each forecast rests on what was known just before; the measurement itself has no part in it.",
    )


def chart_part(found: Agreement, zone: str, view: View) -> html.Section:
    """Every forecast through time by how much it was off, a strip for each quantity."""
    unit = "in" if view.units == "inch" else "mm"
    offs: dict[str, list[Off]] = {}
    for one in found.compared:
        if one.error is None:
            continue
        off = one.error / 25.4 if unit == "in" and one.quantity != "mc_pct" else one.error
        title = f"{WHATS[one.quantity]}, {'points' if one.quantity == 'mc_pct' else unit} too large"
        way = "too large" if one.error > 0 else "too small"
        says = (
            f"{one.piece}, {say.said(one.fit or one.member)}<br>{say.day(one.at, zone, view.units, view.now)}"
        )
        says += f"<br>{difference_said(one.quantity, abs(one.error), view.display)} {way}"
        offs.setdefault(title, []).append(Off(one.at, off, says))
    times = [off.at for quantity in offs.values() for off in quantity]
    stretch = plot.Stretch(min(times) - MARGIN, max(times) + MARGIN, zone, view.units)
    message = " ".join(spread_sentence(vars(spread), view.display) for spread in found.overall)
    chart = compared_chart(list(offs.items()), stretch, message)
    return part(
        "Off by how much, through time", plot.placed(chart, "Forecasts beside what was measured", csv=VALUES)
    )


def spreads_list(spreads: Iterable[Spread], display: Display) -> html.Ul:
    """Bias and spread of each quantity."""
    return html.Ul([html.Li(spread_sentence(vars(one), display)) for one in spreads], className="rows")


def foretold_part(found: Agreement, zone: str, view: View, named: bool = False) -> html.Section | None:
    """The table of what was measured and foretold, newest first; none where nothing was measured."""
    if not found.compared:
        return None
    display = view.display

    def value(number: float | None, quantity: str) -> str:
        if number is None:
            return "not followed then"
        return say.mc(number) if quantity == "mc_pct" else display.length(number, finest=64)

    rows = []
    for one in reversed(found.compared):
        where = say.said(one.fit or one.member)
        title = f"{one.piece}, {where}" if named else where
        error = one.error
        off = say.NOTHING
        if error is not None:
            way = "too large" if error > 0 else "too small"
            off = f"{difference_said(one.quantity, abs(error), display)} {way}"
        rows.append(
            (
                f"{title}, {NAMES[one.quantity]}",
                say.day(one.at, zone, view.units, view.now),
                num(value(one.predicted, one.quantity)),
                num(value(one.measured, one.quantity)),
                off,
                one.how or "measured",
            )
        )
    heads = ("What", "On", "Foretold", "Measured", "Forecast", "With")
    summary = None if named else spreads_list(found.overall, display)
    told = table("Foretold, and measured", heads, rows, right=("Foretold", "Measured"))
    return part("Foretold, and measured", told, summary)


def register(app: Dash, context: Context) -> None:
    """The values of the chart as a file: each quantity in the unit that ends its name."""

    @app.server.get(VALUES)
    def foretold_values() -> flask.Response:
        with context.store.session() as session:
            compared = agreement(session, context.now()).compared
        rows = [
            (
                f"{one.at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}",
                one.piece,
                one.fit or one.member,
                one.quantity,
                one.predicted,
                one.measured,
                one.uncertainty,
                one.how or "measured",
            )
            for one in compared
        ]
        return answer_file(csv_text(COLUMNS, rows), "foretold", "values", "csv")


ROUTES = [Route("/foretold", layout, live=False)]
