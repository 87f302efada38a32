"""Warnings: what was told, open and past, and by which act of the trade each was answered."""

from collections.abc import Sequence
from typing import Any

from dash import Dash, html

from dashboard.forms.acts import Act, answers, doing, done
from dashboard.forms.fields import Choice
from dashboard.pages.frame import Child, listed, noted, part, prose, sheet
from dashboard.say import sentences
from dashboard.shell.view import Context, Route, View, address
from model.records.acts import book
from model.records.queries import overview as queries
from model.records.queries.overview import Subject, WarningNow
from model.records.schema.tables import Warning
from model.words import display as say
from model.words import times
from model.words.reasons import in_sentences

ANSWER = "answer"
ACTS = {
    "eased it": "planed or sanded it",
    "re-measured": "measured it again",
    "moved it": "moved it",
    "client told": "told the client",
    "humidity seen to": "adjusted the humidity",
    "sensor seen to": "saw to the sensor",
    "ignore this season": "let it be this season",
}
"""What may be done about a warning, as the book keeps it and as it is said."""
LIKELY = {"sensor": "sensor seen to", "place": "humidity seen to", "stack": "moved it"}
"""What is done most about a warning of each kind; about any other, wood is taken off."""
TIERS = {"now": "now", "morning": "this morning", "week": "this week", "season": "this season"}
"""How soon each is to be seen to, the soonest first."""


def layout(view: View) -> html.Main:
    """The page of warnings."""
    with view.store.session() as session:
        warnings = queries.warnings(session, open_only=False)
        subjects = queries.subjects(session)
    still_open = [warning for warning in warnings if warning.closed_at is None]
    unanswered = [warning for warning in still_open if warning.acknowledged_at is None]
    answered_ones = [warning for warning in still_open if warning.acknowledged_at is not None]
    past = [warning for warning in warnings if warning.closed_at is not None]

    def rows(those: Sequence[WarningNow]) -> Child:
        return listed([_row(one, subjects, view) for one in those])

    def need(warning: WarningNow) -> tuple[int, int]:
        # What harms is for this morning. Of those alike the newest comes first, as they come.
        return list(TIERS).index(warning.tier), say.need(warning.to_verdict)

    return sheet(
        f"{sentences.counted(len(unanswered), 'warning').capitalize()} to answer."
        if unanswered
        else "No warning waits for an answer.",
        rows(sorted(unanswered, key=need)),
        part("Answered, still open", rows(sorted(answered_ones, key=need))),
        part("Past", rows(past)),
        lead="You are warned once. It closes when the problem is gone.",
    )


def _row(warning: WarningNow, subjects: dict[tuple[str, int], Subject], view: View) -> html.Li:
    subject = subjects.get((warning.subject_kind, warning.subject_id))
    zone = subject.zone if subject else "UTC"
    name: Any = (
        html.A(html.B(subject.name), href=subject_address(subject)) if subject else html.B("something gone")
    )
    kind = warning.subject_kind if warning.subject_kind in ("sensor", "stack", "place") else ""
    dates = f"Since {times.moment(warning.opened_at, zone, view.units, view.now)}"
    if warning.closed_at is not None:
        dates += f", until {times.moment(warning.closed_at, zone, view.units, view.now)}"
    # What is over needs seeing to no more.
    seen_to = "" if warning.closed_at else f" Check {TIERS.get(warning.tier, warning.tier)}."
    lines: list[Any] = [
        name,
        html.Div(prose(in_sentences(warning.reason, view.display))),
        html.Div(f"{dates}.{seen_to}", className="soft small"),
    ]
    if warning.acknowledged_at is not None:
        when = times.day(warning.acknowledged_at, zone, view.units, view.now)
        act = warning.trade_act or ""
        lines.append(html.Div(f"Answered on {when}: {ACTS.get(act, act)}.", className="small"))
    answer: Any = None
    if warning.closed_at is None and warning.acknowledged_at is None:
        label = f"How it was answered: {subject.name if subject else ''}"
        usual = LIKELY.get(warning.subject_kind, "eased it")
        answer = html.Div(
            [
                Choice({"form": ANSWER, "warning": warning.id}, list(ACTS.items()), usual, label),
                html.Button("Answered", id={"act": ANSWER, "warning": warning.id}),
            ],
            className="answer",
        )
    return noted(warning.to_verdict, *lines, kind=kind, right=answer)


def subject_address(subject: Subject) -> str:
    """Where what a warning speaks of has its page."""
    return address(subject.page, subject.page_id)


def register(app: Dash, context: Context) -> None:
    """The answer to a warning."""

    answers(app, context, ANSWER, acknowledged, which="warning", field="warning")


def acknowledged(number: int, typed: dict[Any, Any], view: View) -> Act:
    """A warning is answered by an act of the trade."""
    act = str(typed.get(number) or "")
    with doing(view, "answer") as (session, revision):
        book.acknowledge(session, session.get_one(Warning, number), act, view.now)
        return done(revision, f"Answered: {ACTS.get(act, act)}.", "The warning waits for an answer again.")


ROUTES = [Route("/warnings", layout, live=False)]
