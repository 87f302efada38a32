"""Who the client calls, on the page of settings: as it stands at the foot of every client sheet."""

from typing import Any

from dash import Dash, html
from sqlalchemy.orm import Session

from dashboard.acts import Act, answers
from dashboard.before import put_back, remembered
from dashboard.forms import text_field
from dashboard.pages.frame import part
from dashboard.sheet import CONTACT, contact_of, keep_contact
from dashboard.view import Context, View

FORM = "contact"


def contact_part(session: Session) -> html.Section:
    """What stands on the sheets now, and the form."""
    contact = contact_of(session)

    def id(key: str) -> dict[str, str]:
        return {"form": FORM, "key": key}

    named = ", ".join(bit for bit in (contact.name, contact.line) if bit)
    told = f"At the foot of every client sheet stands: {named}." if named else None
    return part(
        "Who the client calls",
        html.P(
            told or "Nobody is named on the client sheets yet. They carry what stands here at their foot."
        ),
        html.Div(
            [
                text_field("Name", id("name"), contact.name, placeholder="The bench by the river"),
                text_field("Telephone or address", id("line"), contact.line),
                text_field(
                    "Link",
                    id("link"),
                    contact.link,
                    hint="https://, mailto: or tel:; becomes a square code to scan",
                ),
            ],
            className="fields",
        ),
        html.Button("Keep this", id={"act": FORM, "number": 0}),
    )


def register(app: Dash, context: Context) -> None:
    """The form's answer."""
    answers(app, context, FORM, keep, here=lambda _: "/settings")


def keep(_number: int, typed: dict[str, Any], view: View) -> Act:
    """Who to call, as typed; all of it empty names nobody."""
    name, line, link = (str(typed.get(key) or "").strip() for key in ("name", "line", "link"))
    with view.store.session() as session, remembered(session, CONTACT):
        keep_contact(session, name, line, link)
    said = f"{name or line} stands on the client sheets from now on." if name or line else ""
    return Act(said or "The client sheets name nobody to call.", undo=(FORM, 0))


def _undo(view: View, _number: int) -> str:
    with view.store.session() as session:
        put_back(session, CONTACT, "who the client calls")
        contact = contact_of(session)
    return f"{contact.name or contact.line or 'Nobody'} stands on the client sheets again."


UNDO = {FORM: _undo}
