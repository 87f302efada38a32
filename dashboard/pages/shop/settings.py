"""Settings: what is shown, who may look, and how the running parts are."""

from datetime import datetime
from typing import Any

from dash import html

from dashboard.pages.frame import num, part, sheet
from dashboard.pages.lumber import glue
from dashboard.pages.shop import contact, notices
from dashboard.shell.view import Route, View
from model.records.queries import overview as queries
from model.words import display as say

WORDS = {"ingest": "listening to sensors", "watch": "working out wood", "supervisor": "keeping both running"}


def layout(view: View) -> html.Main:
    """The page of settings."""
    health = queries.health(view.store, view.context.now)
    problems = health["problems"]
    units = "inches and °F" if view.units == "inch" else "millimetres and °C"
    if problems:
        title = say.sentence(str(problems[0]))
    else:
        title = "All parts are running." if health["parts"] else "Nothing listens to sensors yet."
    with view.store.session() as session:
        labels = glue.adhesives_part(session, view)
        told = notices.notices_part(session, view)
        called = contact.contact_part(session, view)
    return sheet(
        title,
        part(
            "Shown",
            html.P(
                [
                    f"Lengths and temperatures are shown in {units}. The button at the head of every page ",
                    "changes that, for this browser only; the setting ",
                    html.Code("PANELTIDE_UNITS"),
                    " decides for browsers that have not chosen. Day or night follows the device until ",
                    "it is chosen beside it.",
                ]
            ),
        ),
        told,
        labels,
        called,
        part("Running", health_facts(health, view)),
        part("Who may look", *access(view)),
        part(
            "Kept",
            html.P(
                [
                    "The book is ",
                    html.Code(view.store.shown),
                    ". Copy it with ",
                    html.Code("paneltide backup"),
                    ".",
                ]
            ),
        ),
    )


def health_facts(health: dict[str, Any], view: View) -> html.Div:
    """The health of every part in words."""
    rows: list[Any] = []
    for name, told in sorted(health["parts"].items()):
        alive = "running" if told["alive"] else "stopped" if told.get("stopped") else "not heard of"
        restarts = told.get("restarts")
        more = f", restarted {restarts} times" if isinstance(restarts, int) and restarts else ""
        part_name, _, which = name.partition(" ")
        title = f"{WORDS.get(part_name, part_name)} {which}".strip()
        rows += [html.Dt(title), html.Dd(f"{alive}{more}")]
    broker = {True: "connected", False: "not connected", None: "no ingest has run yet"}[
        health["broker_connected"]
    ]
    writable = "yes" if health["database_writable"] else "no"
    rows += [html.Dt("broker"), html.Dd(broker), html.Dt("book can be written"), html.Dd(writable)]
    rows += [
        html.Dt("last reading"),
        html.Dd(num(told_at(health["last_reading_at"], view))),
        html.Dt("last evaluation"),
        html.Dd(num(told_at(health["last_evaluation_at"], view))),
    ]
    others = [html.Li(say.sentence(str(problem))) for problem in health["problems"][1:]]
    return html.Div(
        [
            html.Dl(rows, className="facts"),
            html.Ul(others) if others else None,
            html.P(["The same as plain JSON: ", html.A("/healthz", href="/healthz", target="_blank"), "."]),
        ]
    )


def told_at(text: str | None, view: View) -> str:
    """An instant of the health answer in words."""
    if text is None:
        return "none"
    at = datetime.fromisoformat(text)
    return f"{say.ago(at, view.now)}, {say.moment(at, view.context.zone, view.units, view.now)}"


def access(view: View) -> list[Any]:
    """Who can reach the dashboard."""
    sessions = view.context.sessions
    if sessions is None:
        return [
            html.P(
                [
                    "No password is set, so the dashboard answers on this machine only. Set ",
                    html.Code("PANELTIDE_PASSWORD"),
                    " and ",
                    html.Code("PANELTIDE_BIND"),
                    " to open it to others.",
                ]
            )
        ]
    count = sessions.count()
    are = "session is" if count == 1 else "sessions are"
    return [
        html.P(f"A password is asked of everyone; a session lasts two weeks. {count} {are} open."),
        html.Div(
            [
                html.Form(html.Button("Leave"), action="/leave", method="POST"),
                html.Form(html.Button("End all sessions"), action="/leave/everywhere", method="POST"),
            ],
            className="buttons",
        ),
        html.P(
            "Leave ends the session of this browser. End all sessions if a phone or a computer was lost: "
            "everybody has to enter the password again, you too.",
            className="soft small",
        ),
    ]


ROUTES = [Route("/settings", layout, live=False)]
