"""Notices, on the page of settings: who is told of what, when, and whether it gets there."""

from dataclasses import asdict, replace
from typing import Any

from dash import Dash, html
from sqlalchemy.orm import Session

from dashboard.forms import fields as forms
from dashboard.forms.acts import Act, answers, doing, done
from dashboard.forms.declared import Asked, Form
from dashboard.forms.fields import choice_field
from dashboard.pages.frame import Child, listed, part
from dashboard.say import sentences
from dashboard.say.marks import verdict_mark
from dashboard.shell.view import Context, View
from model.watch.tell.notice_times import TIERS, Hours, keep_hours, read_hours
from model.watch.tell.notices import failing
from model.wood.errors import BadInput
from model.words import display as say

TEST, TOLD = "notice test", "notice tiers"
CHANGE, BACK = "change of the notices", "Notices are as they were before."
LEVELS = (
    ("4", "everything, with the season's letter"),
    ("3", "what can't wait, each morning's and the week's"),
    ("2", "what can't wait, and each morning's"),
    ("1", "only what can't wait"),
)
DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
NIGHT = (("no", "waits till morning"), ("yes", "comes at night"))
DIGEST = (("single", "each at its hour"), ("day", "as one message a day"), ("week", "as one message a week"))
OVER = (("no", "say nothing"), ("yes", "tell it, too"))
WHEN = Form(
    "notice hours",
    "Keep these hours",
    (
        Asked("morning_at", "Each morning at"),
        Asked(
            "week_day", "The week's on", "choice", options=tuple((str(n), day) for n, day in enumerate(DAYS))
        ),
        Asked("quiet_from", "Quiet from"),
        Asked("quiet_until", "until"),
        Asked("now_at_night", "What can't wait", "flag", options=NIGHT, usual=False),
        Asked("digest", "What can wait", "choice", options=DIGEST),
        Asked("clear_again", "When it is clear again", "flag", options=OVER, usual=False),
        Asked("zone", "Time zone", hint="as Europe/Vienna"),
    ),
)


def notices_part(session: Session, view: View) -> Child:
    """Every address, masked, with what it gets and whether it can be reached; then the hours."""
    hours = read_hours(session)
    door = view.context.notices
    masks = list(door.addresses()) if door is not None else []
    troubles = {trouble.address: trouble for trouble in failing(session)}
    rows = [_address_row(number, mask, hours, troubles.pop(mask, None)) for number, mask in enumerate(masks)]
    gone = [
        html.Li([verdict_mark("past", "sensor"), " ", html.Span(mask, className="topic"), _problem(trouble)])
        for mask, trouble in troubles.items()
    ]
    nobody = html.P(
        [
            "Nobody is told of warnings; they wait on the first page. Name addresses in ",
            html.Code("PANELTIDE_NOTIFY"),
            " (mailto://, mqtt://, json:// or a push service's) and they are listed here. ",
            html.A("How", href="/help/notices"),
            ".",
        ]
    )
    return part(
        "Notices",
        listed([*rows, *gone], nobody, "rows small"),
        WHEN.laid_out(view, record=asdict(hours)),
    )


def _problem(trouble: Any) -> str:
    told = sentences.counted(trouble.notices, "notice")
    end = "given up" if trouble.given_up else f"tried {sentences.counted(trouble.tries, 'time')}"
    return f": {told} not sent ({trouble.problem}), {end}."


def _address_row(number: int, mask: str, hours: Hours, trouble: Any) -> html.Li:
    level = str(len(hours.tiers.get(mask, TIERS)))
    return html.Li(
        [
            html.Div(
                [
                    html.Span(mask.split("#")[0], className="topic"),
                    html.B(_problem(trouble)) if trouble is not None else None,
                ]
            ),
            html.Div(
                [
                    choice_field("Is told", {"form": TOLD, "number": number}, LEVELS, level),
                    html.Button("Keep", id={"act": TOLD, "number": number}),
                    html.Button("Send a test", id={"act": TEST, "number": number}),
                ],
                className="buttons",
            ),
        ]
    )


# ---------------------------------------------------------------- acts


def register(app: Dash, context: Context) -> None:
    """Testing an address, and keeping what it is told and when."""

    answers(app, context, TEST, test, field="number", fields_of=TOLD)
    answers(app, context, TOLD, keep_told, field="number")
    WHEN.answers(app, context, keep_when)


def _mask(number: int, view: View) -> str:
    masks = list(view.context.notices.addresses()) if view.context.notices is not None else []
    if number >= len(masks):
        raise BadInput("", "address", "must be one of the settings", "nothing")
    return masks[number]


def test(number: int, _typed: dict[Any, Any], view: View) -> Act:
    """Send a test message now, and say how it went."""
    mask = _mask(number, view)
    assert view.context.notices is not None
    problem = view.context.notices.test(mask)
    shown = mask.split("#")[0]
    if problem is not None:
        raise BadInput("", f"the test to {shown}", f"did not go out: {problem.rstrip('.')}", "nothing")
    return Act(f"A test went out to {shown}. Look whether it came.")


def keep_told(number: int, typed: dict[Any, Any], view: View) -> Act:
    """What an address is told of from now on."""
    mask = _mask(number, view)
    level = str(typed.get(number) or "")
    if level not in dict(LEVELS):
        raise BadInput("", "what it is told", "must be one of the four", "nothing")
    with doing(view, CHANGE) as (session, revision):
        hours = read_hours(session)
        keep_hours(session, replace(hours, tiers={**hours.tiers, mask: TIERS[: int(level)]}))
        return done(revision, f"{mask.split('#')[0]} is told {dict(LEVELS)[level]}.", BACK)


def keep_when(_number: int, typed: dict[Any, Any], view: View) -> Act:
    """The hours of notices as typed."""
    with doing(view, CHANGE) as (session, revision):
        values = WHEN.read(typed, view)
        week_day = int(forms.number_typed(values.pop("week_day"), "the week's day", ""))
        kept = replace(read_hours(session), week_day=week_day, **values)
        keep_hours(session, kept)
        told = f"Quiet from {kept.quiet_from} until {kept.quiet_until}; the day's notices come at"
        return done(revision, say.sentence(f"{told} {kept.morning_at}"), BACK)
