"""A list of stacks from a spreadsheet: its columns, and how a line becomes a stack."""

from collections.abc import Sequence

from sqlalchemy.orm import Session

from dashboard.forms.declared import Asked
from dashboard.forms.lists import Cells, ListKind, as_typed
from dashboard.pages.list_file import ListPage
from dashboard.pages.lumber.stack_acts import NEW, lumber_of
from dashboard.shell.view import View
from model.records.acts import book
from model.records.acts.lumber import lumber_from_document
from model.words import display as say
from model.words import times


def _keep(session: Session, cells: Cells, view: View) -> Sequence[str]:
    values = NEW.read(as_typed(NEW.fields, cells, session, view), view, session)
    place, home = values["place"], values["destination"]
    document = lumber_of(values, view)
    stack = book.add_stack(session, values["name"], document, place, values["since"], destination=home)
    lumber = lumber_from_document(stack.document, f"stack {stack.name}")
    return (
        stack.name,
        lumber.species,
        view.display.length(lumber.thickness_mm),
        say.mc_with_doubt(lumber.mc_pct, lumber.mc_doubt_pct),
        place.name,
        home.name if home else "",
        times.day(values["since"], place.zone, view.units, view.now),
    )


def _told(one: Asked) -> str:
    """What a column holds, with what there is to choose from."""
    choices = [words for _value, words in one.options]
    return f"{one.said}: {', '.join(choices)}" if choices else one.said


STACKS = ListKind(
    "stack",
    {one.key: _told(one) for one in NEW.fields},
    ("name", "species", "thickness", "mc", "place"),
    ("name", "wood", "thickness", "moisture content", "where it stands", "meant for", "since"),
    _keep,
    "/stock",
)
PAGE = ListPage(STACKS, "/stock/file", "Stacks from a spreadsheet", "Stock")
ROUTES = PAGE.routes
register = PAGE.register
