"""A list of pieces from a spreadsheet: each line a case that is drawn by a few sizes."""

from collections.abc import Sequence

from sqlalchemy.orm import Session

from dashboard.forms import fields as forms
from dashboard.forms.lists import Cells, ListKind
from dashboard.pages.list_file import ListPage
from dashboard.pages.pieces.case_asked import make_case
from dashboard.say import sentences
from dashboard.shell.view import View
from model.records.acts import book
from model.records.acts.places import place_named
from model.wood.design.patterns import CasePattern, pattern_named, patterns
from model.wood.errors import BadInput
from model.words import times

OWN = {
    "name": "what you call it",
    "case": "which case it is",
    "species": "its wood",
    "cut": "how that is cut",
    "inside_species": "the wood of backs and drawer bottoms",
    "inside_cut": "how that is cut",
    "mc_pct": "moisture content of the stock when it was fitted [%]",
    "face": "the finish of both faces",
    "coats": "of that finish",
    "client": "who it is for",
    "place": "where it stands",
    "since": "since which day, as 2026-03-12; today where it is empty",
}


def _fields(pattern: CasePattern) -> dict[str, str]:
    """The sizes and choices of a case, by key, each with what it means."""
    sizes = {one.key: one.meaning for one in pattern.sizes}
    return sizes | {one.key: one.meaning for one in pattern.choices}


SIZED = {key: meaning for pattern in patterns().values() for key, meaning in _fields(pattern).items()}
"""Every size and choice that some case has."""


def _keep(session: Session, cells: Cells, view: View) -> Sequence[str]:
    for key in ("name", "case", "species"):
        if not cells.get(key):
            raise BadInput("", key, f"must be given ({OWN[key]})", "nothing")
    try:
        pattern = pattern_named(cells["case"].lower())
    except BadInput as error:
        raise BadInput("", "case", error.rule, cells["case"]) from error
    takes = _fields(pattern)
    for key in cells:
        if key in SIZED and key not in takes and key not in OWN:
            rule = f"must be empty for a {pattern.key}, which has {', '.join(takes)}"
            raise BadInput("", key, rule, cells[key])
    place = place_named(session, cells.get("place", ""))
    since = cells.get("since") or forms.day_value(view.now, place.zone)
    made = make_case(pattern, cells, view)
    row = book.add_piece(
        session, made.piece, place, forms.day_typed(since, place.zone, "since", view.now), view.now
    )
    sizes = [
        f"{one.key} {made.case.count(one.key)}"
        if one.is_count
        else f"{one.key} {view.display.length(made.case.size(one.key))}"
        for one in pattern.sizes
    ]
    parts, fits = len(made.piece.members), len(made.piece.fits)
    return (
        row.name,
        pattern.key,
        ", ".join(sizes),
        made.request.show.species.name,
        f"{sentences.counted(parts, 'part')}, {sentences.counted(fits, 'fit')}",
        place.name,
        times.day(row.stays[0].since_at, place.zone, view.units, view.now),
    )


PIECES = ListKind(
    "piece",
    OWN | {key: meaning for key, meaning in SIZED.items() if key not in OWN},
    ("name", "case", "species", "place"),
    ("name", "case", "sizes", "wood", "made of", "where it stands", "since"),
    _keep,
    "/pieces",
)
PAGE = ListPage(PIECES, "/pieces/file", "Pieces from a spreadsheet", "Pieces")
ROUTES = PAGE.routes
register = PAGE.register
