"""Glue-ups: the board's answer for each shop, clamps declared on and off, and the adhesives of the shop."""

from datetime import timedelta
from typing import Any

from dash import Dash, html
from sqlalchemy import select
from sqlalchemy.orm import Session

from dashboard.forms.acts import Act, answers, doing, done
from dashboard.forms.declared import Asked, Form
from dashboard.pages.frame import aria, noted, part, prose, sheet
from dashboard.shell.view import Context, Route, View, address
from model.answers.adhesives import (
    LABEL,
    Adhesive,
    adhesive_named,
    adhesives,
    keep_adhesive,
    make_usual_adhesive,
)
from model.records.queries.overview import PlaceNow
from model.records.schema.tables import GlueUp, Place, Warning
from model.watch.questions.clamps import OFF as CLAMPS_OFF
from model.watch.questions.clamps import clamps_off, clamps_on, open_glue_up
from model.watch.questions.glue_board import BoardLine, glue_board
from model.watch.questions.glue_up import is_against
from model.wood.reason import Reason
from model.words import display as say
from model.words import times
from model.words.display import Display
from model.words.reasons import in_sentences

ON, OFF, USUAL = "clamps on", "clamps off", "usual adhesive"
ADHESIVE = Form(
    "adhesive",
    "Keep this label",
    (
        Asked("name", "Adhesive", hint="one of a name listed here is replaced"),
        Asked("least", "Not colder than", "temperature", "{degrees}", stored="least_c"),
        Asked("most", "Not warmer than", "temperature", "{degrees}", stored="most_c"),
        Asked("mc", "Wood not wetter than", "number", "%", stored="most_mc_pct", usual=12),
        Asked(
            "rh",
            "Air not damper than",
            "number",
            "% RH, where the label says so",
            stored="most_rh_pct",
            needed=False,
        ),
        Asked("clamp", "Clamps stay on", "number", "hours", stored="clamp_h", unit="hours", usual=1),
    ),
)
GLUE = Form(ON, "Clamping up now", (Asked("glue", "Glue", "choice"),), whose="place", is_first=True)
CHANGE = "change of the adhesives"
HEADS = {"go": "Good to glue today.", "wait": "Wait with the glue.", "not today": "Not a day to glue."}
MARKS = {"go": "clear", "wait": "near", "not today": "past"}
OLD = timedelta(hours=3)
"""A line of the board older than this is not said: the air it speaks of has gone."""


# ---------------------------------------------------------------- on the first page


def lines(session: Session, places: tuple[PlaceNow, ...], view: View) -> list[html.Li]:
    """One line of the note for each shop: the glue-up that is clamped there, else the board's answer."""
    shops = [place for place in places if place.kind == "shop"]
    if not shops:
        return []
    board = glue_board(session)
    found = []
    for place in shops:
        open_one = open_glue_up(session, session.get_one(Place, place.id), view.now)
        if open_one is not None:
            found.append(_clamped(session, open_one, place, view))
        elif place.id in board and view.now - board[place.id].as_of <= OLD:
            found.append(_asked(board[place.id], place, len(shops) > 1, view))
    return found


def _clamped(session: Session, glue_up: GlueUp, place: PlaceNow, view: View) -> html.Li:
    """The clamps are on: how the air is meanwhile, and the button that ends it."""
    leaving = session.scalar(
        select(Warning)
        .where(Warning.limit_name == f"glue-up {glue_up.id}", Warning.closed_at.is_(None))
        .order_by(Warning.opened_at.desc())
    )
    name = glue_up.adhesive["name"]
    since = times.moment(glue_up.clamps_on_at, place.zone, view.units, view.now)
    clamps = f"clamps on since {since}, {name}. "
    told = (
        in_sentences(leaving.reason, view.display)
        if leaving is not None
        else f"The air is watched reading by reading: {range_of(glue_up.adhesive, view.display)}."
    )
    return noted(
        "past" if leaving is not None else "clear",
        html.A(place.name, href=address("place", place.id)),
        ": ",
        html.B("out of the glue's range, ") if leaving is not None else None,
        clamps,
        html.Span(prose(told), className="why", role="alert" if leaving is not None else "status"),
        html.Button("Clamps come off", id={"act": OFF, "place": place.id}, className="plain"),
        kind="glue-up",
    )


def _asked(line: BoardLine, place: PlaceNow, named: bool, view: View) -> html.Li:
    """Go, wait or not today, why, and until when it holds."""
    answer = line.answer
    verdict = answer["verdict"]
    stacks = answer["stacks"]
    named_below = {stack["name"] for stack in stacks}
    reasons = [Reason.of(one) for one in answer["reasons"] if one.get("stack") not in named_below]
    against = [reason for reason in reasons if is_against(reason)]
    speaking = against or [reason for reason in reasons if reason.key in ("warm-enough", "no-stock")]
    why = in_sentences(speaking[:3], view.display)
    label = any(reason.key == "read-label" for reason in reasons)
    usual = str(answer["adhesive"]["name"])
    head = HEADS[verdict]
    return noted(
        MARKS[verdict] if not _unknown(answer) else "unknown",
        html.A(place.name, href=address("place", place.id)) if named else None,
        ": " if named else None,
        html.B(head),
        f" {until(answer)}".rstrip(),
        html.Span(prose(why), className="why"),
        html.Ul([_stack_line(stack, view) for stack in stacks], className="small") if stacks else None,
        html.Span(
            [
                f"{usual}: typical figures. ",
                html.A("Enter the ones on your label", href="/settings#adhesives"),
                ".",
            ],
            className="small soft",
        )
        if label
        else None,
        html.Div(
            [
                html.Button("Clamping up now", id={"act": ON, "place": place.id}, className="plain"),
                html.A("with another glue", href=address("place", place.id, "clamps"), className="small"),
            ],
            className="buttons",
        ),
        kind="glue-up",
    )


def _stack_line(stack: dict[str, Any], view: View) -> html.Li:
    """One stack: whether it may be glued, and why not; one that may, but is not ready, says so."""
    told = in_sentences(map(Reason.of, stack["why"]), view.display)
    return html.Li([html.B(stack["name"]), f": {stack['verdict']}. ", *prose(told)])


def _unknown(answer: dict[str, Any]) -> bool:
    return any(reason["key"].startswith("no-reading") for reason in answer["reasons"])


def until(answer: dict[str, Any]) -> str:
    """Until when the answer holds, or when it may be otherwise."""
    holds, earliest = answer["holds_until"], answer["earliest"]
    if answer["verdict"] == "go":
        if holds is None:
            # Without stock nothing was looked at ahead.
            return in_sentences(Reason("holds-long")) if "stock" in answer else ""
        days = holds["low_days"]
        return in_sentences(Reason("holds" if days else "holds-today", {"holds_days": days}))
    if earliest is None:
        return ""
    return in_sentences(Reason("not-before" if earliest["high_days"] is None else "earliest", earliest))


def range_of(adhesive: dict[str, Any], display: Display) -> str:
    """The range an adhesive's air is held to."""
    text = f"{display.temperature(adhesive['least_c'])} to {display.temperature(adhesive['most_c'])}"
    if adhesive.get("most_rh_pct") is not None:
        text += f", {say.rh(adhesive['most_rh_pct'])} at most"
    return text


def clamps_layout(view: View, place_id: int) -> html.Main | None:
    """Where the glue of a glue-up is chosen; it is not drawn again while it is chosen."""
    with view.store.session() as session:
        place = session.get(Place, place_id)
        if place is None:
            return None
        on = open_glue_up(session, place, view.now)
        usual, known = adhesive_named(session).name, adhesives(session)
        name = place.name
    body: list[Any]
    if on is not None:
        since = times.moment(on.clamps_on_at, place.zone, view.units, view.now)
        body = [
            html.P(f"{on.adhesive['name']}, since {since}: {range_of(on.adhesive, view.display)}."),
            html.Button("Clamps come off", id={"act": OFF, "place": place_id}, className="first"),
        ]
    else:
        options = [
            (one.name, f"{one.name}: {range_of(one.document(), view.display)}") for one in known.values()
        ]
        body = [
            html.P("While they are on, the air is watched reading by reading against the glue's range."),
            GLUE.laid_out(view, place_id, {"glue": usual}, options={"glue": options}),
        ]
    title = f"Clamps are on at {name}." if on is not None else "Which glue are you using?"
    return sheet(title, *body, dateline=html.A("Today", href="/"))


# ---------------------------------------------------------------- on the page of settings


def adhesives_part(session: Session, view: View) -> html.Section:
    """The shop's adhesives as their labels give them, and the form for another label."""
    usual = adhesive_named(session).name
    rows = []
    for one in adhesives(session).values():
        told = f"{range_of(one.document(), view.display)}; wood at {say.mc(one.most_mc_pct)} or less"
        source = "from its label" if one.source == LABEL else "typical figures: enter the ones on your label"
        button = html.Button(
            "Make it the usual one",
            id={"act": USUAL, "name": one.name},
            className="plain",
            **aria(label=f"Make it the usual one: {one.name}"),
        )
        usual_one = " The usual one." if one.name == usual else button
        rows.append(html.Li([html.B(one.name), f": {told}; {source}. ", usual_one]))
    return part("Adhesives", html.Ul(rows, className="rows small", id="adhesives"), ADHESIVE.laid_out(view))


# ---------------------------------------------------------------- acts


def register(app: Dash, context: Context) -> None:
    """Clamps on, clamps off, and the labels."""

    GLUE.answers(app, context, put_on)
    answers(app, context, OFF, take_off, which="place")
    ADHESIVE.answers(app, context, keep_label)
    answers(app, context, USUAL, make_usual, which="name")


def put_on(place_id: int, typed: dict[str, Any], view: View) -> Act:
    """The clamps go on at a place."""
    with doing(view, "glue-up") as (session, revision):
        place = session.get_one(Place, place_id)
        adhesive = adhesive_named(session, typed.get("glue") or None)
        clamps_on(session, place, adhesive, view.now)
        told = range_of(adhesive.document(), view.display)
        said = f"Clamps are on at {place.name}; its air is watched: {told} for {adhesive.name}."
        return done(revision, said, "No clamps went on.", "/")


def take_off(place_id: int, _typed: dict[str, Any], view: View) -> Act:
    """The clamps come off at a place."""
    with doing(view, CLAMPS_OFF) as (session, revision):
        place = session.get_one(Place, place_id)
        clamps_off(session, place, view.now)
        return done(revision, f"Clamps are off at {place.name}.", "The clamps are on still.", "/")


def keep_label(_number: int, typed: dict[str, Any], view: View) -> Act:
    """Keep an adhesive with its label's figures as typed."""
    adhesive = Adhesive(**ADHESIVE.read(typed, view), source=LABEL)
    with doing(view, CHANGE) as (session, revision):
        back = _as_they_were(session)
        keep_adhesive(session, adhesive)
        return done(revision, f"{adhesive.name} is kept by its label.", back, "/settings")


def make_usual(name: str, _typed: dict[str, Any], view: View) -> Act:
    """The adhesive the first page asks about."""
    with doing(view, CHANGE) as (session, revision):
        back, adhesive = _as_they_were(session), adhesive_named(session, name)
        make_usual_adhesive(session, adhesive.name)
        return done(revision, f"{adhesive.name} is the usual one.", back, "/settings")


def _as_they_were(session: Session) -> str:
    return f"The adhesives are as they were; {adhesive_named(session).name} is the usual one."


ROUTES = [Route("/place/<place_id>/clamps", clamps_layout, live=False)]
