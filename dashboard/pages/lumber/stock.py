"""Stock: every stack of lumber, how far it is from ready, and the record of a new one."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from dash import html
from sqlalchemy.orm import Session

from dashboard.figures.moisture import moisture_chart, said_of
from dashboard.figures.profile import profile_drawing
from dashboard.pages.charted import charted, nearest
from dashboard.pages.frame import (
    Child,
    aside,
    drawn,
    empty,
    folded,
    listed,
    noted,
    num,
    part,
    prose,
    sheet,
    word,
)
from dashboard.pages.lumber.stack_acts import meter_form, move_form, new_form
from dashboard.pages.lumber.witness import witness_part
from dashboard.pages.sensors.on_wood import mounted_part
from dashboard.say import sentences
from dashboard.say.marks import verdict_mark
from dashboard.shell.spans import span_of
from dashboard.shell.view import Route, View, address
from model.records.queries import overview as queries
from model.records.queries import series
from model.records.queries.overview import StackNow
from model.wood.material.instruments import METER_UNCERTAINTY_PCT
from model.wood.reason import Reason
from model.words import display as say
from model.words import times
from model.words.display import Display
from model.words.reasons import clause, in_sentences

DAY_AND_HALF = timedelta(hours=36)
PRONGS_SAID = {
    "": "",
    "straight": "Prong test: straight, no stress from the kiln.",
    "in": "Prong test: they pinch in.",
    "out": "Prong test: they bend out.",
}
LAST = 12
"""Measurements shown; a sensor makes one a day."""
SPANS = ("month", "season", "year", "all")
"""Spans a stack's moisture is drawn over."""


LIST = html.A("Several from a spreadsheet", href="/stock/file")


def layout(view: View) -> html.Main:
    """The page of all stacks."""
    with view.store.session() as session:
        stacks = queries.stacks(session, view.now)
        places = queries.places(session, view.now)
    ready = [stack for stack in stacks if stack.ready.is_ready]
    if not stacks:
        title = "No stack is recorded yet."
    elif ready:
        title = f"{say.joined([stack.name for stack in ready])} {'is' if len(ready) == 1 else 'are'} ready."
    else:
        title = "No stack is ready yet."
    return sheet(
        title,
        listed([stack_row(stack, view.display) for stack in worst_first(stacks)]),
        part("Record a stack", new_form(places, view), html.P(LIST) if places else None),
    )


def worst_first(stacks: Iterable[StackNow]) -> list[StackNow]:
    """Stacks, the one furthest from ready first."""
    return sorted(stacks, key=lambda stack: say.need(stack.judgement.verdict))


def stack_row(stack: StackNow, display: Display) -> html.Li:
    """One stack in a line or two."""
    moisture = stack.moisture
    standing = f", at {stack.place.name}" if stack.place else ""
    meant = f", meant for {stack.destination.name}" if stack.destination else ""
    mean = None
    if moisture is not None:
        holds = say.mc_with_doubt(moisture.mc_mean_pct, moisture.mc_doubt_pct)
        mean = [num(holds), html.Span("mean MC", className="small")]
    return noted(
        stack.judgement.verdict,
        html.A(html.B(stack.name), href=address("stack", stack.id)),
        html.Div(prose(f"{sentences.stack_wood(stack, display)}{standing}{meant}"), className="soft small"),
        html.Div(in_sentences(stack.judgement.reason, display), className="soft small"),
        kind="stack",
        right=mean,
    )


# ---------------------------------------------------------------- one stack


def stack_layout(view: View, stack_id: int) -> html.Main | None:
    """The page of one stack; none when there is no such stack."""
    with view.store.session() as session:
        found = queries.stacks(session, view.now, only=stack_id)
        if not found:
            return None
        stack = found[0]
        first_at = series.first_checkpoint_at(session, stack_id) or stack.start_at
        zone = stack.place.zone if stack.place else "UTC"
        span = span_of(view, "season", first_at, zone=zone)
        then = moisture_then(session, stack, span.asked_at, zone, view) if span.asked_at else ""
        tide = series.tide(session, stack_id, span.since_at, span.until_at)
        metered = queries.measurements(session, stack_id)
        places = queries.places(session, view.now)
        witness = witness_part(session, stack, view)
        on_it = mounted_part(session, [stack_id], view)
    chart = moisture_chart(
        tide,
        view.display,
        span.stretch(view),
        target_pct=stack.ready.target_mc_pct,
        measured=[event for event in metered if event.kind == "mc_pct"],
        name=stack.name,
    )
    moisture = stack.moisture
    return sheet(
        stack.name,
        html.P(
            [
                verdict_mark(stack.judgement.verdict, "stack"),
                " ",
                stands(stack),
                ". ",
                in_sentences(stack.judgement.reason, view.display),
            ],
            className="lead",
        ),
        html.P(facts(stack, view)),
        html.Div(
            [
                part(
                    "Moisture through time",
                    *charted(
                        view,
                        span,
                        SPANS,
                        chart,
                        f"Moisture of {stack.name}",
                        address("stack", stack.id),
                        ("body", stack.id),
                        then,
                    ),
                    aside("Solid: mean. Dashed: core. Thin: face. Crosses: metered."),
                ),
                part(
                    "Through the thickness now",
                    drawn(
                        *(
                            profile_drawing(
                                moisture.mc_face_pct, moisture.mc_core_pct, moisture.mc_back_pct, width
                            )
                            for width in (520, 340)
                        )
                    )
                    if moisture
                    else empty("Not worked out yet."),
                    aside("A shallow meter reads the shell. Where it and the core are a point apart, wait."),
                ),
            ],
            className="columns",
        ),
        on_it,
        part("Metered", metered_list(stack, metered, view), meter_form(stack, zone, view)),
        witness,
        part("Move it", move_form(stack, places, zone, view)),
        dateline=[html.A("Stock", href="/stock"), f" · {sentences.stack_wood(stack, view.display)}"],
    )


def stands(stack: StackNow) -> html.Span:
    """Ready or not, in a word or two, where that is known."""
    if not stack.judgement.is_current:
        return html.Span("no answer yet", className="word")
    return word(stack.judgement.verdict, "stack")


def moisture_then(session: Session, stack: StackNow, at: datetime, zone: str, view: View) -> str:
    """A stack's moisture on a day, in a sentence."""
    tide = series.tide(session, stack.id, at - DAY_AND_HALF, at + DAY_AND_HALF)
    index = nearest(tide.at, at, DAY_AND_HALF)
    if index is None:
        return f"No moisture is worked out for {times.day(at, zone, view.units, view.now)}"
    return f"{stack.name}, {said_of(tide, index, view.display, zone)}"


def facts(stack: StackNow, view: View) -> list[Any]:
    """Where it stands, whose it will be, how it is piled."""
    told: list[Any] = []
    if stack.place is not None:
        told += ["Stands at ", html.A(stack.place.name, href=address("place", stack.place.id)), ". "]
    if stack.destination is not None:
        link = html.A(stack.destination.name, href=address("place", stack.destination.id))
        told += ["Meant for ", link, ". "]
    told.append(
        "Stickered. " if stack.document.get("stickered", True) else "Dead-piled: air reaches two faces. "
    )
    since = times.day(stack.start_at, stack.place.zone if stack.place else "UTC", view.units, view.now)
    told.append(_recorded(stack, since, view.display))
    if stack.moisture is not None and stack.judgement.is_current:
        holds = say.mc_with_doubt(stack.moisture.mc_mean_pct, stack.moisture.mc_doubt_pct)
        told.append(f" It holds {holds} now.")
        if stack.moisture.mc_doubt_pct > METER_UNCERTAINTY_PCT:
            told.append(f" Metering it today brings that to about ± {METER_UNCERTAINTY_PCT:g} %.")
    if stack.learned is not None:
        told.append(f" {in_sentences(stack.learned.told('this stack'), view.display)}")
    return told


def _recorded(stack: StackNow, since: str, display: Display) -> str:
    """What was metered and seen of it on its first day."""
    lumber = stack.lumber
    if lumber is None:
        return f"Recorded at {say.mc(stack.start_mc_pct)} on {since}."
    metered = lumber.metered
    how = ", assumed" if metered is None else f" by {lumber.how}" if lumber.how else ""
    told = [f"Recorded at {say.mc_with_doubt(lumber.mc_pct, lumber.mc_doubt_pct)} on {since}{how}."]
    if metered is not None:
        told.append(in_sentences(metered.told(), display))
    told += ["Its ends are sealed." if lumber.sealed_ends else "", PRONGS_SAID[lumber.prongs]]
    if lumber.rest_until:
        told.append(say.sentence(clause(Reason("rest", {"until_day": lumber.rest_until}), display)))
    return " ".join(filter(None, told))


def metered_list(stack: StackNow, metered: tuple[queries.Event, ...], view: View) -> Child:
    """What the meter said, and when."""
    zone = stack.place.zone if stack.place else "UTC"
    rows = [
        html.Li(
            [num(say.mc(event.value)), f" on {times.day(event.at, zone, view.units, view.now)}, {event.says}"]
        )
        for event in metered
    ]
    nothing = html.P("Nothing was metered since it was recorded.", className="soft")
    earlier = folded(f"{len(rows) - LAST} earlier", listed(rows[:-LAST])) if len(rows) > LAST else None
    return html.Div([earlier, listed(rows[-LAST:], nothing, None)])


ROUTES = [Route("/stock", layout, live=False), Route("/stack/<stack_id>", stack_layout, live=False)]
