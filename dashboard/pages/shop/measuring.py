"""What to measure next: the one line on the first page, and all that is worth it under what is coming."""

from datetime import datetime

from dash import Dash, html
from sqlalchemy.orm import Session

from dashboard.forms.acts import Act, answers, doing, done
from dashboard.pages.frame import Child, marked, prose
from dashboard.shell.view import Context, View, address
from model.answers.worth_measuring import WorthMeasuring
from model.watch.questions.measure_next import measure_now, put_off, worth_measuring
from model.wood.errors import BadInput
from model.words import times
from model.words.reasons import in_sentences

LATER = "measure later"
PAGES = {"caliper": "measure", "meter": "measure", "gauge": "gap", "strip": "gap"}
"""Where on a piece each is recorded."""


def line(session: Session, zone: str, view: View) -> html.Li | None:
    """The one measurement to ask for today, with its reason, until when it is useful, and the way past it."""
    worth = worth_measuring(session, view.now)
    one = measure_now(session, view.now, worth)
    if one is None:
        return None
    later = html.Button("Not now", id={"act": LATER, "about": one.key}, className="plain")
    return marked(html.Span(), html.B("To measure next. "), *_told(one, zone, view), html.Div(later))


def rows(session: Session, zone: str, view: View) -> list[Child]:
    """All that is worth measuring, what matters most first."""
    return [html.Li(_told(one, zone, view)) for one in worth_measuring(session, view.now)]


def _told(one: WorthMeasuring, zone: str, view: View) -> list[Child]:
    name = html.A(html.B(one.subject), href=_page(one))
    return [name, ": ", *prose(f"{_sentence(one, view)} {_useful(one, zone, view)}")]


def _sentence(one: WorthMeasuring, view: View) -> str:
    told = in_sentences(one.reason, view.display)
    return f"{told[:1].lower()}{told[1:]}"


def _useful(one: WorthMeasuring, zone: str, view: View) -> str:
    def day(at: datetime) -> str:
        return times.day(at, zone, view.units, view.now)

    if one.from_at <= view.now:
        return f"Useful until {day(one.until_at)}."
    return f"Useful from {day(one.from_at)} to {day(one.until_at)}."


def _page(one: WorthMeasuring) -> str:
    if one.kind == "stack":
        return address("stack", one.subject_id)
    return address("piece", one.subject_id, PAGES[one.act])


def register(app: Dash, context: Context) -> None:
    """The answer of "Not now"."""
    answers(app, context, LATER, later, which="about")


def later(key: str, _typed: dict[str, str], view: View) -> Act:
    """A measurement is put off: not asked for again for some weeks, and nothing else for one."""
    with doing(view, "answer") as (session, revision):
        if key not in [one.key for one in worth_measuring(session, view.now)]:
            raise BadInput("", "measurement", "must be one that is asked for", "nothing")
        put_off(session, key, view.now)
        said = "Put off for six weeks; nothing else is asked for this week."
        return done(revision, said, "It is asked for again.", "/")
