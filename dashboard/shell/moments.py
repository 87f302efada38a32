"""A day and a time, typed as people say them: "12 January, 3 pm". It stands in the address as `at`."""

from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from dash import html
from dateutil.parser import parse

from dashboard.forms import fields as forms
from dashboard.forms.fields import Line, field
from dashboard.shell.spans import instant
from dashboard.shell.view import View
from model.wood.errors import BadInput
from model.words import display as say
from model.words.display import Units

MOMENT, SAY = "moment", "moment-say"


def typed_moment(text: str, zone: str, units: Units, now: datetime) -> datetime:
    """An instant as typed, by a place's wall clock; aware UTC.

    Without a year it is the last such day up to now, without a time noon, and without a day today.

    Raises
    ------
    BadInput
        For what is no day and time.
    """
    local = say.zone_of(zone)
    noon = now.astimezone(local).replace(hour=12, minute=0, second=0, microsecond=0)
    # As far back as the last 29 February can be.
    for year in range(noon.year, noon.year - 9, -1):
        start = noon if year == noon.year else noon.replace(year=year, day=1)
        try:
            at = parse(text, default=start, dayfirst=units != "inch").astimezone(UTC)
        except (ValueError, OverflowError):
            continue
        there = at.astimezone(local)
        if at <= now or there.date() == noon.date() or there.year != year:
            return at
    raise _no_moment(text)


def _no_moment(text: str) -> BadInput:
    return BadInput("", "moment", "must be a day and a time, such as 12 January, 3 pm", text or "nothing")


def asked_moment(view: View, zone: str) -> datetime | None:
    """The instant the address asks of; none when it asks of none, or of what is no moment."""
    text = view.query.get("at", "")
    try:
        return instant(text, zone) or (typed_moment(text, zone, view.units, view.now) if text else None)
    except BadInput:
        return None


def moment_part(view: View, zone: str, answer: str) -> html.Div:
    """Where a day and a time are typed, and what was so then, in a sentence."""
    text, at = view.query.get("at", ""), asked_moment(view, zone)
    shown: Any = None
    if text and at is None:
        shown = forms.problem(_no_moment(text))
    elif at is not None:
        shown = html.P(say.sentence(answer), className="answered", role="status")
    value = say.moment(at, zone, view.units, view.now) if at is not None else text
    hint = "12 January, 3 pm" if view.units == "metric" else "January 12, 3 pm"
    line = Line({"form": MOMENT, "zone": zone}, value, placeholder=hint)
    return html.Div(
        [field("At a day and a time", line), html.Button("Say it", id={"form": SAY, "zone": zone}), shown],
        className="moment no-print",
    )


def nearest(at: Any, asked_at: datetime, within: timedelta) -> int | None:
    """The index of the instant of an array nearest to one; none where there is none so near."""
    if not len(at):
        return None
    away = np.abs(at - np.datetime64(asked_at.astimezone(UTC).replace(tzinfo=None), "ms"))
    index = int(away.argmin())
    return index if away[index] <= np.timedelta64(within) else None
