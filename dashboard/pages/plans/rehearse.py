"""Rehearse: a design, or two, through a year of air before a board is cut: tide, worst days, margins."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from dash import ALL, Dash, Input, Output, State, ctx, html, no_update
from sqlalchemy.orm import Session

from dashboard.figures import plot
from dashboard.figures.tide import Shore, tide_chart
from dashboard.forms import fields as forms
from dashboard.forms.acts import NOTHING, OUTPUTS, answered
from dashboard.forms.fields import choice_field, field, text_field
from dashboard.pages.frame import ADDRESS, num, part, prose, scrolling, sheet, under
from dashboard.pages.plans import plan_asked, rehearse_asked
from dashboard.pages.plans.rehearse_asked import LIVED, MONTHS, Came, Ran, Year
from dashboard.pages.plans.rehearse_weather import TextFile, read_weather
from dashboard.say.marks import verdict_mark
from dashboard.shell.view import Context, Route, View, address, view_of
from model.records.queries import overview as queries
from model.records.queries.overview import PlaceNow
from model.records.queries.series import Tide
from model.wood.design.design_range import design_range
from model.wood.errors import BadInput
from model.words import display as say
from model.words.limits import limit_said

GO, FIELD, FILE = "rehearse-go", "rehearse", "rehearse-file"
EVERY_H = 6


def layout(view: View) -> html.Main:
    """The page, of what its address asks."""
    asked = rehearse_asked.asked_of(view.query)
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
            year = rehearse_asked.year_of(view.query, session, view)
            keys = [asked["first"], *([asked["second"]] if "second" in asked else [])]
            designs = [rehearse_asked.design_of(key, view.query, session, view) for key in keys]
        except BadInput as error:
            return sheet("What would a year of air have done to it?", forms.problem(error), form)
    runs = [rehearse_asked.run(design, year, asked.get("begin", rehearse_asked.BUILT)) for design in designs]
    return page(runs, year, form, view)


def page(runs: Sequence[Ran], year: Year, form: Any, view: View) -> html.Main:
    """What the year did, the designs beside each other."""
    back = plan_asked.asked_of(view.query)
    return sheet(
        headline(runs, year),
        html.Ul(
            [
                html.Li([verdict_mark(ran.verdict), html.Div(list(_worst_words(ran, year, view)))])
                for ran in runs
            ],
            className="note",
        ),
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
        seen = worst.says
        left = (
            f"{view.display.overrun(worst.least_mm)} past"
            if worst.least_mm < 0
            else f"{view.display.margin(worst.least_mm)} left"
        )
        told += prose(
            f" Worst on {_day(worst.at, year, view)}, at {say.said(worst.fit)}: {left} until {seen}."
            if worst.least_mm >= 0
            else f" Worst on {_day(worst.at, year, view)}, at {say.said(worst.fit)}: {seen}, {left}."
        )
    dry, wet = ran.day("dry"), ran.day("wet")
    told += prose(
        f" Driest {_day(dry[0], year, view)} at {say.mc(dry[1])}, "
        f"dampest {_day(wet[0], year, view)} at {say.mc(wet[1])}."
    )
    return told


def _day(at: Any, year: Year, view: View) -> str:
    return say.day(at.to_pydatetime(), year.zone, view.units)


# ---------------------------------------------------------------- what is asked


def form_part(
    asked: Mapping[str, str], places: Sequence[PlaceNow], session: Session, view: View
) -> html.Details:
    """The fields, open until there is an answer."""
    designs = rehearse_asked.designs_known(view.query, session)
    airs = [(str(place.id), f"the past year at {place.name}") for place in places]
    airs += rehearse_asked.weathers_known(session)
    airs.append((MONTHS, "the twelve monthly means typed in"))
    only_lines = asked.get("air") == MONTHS
    schemes = rehearse_asked.schemes_known(only_lines)

    def choice(label: str, key: str, options: Sequence[tuple[str, str]], hint: str = "") -> html.Div:
        first = options[0][0] if options else ""
        return choice_field(label, _id(key), options, asked.get(key) or first, hint)

    fields = [
        choice("Design", "first", designs),
        choice("Beside", "second", [("", "nothing"), *designs]),
        choice("Year of air", "air", airs),
        choice("It begins", "begin", [("built", "as built"), (LIVED, "after a year there")]),
        choice("House, for outdoor air", "scheme", schemes, "how outdoor air becomes the room's"),
        text_field(
            "Monthly means outdoors",
            _id("months"),
            asked.get("months", ""),
            f"twelve, January first, {view.display.temperature_unit}",
        ),
        field(
            "Weather file (.epw)",
            TextFile(FILE, ".epw,text/plain"),
            "read once, kept for the next time",
            "broad",
        ),
    ]
    return html.Details(
        [
            html.Summary("What is rehearsed"),
            html.Div(fields, className="fields"),
            html.Button("Rehearse", id=GO, className="first"),
        ],
        open="first" not in asked or "air" not in asked,
        className="no-print",
    )


def _id(key: str) -> dict[str, str]:
    return {"form": FIELD, "key": key}


# ---------------------------------------------------------------- what the year did


def together(runs: Sequence[Ran], year: Year, view: View) -> html.Section:
    """The designs beside each other, line for line."""

    def least(ran: Ran, severity: str) -> str:
        found = [one.least_mm for one in ran.came if one.severity == severity]
        return _left(min(found), view) if found else say.NOTHING

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
    head = html.Tr(
        [html.Th("Question", scope="col"), *[html.Th(ran.design.name, scope="col") for ran in runs]]
    )
    body = [
        html.Tr(
            [
                html.Th(name, scope="row"),
                *[
                    html.Td(num(cell), **under(ran.design.name))
                    for ran, cell in zip(runs, cells, strict=True)
                ],
            ]
        )
        for name, cells in rows
        if any(cell != say.NOTHING for cell in cells)
    ]
    table = html.Table([html.Thead(head), html.Tbody(body)], className="limits")
    return part("Side by side", scrolling(table, "Side by side"))


def _swing(ran: Ran) -> float:
    return max(float(np.ptp(widths)) for widths in ran.width_mm.values())


def _left(margin_mm: float, view: View) -> str:
    if margin_mm < 0:
        return f"{view.display.overrun(margin_mm)} past"
    return view.display.margin(margin_mm)


def design_part(ran: Ran, year: Year, view: View) -> html.Section:
    """One design: every limit with how near it came, and the tide of the member that came nearest."""
    rows = [
        html.Tr(
            [
                html.Th(f"{say.said(one.fit)}: {one.says}", scope="row"),
                html.Td("harms" if one.severity == "harms" else "shows", **under("It")),
                html.Td(num(_left(one.least_mm, view)), className="right", **under("Least left")),
                html.Td(_day(one.at, year, view), **under("On")),
                html.Td(num(f"{one.days_past:.0f}"), className="right", **under("Days past")),
            ]
        )
        for one in ran.came
    ]
    head = html.Tr(
        [
            html.Th(text, scope="col", className="right" if text in ("Least left", "Days past") else "")
            for text in ("Until", "It", "Least left", "On", "Days past")
        ]
    )
    member = member_shown(ran)
    return part(
        ran.design.name,
        scrolling(
            html.Table([html.Thead(head), html.Tbody(rows)], className="limits"),
            f"What {ran.design.name} came to",
        )
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
        shores_of(ran, name),
        view.display,
        plot.Stretch(ran.at[0].to_pydatetime(), ran.at[-1].to_pydatetime(), year.zone, view.units),
        moisture_marks=[(float(pct), float(member.width_at(float(pct)))) for pct in range(1, 29)],
        name=say.said(name),
    )
    return plot.placed(chart, f"{ran.design.name}, {say.said(name)}, in the year of {year.name}")


def shores_of(ran: Ran, name: str) -> list[Shore]:
    """The widths at which a member's fits run out, its fellows settled as it is."""
    piece = ran.design.piece
    found = []
    for fit_name, fit in design_range(piece).fits.items():
        if name not in {member.name for member in piece.fits[fit_name].members}:
            continue
        for at in fit.limits:
            if at.mc_at_limit_pct is not None:
                says = limit_said(at.limit)
                edge_mm = float(piece.members[name].width_at(at.mc_at_limit_pct))
                found.append(
                    Shore(
                        "too wide" if at.limit.direction == "swelling" else "too narrow",
                        says,
                        at.limit.direction,
                        at.limit.severity,
                        edge_mm,
                    )
                )
    return found


# ---------------------------------------------------------------- callbacks


def register(app: Dash, context: Context) -> None:
    """What was typed becomes the page's address; a weather file is read and becomes its air."""
    fields = State({"form": FIELD, "key": ALL}, "value")

    def typed() -> dict[str, Any]:
        return {item["id"]["key"]: item.get("value") for item in ctx.states_list[0]}

    def here(view: View, href: str | None, **more: str) -> str:
        plan = plan_asked.asked_of(view_of(context, href or "").query)
        state = {**rehearse_asked.form_state(typed(), view.units), **more}
        return address("rehearse", **plan, **state)

    @app.callback(
        Output(ADDRESS, "href", allow_duplicate=True),
        Input(GO, "n_clicks"),
        fields,
        State(ADDRESS, "href"),
        prevent_initial_call=True,
    )
    def rehearse_typed(clicks: int | None, _values: list[Any], href: str | None) -> Any:
        return here(view_of(context), href) if clicks else no_update

    @app.callback(
        *OUTPUTS,
        Input(FILE, "file"),
        fields,
        State(ADDRESS, "href"),
        prevent_initial_call=True,
    )
    def read_file(file: dict[str, Any] | None, _values: list[Any], href: str | None) -> Any:
        if not file:
            return NOTHING
        view = view_of(context)
        return answered(read_weather(file, view, lambda air: here(view, href, air=air)))


ROUTES = [Route("/rehearse", layout, live=False)]
