"""Who the client calls, on the page of settings: as it stands at the foot of every client sheet."""

from dataclasses import asdict
from typing import Any

from dash import Dash, html
from sqlalchemy.orm import Session

from dashboard.forms.acts import Act, doing, done
from dashboard.forms.declared import Asked, Form
from dashboard.pages.frame import Child, part
from dashboard.paper.sheet import contact_of, keep_contact
from dashboard.shell.view import Context, View

FORM = Form(
    "contact",
    "Keep this",
    (
        Asked("name", "Name", placeholder="The bench by the river"),
        Asked("line", "Telephone or address"),
        Asked("link", "Link", hint="https://, mailto: or tel:; becomes a square code to scan"),
    ),
)


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
        FORM.laid_out(view, record=asdict(contact)),
    )


def register(app: Dash, context: Context) -> None:
    """The form's answer."""
    FORM.answers(app, context, keep, here=lambda _: "/settings")


def keep(_number: int, typed: dict[str, Any], view: View) -> Act:
    """Who to call, as typed; all of it empty names nobody."""
    values = FORM.read(typed, view)
    name, line = values["name"], values["line"]
    with doing(view, "change of who the client calls") as (session, revision):
        before = contact_of(session)
        keep_contact(session, **values)
        said = f"{name or line} stands on the client sheets from now on." if name or line else ""
        back = f"{before.name or before.line or 'Nobody'} stands on the client sheets again."
        return done(revision, said or "The client sheets name nobody to call.", back)
