"""Settings: what is shown, who may look, and how the running parts are."""

from dataclasses import asdict
from datetime import datetime
from typing import Any

from dash import Dash, html
from sqlalchemy.orm import Session

from dashboard.forms.acts import Act, doing, done
from dashboard.forms.declared import Asked, Form
from dashboard.pages.frame import Child, facts_list, listed, num, part, sheet
from dashboard.pages.lumber import glue
from dashboard.pages.shop import notices
from dashboard.paper.sheet import contact_of, keep_contact
from dashboard.say.service_words import five_lines
from dashboard.shell.view import Context, Route, View
from model.records.acts.learning_switch import is_learning, set_learning
from model.records.queries import overview as queries
from model.records.queries.service import service_now
from model.words import display as say
from model.words import times

WORDS = {"ingest": "listening to sensors", "watch": "working out wood", "supervisor": "keeping both running"}
LEARNS = {
    True: "Each part moves as its own measurements say.",
    False: "Each part moves as the book says.",
}
CONTACT = Form(
    "contact",
    "Keep this",
    (
        Asked("name", "Name", placeholder="The bench by the river"),
        Asked("line", "Telephone or address"),
        Asked("link", "Link", hint="https://, mailto: or tel:; becomes a square code to scan"),
    ),
)
LEARNING = Form(
    "learning",
    "Keep this",
    (
        Asked(
            "on",
            "Learn from what is measured",
            "flag",
            options=(("yes", "Yes"), ("no", "No, keep to the book's figures")),
            usual=True,
        ),
    ),
)


def layout(view: View) -> html.Main:
    """The page of settings."""
    health = queries.health(view.store, view.context.now)
    service = five_lines(service_now(view.store, view.context.now), view.now)
    lines = [html.Li(one.replace("`", "")) for one in service]
    problems = health["problems"]
    units = "inches and °F" if view.units == "inch" else "millimetres and °C"
    if problems:
        title = say.sentence(str(problems[0]))
    else:
        title = "All parts are running." if health["parts"] else "Nothing listens to sensors yet."
    with view.store.session() as session:
        labels = glue.adhesives_part(session, view)
        told = notices.notices_part(session, view)
        called = contact_part(session, view)
        learning = learning_part(session, view)
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
        learning,
        part("Running", listed(lines, className=None), health_facts(health, view)),
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
    facts: list[tuple[str, Any]] = []
    for name, told in sorted(health["parts"].items()):
        alive = "running" if told["alive"] else "stopped" if told.get("stopped") else "not heard of"
        restarts = told.get("restarts")
        more = f", restarted {restarts} times" if isinstance(restarts, int) and restarts else ""
        part_name, _, which = name.partition(" ")
        facts.append((f"{WORDS.get(part_name, part_name)} {which}".strip(), f"{alive}{more}"))
    broker = {True: "connected", False: "not connected", None: "no ingest has run yet"}
    facts += [
        ("broker", broker[health["broker_connected"]]),
        ("book can be written", "yes" if health["database_writable"] else "no"),
        ("last reading", num(told_at(health["last_reading_at"], view))),
        ("last evaluation", num(told_at(health["last_evaluation_at"], view))),
    ]
    others = [html.Li(say.sentence(str(problem))) for problem in health["problems"][1:]]
    return html.Div(
        [
            facts_list(facts),
            listed(others, className=None),
            html.P(["The same as plain JSON: ", html.A("/healthz", href="/healthz", target="_blank"), "."]),
        ]
    )


def told_at(text: str | None, view: View) -> str:
    """An instant of the health answer in words."""
    if text is None:
        return "none"
    at = datetime.fromisoformat(text)
    return f"{times.ago(at, view.now)}, {times.moment(at, view.context.zone, view.units, view.now)}"


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


def contact_part(session: Session, view: View) -> Child:
    """What stands on the sheets now, and the form."""
    contact = contact_of(session)
    named = ", ".join(bit for bit in (contact.name, contact.line) if bit)
    told = f"At the foot of every client sheet stands: {named}." if named else None
    return part(
        "Who the client calls",
        html.P(
            told or "Nobody is named on the client sheets yet. They carry what stands here at their foot."
        ),
        CONTACT.laid_out(view, record=asdict(contact)),
    )


def learning_part(session: Session, view: View) -> Child:
    """Whether measurements teach, and the form."""
    return part(
        "Learning",
        html.P(
            "The book's figures are those of a kind of wood. What you meter, measure or read off a gap "
            "says how much that part moves and how fast it follows its air. It counts for no other part."
        ),
        LEARNING.laid_out(view, record={"on": is_learning(session)}),
    )


def register(app: Dash, context: Context) -> None:
    """The form's answer."""
    CONTACT.answers(app, context, name_contact)
    LEARNING.answers(app, context, choose_learning)


def name_contact(_number: int, typed: dict[str, Any], view: View) -> Act:
    """Who to call, as typed; all of it empty names nobody."""
    values = CONTACT.read(typed, view)
    name, line = values["name"], values["line"]
    with doing(view, "change of who the client calls") as (session, revision):
        before = contact_of(session)
        keep_contact(session, **values)
        said = f"{name or line} stands on the client sheets from now on." if name or line else ""
        back = f"{before.name or before.line or 'Nobody'} stands on the client sheets again."
        return done(revision, said or "The client sheets name nobody to call.", back)


def choose_learning(_number: int, typed: dict[str, Any], view: View) -> Act:
    """Whether measurements teach from now on, and from the first of them."""
    on = bool(LEARNING.read(typed, view)["on"])
    with doing(view, "choice about learning") as (session, revision):
        before = is_learning(session)
        set_learning(session, on)
        return done(revision, LEARNS[on], LEARNS[before])


ROUTES = [Route("/settings", layout, live=False)]
