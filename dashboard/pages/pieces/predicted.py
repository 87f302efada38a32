"""Foretold against measured: every measurement beside its forecast and the band it should lie in."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, timedelta

import flask
from dash import Dash, html
from sqlalchemy import select

from dashboard.figures import plot
from dashboard.figures.compared import Against, compared_chart
from dashboard.pages.frame import num, part, sheet, table
from dashboard.shell.files import answer_file
from dashboard.shell.view import Context, Route, View, address
from model.answers.validation import Agreement, Compared, agreement
from model.records.schema.tables import PieceRow, Place
from model.wood.units import MM_PER_INCH
from model.words import display as say
from model.words import times
from model.words.cells import csv_text
from model.words.display import Display
from model.words.record_text import NAMES, coverage_sentences, difference_said, spread_sentence

MARGIN = timedelta(days=10)
SHOWN = 60
"""So many of the newest are listed; a sensor on the wood measures every day."""
VALUES = "/values/foretold.csv"
PIECES = select(PieceRow.id, PieceRow.name)
COLUMNS = (
    *("timestamp_utc", "piece", "part_or_fit", "quantity", "foretold", "band_low", "band_high"),
    *("measured", "doubt", "with"),
)


def layout(view: View) -> html.Main:
    """All pieces together, and each by itself."""
    with view.store.session() as session:
        found = agreement(session, view.now)
        zone = session.query(Place.zone).limit(1).scalar() or "UTC"
        pages = {name: address("piece", number, "gap") for number, name in session.execute(PIECES)}
    known = sum(spread.count for spread in found.overall)
    if not known:
        return sheet(
            "Nothing has been measured against a forecast yet.",
            html.P("Measure a width, a gap or a moisture on a piece: it is set beside what was foretold."),
        )
    return sheet(
        coverage_sentences(vars(found.coverage))[0],
        agreement_list(found, view.display, coverage_sentences(vars(found.coverage))[1:]),
        chart_of(found, zone, view),
        part("Piece by piece", html.Ul(list(_by_piece(found, pages, view.display)), className="rows")),
        foretold_part(found, zone, view, named=True),
        lead="Each forecast is of the day before: it rests on the air and the measurements up to then. The "
        "band is as wide as the forecast and the reading are unsure; 8 in 10 readings should lie in theirs.",
    )


def _by_piece(found: Agreement, pages: Mapping[str, str], display: Display) -> Iterator[html.Li]:
    """How each piece was foretold, with the way to its own chart."""
    for name in found.by_piece:
        own = found.of_piece(name)
        told = coverage_sentences(vars(own.coverage))
        told += [spread_sentence(vars(one), display) for one in own.overall]
        if told:
            yield html.Li([html.A(html.B(name), href=pages[name]), f": {' '.join(told)}"])


def agreement_list(found: Agreement, display: Display, coverage: Sequence[str]) -> html.Ul:
    """Coverage, then bias and spread of each quantity."""
    told = [*coverage, *(spread_sentence(vars(one), display) for one in found.overall)]
    return html.Ul([html.Li(line) for line in told], className="rows")


def chart_of(found: Agreement, zone: str, view: View) -> html.Figure | None:
    """Every measurement beside the band of its forecast, through time, a strip for each quantity."""
    banded = [one for one in found.compared if one.band is not None]
    if not banded:
        return None
    against: dict[str, list[Against]] = {}
    for one in banded:
        against.setdefault(one.quantity, []).append(_against(one, zone, view))
    titles = {
        "mc_pct": "Moisture, points above the forecast",
        "width_mm": f"Widths, {view.display.length_unit} wider than the forecast",
        "gap_mm": f"Gaps, {view.display.length_unit} wider than the forecast",
    }
    times = [one.at for one in banded]
    margin = max(MARGIN, (max(times) - min(times)) / 10)
    stretch = plot.Stretch(min(times) - margin, max(times) + margin, zone, view.units)
    marks = dict.fromkeys(one.mark for ones in against.values() for one in ones)
    strips = [(title, against[key]) for key, title in titles.items() if key in against]
    chart = compared_chart(strips, stretch, _legend(marks))
    return plot.placed(chart, "Forecasts beside what was measured", csv=VALUES)


def _legend(marks: Iterable[str]) -> str:
    """What the marks that are drawn mean."""
    shapes = {"in its band": "dot", "out of its band": "square"}
    found = list(marks)
    told = [f"{shapes[name].capitalize()}: {name}" for name in shapes if any(name in mark for mark in found)]
    if any("letter" in mark for mark in found):
        told.append("Hollow: a client's letter")
    return f"Line: as foretold. Bar: its band. {'. '.join(told)}."


def _against(one: Compared, zone: str, view: View) -> Against:
    assert one.predicted is not None
    assert one.band is not None
    per_unit = MM_PER_INCH if view.units == "inch" and one.quantity != "mc_pct" else 1.0
    low, high = one.band
    says = (
        f"{one.piece}, {say.said(one.fit or one.member)}<br>{times.day(one.at, zone, view.units, view.now)}: "
        f"{_value(one.measured, one.quantity, view.display)}<br>foretold {_foretold(one, view.display)}"
    )
    more, either_way = (one.measured - one.predicted) / per_unit, (high - low) / 2.0 / per_unit
    return Against(one.at, more, either_way, one.is_letter, says)


def _value(number: float, quantity: str, display: Display) -> str:
    return say.mc(number) if quantity == "mc_pct" else display.length(number, finest=64)


def _foretold(one: Compared, display: Display) -> str:
    """What was foretold and its ±; where nothing was, why."""
    if one.predicted is None or one.doubt is None:
        return "not followed then"
    if one.quantity == "mc_pct":
        return f"{say.mc(one.predicted)} ± {say.points(one.doubt)}"
    return display.with_doubt(one.predicted, one.doubt, finest=64)


def foretold_part(found: Agreement, zone: str, view: View, named: bool = False) -> html.Section | None:
    """The table of what was measured and foretold, newest first; none where nothing was measured.

    Of one piece, under its own figures and chart.
    """
    if not found.compared:
        return None
    display = view.display
    rows = []
    for one in found.compared[: -SHOWN - 1 : -1]:
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
                times.day(one.at, zone, view.units, view.now),
                num(_foretold(one, display)),
                num(_value(one.measured, one.quantity, display)),
                off,
                say.NOTHING if one.is_within is None else "yes" if one.is_within else "no",
                f"{one.how}, a client's letter" if one.is_letter else one.how or "measured",
            )
        )
    heads = ("What", "On", "Foretold", "Measured", "Forecast", "In its band", "With")
    told = table("Foretold, and measured", heads, rows, right=("Foretold", "Measured"))
    kept = len(found.compared)
    more = html.P(html.A("All of them as a file", href=VALUES)) if kept > SHOWN else None
    if named:
        return part("Foretold, and measured", told, more)
    summary = agreement_list(found, display, coverage_sentences(vars(found.coverage)))
    return part("Foretold, and measured", summary, chart_of(found, zone, view), told, more)


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
                *(one.band or (None, None)),
                one.measured,
                one.uncertainty,
                one.how or "measured",
            )
            for one in compared
        ]
        return answer_file(csv_text(COLUMNS, rows), "foretold", "values", "csv")


ROUTES = [Route("/foretold", layout, live=False)]
