"""Rehearse: a design, or two, through a year of air before a board is cut: tide, worst days, margins."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any
from urllib.parse import urlencode

import flask
import numpy as np
from dash import ALL, Dash, Input, State, ctx, html, no_update
from sqlalchemy.orm import Session

from dashboard.figures import plot
from dashboard.figures.tide import tide_chart
from dashboard.forms import fields as forms
from dashboard.forms.acts import NOTHING, OUTPUTS, answered
from dashboard.forms.asking import asked_in_units, asked_of, asked_part, leads
from dashboard.forms.fields import Upload, field
from dashboard.pages.frame import ADDRESS, Child, listed, noted, num, part, prose, sheet, table
from dashboard.pages.plans import plan_asked, rehearse_asked
from dashboard.pages.plans.rehearse_asked import MONTHS, MOST_WEATHER_BYTES, Came, Design, Ran, Year
from dashboard.say import piece_view, sentences
from dashboard.shell.files import answer_file, answer_plainly
from dashboard.shell.uploads import UPLOADS, uploads
from dashboard.shell.view import Context, Route, View, address, view_of
from model.records.queries import overview as queries
from model.records.queries.overview import PlaceNow
from model.records.queries.series import Tide
from model.wood.design.design_range import design_range
from model.wood.errors import BadInput
from model.words import display as say
from model.words import times
from model.words.cells import csv_text

FILE = "rehearse-file"
EVERY_H = 6
VALUES = "/values/rehearsed.csv"
COLUMNS = ("timestamp_utc", "design", "part", "mc_mean_pct", "width_mm")


def layout(view: View) -> html.Main:
    """The page, of what its address asks."""
    asked = asked_of(rehearse_asked.FORM, view.query)
    with view.store.session() as session:
        places = queries.places(session, view.now)
        form = form_part(asked, places, session, view)
        if "first" not in asked or "air" not in asked:
            return sheet(
                "What would a year of air have done to it?",
                form,
                lead="Take a recorded piece, or what is planned, through a year: one recorded at a place, "
                "one of a weather file brought indoors, or one of twelve monthly means.",
            )
        try:
            designs, year = designs_asked(asked, session, view)
        except BadInput as error:
            form = form_part(asked, places, session, view, error)
            return sheet("What would a year of air have done to it?", forms.problem(error), form)
    runs = rehearsed(designs, year, asked)
    return page(runs, year, form, view)


def designs_asked(asked: Mapping[str, str], session: Session, view: View) -> tuple[list[Design], Year]:
    """What is rehearsed, and the year of air; BadInput for what isn't there."""
    year = rehearse_asked.year_of(view.query, session, view)
    keys = [asked["first"], *([asked["second"]] if "second" in asked else [])]
    return [rehearse_asked.design_of(key, view.query, session, view) for key in keys], year


def rehearsed(designs: Sequence[Design], year: Year, asked: Mapping[str, str]) -> list[Ran]:
    return [rehearse_asked.run(design, year, asked.get("begin", rehearse_asked.BUILT)) for design in designs]


def page(runs: Sequence[Ran], year: Year, form: Any, view: View) -> html.Main:
    """What the year did, the designs beside each other."""
    back = plan_asked.asked_of(view.query)
    return sheet(
        headline(runs, year),
        listed([noted(ran.verdict, *_worst_words(ran, year, view)) for ran in runs], className="note"),
        form,
        together(runs, year, view) if len(runs) > 1 else None,
        *[design_part(ran, year, view) for ran in runs],
        html.P(
            html.A("Back to the plan", href=address("plan", **back), className="button"), className="no-print"
        )
        if back.get("width")
        else None,
        dateline=f"Rehearsed in a year of air: {year.name} ({year.says})",
    )


def headline(runs: Sequence[Ran], year: Year) -> str:
    """The answer in one line."""
    order = {"clear": 0, "near": 1, "past": 2}
    if len(runs) == 1:
        return {
            "clear": f"A year of {year.name} leaves it clear.",
            "near": f"A year of {year.name} shows on it and harms nothing.",
            "past": f"A year of {year.name} is too much for it.",
        }[runs[0].verdict]
    one, other = runs[0], runs[1]
    better = min(runs, key=lambda ran: (order[ran.verdict], ran.harms_days, ran.shows_days, -_least(ran)))
    if (one.verdict, one.harms_days, one.shows_days) == (other.verdict, other.harms_days, other.shows_days):
        return f"In the year of {year.name} neither does better by a day."
    return f"{better.design.name} does better in the year of {year.name}."


def _least(ran: Ran) -> float:
    return min((one.least_mm for one in ran.came), default=0.0)


def _worst_words(ran: Ran, year: Year, view: View) -> list[Any]:
    told: list[Any] = [*prose(say.sentence(rehearse_asked.design_words(ran)))]
    if ran.came:
        worst = ran.came[0]
        left, where = sentences.margin_left(worst.least_mm, view.display), say.said(worst.fit)
        how = f"{worst.says}, {left}" if worst.least_mm < 0 else f"{left} left until {worst.says}"
        told += prose(f" Worst on {_day(worst.at, year, view)}, at {where}: {how}.")
    dry, wet = ran.day("dry"), ran.day("wet")
    told += prose(
        f" Driest {_day(dry[0], year, view)} at {say.mc(dry[1])}, "
        f"dampest {_day(wet[0], year, view)} at {say.mc(wet[1])}."
    )
    return told


def _day(at: Any, year: Year, view: View) -> str:
    return times.day(at.to_pydatetime(), year.zone, view.units)


# ---------------------------------------------------------------- what is asked


def form_part(
    asked: Mapping[str, str],
    places: Sequence[PlaceNow],
    session: Session,
    view: View,
    error: BadInput | None = None,
) -> html.Details:
    """The fields, open until there is an answer."""
    designs = rehearse_asked.designs_known(view.query, session)
    airs = [(str(place.id), f"the past year at {place.name}") for place in places]
    airs += rehearse_asked.weathers_known(session)
    airs.append((MONTHS, "the twelve monthly means typed in"))
    options = {
        "first": designs,
        "second": [("", "nothing"), *designs],
        "air": airs,
        "scheme": rehearse_asked.schemes_known(asked.get("air") == MONTHS),
    }
    return asked_part(
        "What is rehearsed",
        rehearse_asked.FORM,
        view,
        field(
            "Or air from a weather file (.epw)",
            Upload(FILE, UPLOADS, ".epw,text/plain", MOST_WEATHER_BYTES),
            "read once, kept for the next time",
        ),
        options=options,
        is_open=error is not None or "first" not in asked or "air" not in asked,
        error=error,
    )


# ---------------------------------------------------------------- what the year did


def together(runs: Sequence[Ran], year: Year, view: View) -> Child:
    """The designs beside each other, line for line."""

    def least(ran: Ran, severity: str) -> str:
        found = [one.least_mm for one in ran.came if one.severity == severity]
        return sentences.margin_left(min(found), view.display) if found else say.NOTHING

    rows: list[tuple[str, list[str]]] = [
        ("Least left until something harms", [least(ran, "harms") for ran in runs]),
        ("Least left until something shows", [least(ran, "shows") for ran in runs]),
        ("Days past what harms", [f"{ran.harms_days:.0f}" for ran in runs]),
        ("Days past what shows", [f"{ran.shows_days:.0f}" for ran in runs]),
        (
            "Wood, driest to dampest",
            [f"{say.mc(ran.day('dry')[1])} to {say.mc(ran.day('wet')[1])}" for ran in runs],
        ),
        ("Widest part moves", [view.display.length(_swing(ran), finest=64) for ran in runs]),
    ]
    told = [(name, *map(num, cells)) for name, cells in rows if any(cell != say.NOTHING for cell in cells)]
    return part("Side by side", table("Side by side", ("Question", *(ran.design.name for ran in runs)), told))


def _swing(ran: Ran) -> float:
    return max(float(np.ptp(widths)) for widths in ran.width_mm.values())


def design_part(ran: Ran, year: Year, view: View) -> Child:
    """One design: every limit with how near it came, and the tide of the member that came nearest."""
    rows = [
        (
            f"{say.said(one.fit)}: {one.says}",
            "harms" if one.severity == "harms" else "shows",
            num(sentences.margin_left(one.least_mm, view.display)),
            _day(one.at, year, view),
            num(f"{one.days_past:.0f}"),
        )
        for one in ran.came
    ]
    heads = ("Until", "It", "Least left", "On", "Days past")
    member = member_shown(ran)
    return part(
        ran.design.name,
        table(f"What {ran.design.name} came to", heads, rows, right=("Least left", "Days past"))
        if rows
        else html.P("No fits: its width is followed, not its limits."),
        html.H3(f"Tide of {say.said(member)}", className="after-table"),
        tide_drawn(ran, member, year, view),
    )


def member_shown(ran: Ran) -> str:
    """The member of the limit that came nearest, else the widest."""
    nearest: Came | None = ran.came[0] if ran.came else None
    if nearest is not None:
        members = ran.design.piece.fits[nearest.fit].members
        if members:
            return max(members, key=lambda member: member.width_mm).name
    return max(ran.design.piece.members.values(), key=lambda member: member.width_mm).name


def tide_drawn(ran: Ran, name: str, year: Year, view: View) -> html.Figure:
    """The chart of a member's year; all of it is sent, and it is narrowed where it stands."""
    member = ran.design.piece.members[name]
    at = ran.at.tz_convert("UTC").tz_localize(None).to_numpy().astype("datetime64[ms]")
    rows = slice(None, None, EVERY_H)
    mc = ran.mc_pct[name][rows]
    tide = Tide(at[rows], mc, mc, mc, ran.width_mm[name][rows], np.zeros(len(mc), dtype=bool))
    chart = tide_chart(
        tide,
        piece_view.shores_of(ran.design.piece, design_range(ran.design.piece), name),
        view.display,
        plot.Stretch(ran.at[0].to_pydatetime(), ran.at[-1].to_pydatetime(), year.zone, view.units),
        moisture_marks=piece_view.moisture_marks(member),
        name=say.said(name),
    )
    title = f"{ran.design.name}, {say.said(name)}, in the year of {year.name}"
    return plot.placed(chart, title, csv=f"{VALUES}?{urlencode(view.query)}")


def register(app: Dash, context: Context) -> None:
    """What was typed becomes the page's address; a weather file is read and becomes its air."""

    def onward(view: View, _path: str, asked: dict[str, str]) -> str:
        return address("rehearse", **plan_asked.asked_of(view.query), **asked)

    leads(app, context, rehearse_asked.FORM, onward)

    @app.server.get(VALUES)
    def rehearsed_values() -> flask.Response:
        view = view_of(context, flask.request.full_path)
        asked = asked_of(rehearse_asked.FORM, view.query)
        if "first" not in asked or "air" not in asked:
            return answer_plainly("Nothing is rehearsed at this address.")
        try:
            with context.store.session() as session:
                designs, year = designs_asked(asked, session, view)
        except BadInput as error:
            return answer_plainly(forms.in_words(error))
        runs = rehearsed(designs, year, asked)
        return answer_file(csv_text(COLUMNS, values_of(runs)), "rehearsed", "values", "csv")

    @app.callback(
        *OUTPUTS,
        Input(FILE, "value"),
        Input(FILE, "problem"),
        State({"form": rehearse_asked.FORM.name, "key": ALL}, "value"),
        State(ADDRESS, "href"),
        prevent_initial_call=True,
    )
    def read_file(token: str | None, problem: str | None, _values: list[Any], href: str | None) -> Any:
        if problem:
            return forms.problem(problem), no_update, no_update
        if not token:
            return NOTHING
        view = view_of(context, href or "")
        typed = {item["id"]["key"]: item.get("value") for item in ctx.states_list[0]}
        asked = asked_in_units(rehearse_asked.FORM, typed, view.units)
        act = rehearse_asked.read_weather(uploads.path(token), view)
        return answered(replace(act, href=onward(view, "", {**asked, "air": act.href})))


def values_of(runs: Sequence[Ran]) -> Iterator[tuple[Any, ...]]:
    """Every hour of every part of the designs."""
    for ran in runs:
        at = ran.at.tz_convert("UTC").strftime("%Y-%m-%dT%H:%M:%SZ")
        for name, mc_pct in ran.mc_pct.items():
            width_mm = ran.width_mm[name]
            for moment, mc, width in zip(at, mc_pct.round(3), width_mm.round(3), strict=True):
                yield moment, ran.design.name, name, float(mc), float(width)


ROUTES = [Route("/rehearse", layout, live=False)]
