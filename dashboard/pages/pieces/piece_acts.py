"""What a maker does to a piece on its page: moves it, measures it, retires it."""

from collections.abc import Mapping, Sequence
from typing import Any

from dash import Dash, html
from sqlalchemy.orm import Session

from dashboard.forms import fields as forms
from dashboard.forms.acts import Act, answers, doing, done
from dashboard.forms.declared import Asked, Form
from dashboard.pages.frame import folded, sheet
from dashboard.shell.view import Context, Route, View, address
from model.records.acts import book, measured
from model.records.queries import overview as queries
from model.records.queries.overview import FitNow, PieceNow, PlaceNow
from model.records.schema.tables import FitRow, MemberRow, PieceRow, Place, Revision, Stack
from model.wood.errors import BadInput
from model.wood.fits import kind_named
from model.words import display as say

RETIRE, RESTORE = "piece-retire", "piece-restore"
MEASURED_BACK = "The reading counts for nothing now."
HOW = ("caliper", "feeler", "rule", "gap strip", "pin meter", "pinless meter", "oven")
MEASURE = Form(
    "piece-measure",
    "Record the measurement",
    (
        Asked("what", "What", "choice"),
        Asked("value", "Measured", hint="% for moisture, else as 3/64 in or 1.2 mm"),
        Asked("how", "With", "choice", options=tuple((how, how) for how in HOW)),
        Asked("at", "On", "day"),
    ),
    whose="piece",
)


def to_another_place(what: str, button: str) -> Form:
    """The form that moves a piece or a stack."""
    fields = Asked("place", "To", "place"), Asked("at", "From", "day")
    return Form(f"{what}-move", button, fields, whose=what)


MOVE = to_another_place("piece", "Move it")


def acts_part(piece: PieceNow) -> html.Div:
    """What can be done to the piece: what is done often as buttons, the rest folded behind one."""
    here = ("piece", piece.id)
    if piece.retired_at is not None:
        return html.Div(
            [
                html.Button("Follow it again", id={"act": RESTORE, "piece": piece.id}, className="first"),
                html.A("Record of fact", href=address(*here, "record.txt"), className="button", download=""),
            ],
            className="acts buttons no-print",
        )
    air = piece.place.id if piece.place else None
    rehearsal = address("rehearse", first=f"piece-{piece.id}", air=air, begin="lived")
    more: list[Any] = [
        html.A("Rehearse", href=rehearsal, className="button"),
        html.A("Correct the record", href=address(*here, "edit"), className="button"),
        html.A("Client's link", href=address(*here, "client"), className="button"),
        html.A("Client sheet", href=address(*here, "sheet.pdf"), className="button", target="_blank"),
        html.A("Job sheet", href=address(*here, "job.pdf"), className="button", target="_blank"),
        html.A("Record of fact", href=address(*here, "record.txt"), className="button", download=""),
        html.A("Piece file", href=address(*here, "piece.toml"), className="button", download="piece.toml"),
        html.Button("Archive", id={"act": RETIRE, "piece": piece.id}),
    ]
    return html.Div(
        [
            html.A("Add a measurement", href=address(*here, "measure"), className="button"),
            html.A("Client reports a gap", href=address(*here, "gap"), className="button"),
            html.A("Hold or deliver", href=address(*here, "deliver"), className="button"),
            html.A("Move", href=address(*here, "move"), className="button"),
            folded("More", html.Div(more, className="buttons")),
        ],
        className="acts buttons no-print",
    )


def measure_layout(view: View, piece_id: int) -> html.Main | None:
    """Where a measurement is written down."""
    piece, _places = _found(view, piece_id)
    if piece is None:
        return None
    return sheet(
        f"What was measured on {piece.name}?",
        _measure_form(piece, _zone(piece), view),
        dateline=html.A(piece.name, href=address("piece", piece_id)),
        lead="What is measured becomes the new reference: the forecast starts from it.",
    )


def move_layout(view: View, piece_id: int) -> html.Main | None:
    """Where a move is written down."""
    piece, places = _found(view, piece_id)
    if piece is None:
        return None
    return sheet(
        f"Where did {piece.name} go?",
        _move_form(piece, places, _zone(piece), view),
        dateline=html.A(piece.name, href=address("piece", piece_id)),
    )


def _found(view: View, piece_id: int) -> tuple[PieceNow | None, tuple[PlaceNow, ...]]:
    with view.store.session() as session:
        return queries.piece(session, piece_id, view.now), queries.places(session, view.now)


def _zone(piece: PieceNow) -> str:
    return piece.place.zone if piece.place else "UTC"


def _measure_form(piece: PieceNow, zone: str, view: View) -> html.Div:
    what = [(f"mc:{member.id}", f"moisture of {say.said(member.name)}") for member in piece.members]
    what += [(f"width:{member.id}", f"width of {say.said(member.name)}") for member in piece.members]
    what += [(f"gap:{fit.id}", f"gap at {say.said(fit.name)}") for fit in piece.fits if has_gap(fit)]
    return MEASURE.laid_out(view, piece.id, options={"what": what}, zone=zone)


def has_gap(fit: FitNow) -> bool:
    """Whether a fit of this kind has a gap that a feeler or a strip can measure."""
    return kind_named(fit.kind).gap_attribute is not None


def others_than(place: PlaceNow | None, places: Sequence[PlaceNow]) -> list[tuple[str, str]]:
    """The places where something does not stand, to choose from."""
    return [(str(one.id), one.name) for one in places if place is None or one.id != place.id]


def _move_form(piece: PieceNow, places: tuple[PlaceNow, ...], zone: str, view: View) -> html.Div | html.P:
    others = others_than(piece.place, places)
    if not others:
        return html.P("There is no other place.", className="soft")
    return MOVE.laid_out(view, piece.id, options={"place": others}, zone=zone)


def register(app: Dash, context: Context) -> None:
    """The forms' answers."""

    MOVE.answers(app, context, move)
    MEASURE.answers(app, context, measure)
    answers(app, context, RETIRE, retire, which="piece")
    answers(app, context, RESTORE, restore, which="piece")


def move(piece_id: int, typed: dict[str, Any], view: View) -> Act:
    """The piece stands at another place."""
    with doing(view, "move") as (session, revision):
        piece = session.get_one(PieceRow, piece_id)
        return moved(session, revision, piece, MOVE.read(typed, view, session), address("piece", piece_id))


def moved(
    session: Session, revision: Revision, owner: PieceRow | Stack, values: Mapping[str, Any], href: str = ""
) -> Act:
    """A piece or a stack stands at another place, as read from its form."""
    last = max(owner.stays, key=lambda stay: stay.since_at, default=None)
    where = f"at {last.place.name} again" if last is not None else "nowhere"
    place: Place = values["place"]
    book.move(session, owner, place, values["at"])
    return done(revision, f"{owner.name} stands at {place.name}.", f"{owner.name} stands {where}.", href)


def measure(piece_id: int, typed: dict[str, Any], view: View) -> Act:
    """Something on the piece was measured."""
    what, _, number = str(typed.get("what") or "").partition(":")
    how = str(typed.get("how") or "")
    with doing(view, "measurement") as (session, revision):
        piece = session.get_one(PieceRow, piece_id)
        fit: FitRow | None = None
        member: MemberRow | None = None
        if what == "gap":
            fit = next((fit for fit in piece.fits if str(fit.id) == number), None)
            named = (fit.document.get("part") or fit.document.get("parts")) if fit else None
            names = named if isinstance(named, list) else [named]
            member = next((member for member in piece.members if member.name in names), None)
        else:
            member = next((member for member in piece.members if str(member.id) == number), None)
        if member is None:
            raise BadInput("", "what", "must be something on this piece", "nothing")
        zone = piece.stays[-1].place.zone if piece.stays else "UTC"
        at = max(forms.day_typed(typed.get("at"), zone, "on", view.now), member.start_at)
        if what == "mc":
            value = forms.number_typed(typed.get("value"), "measured")
            measured.record_measurement(session, member, "mc_pct", value, at, how=how)
            said = f"{say.said(member.name).capitalize()} at {say.mc(value)} is recorded."
        else:
            value = forms.length_typed(typed.get("value"), view.units, "measured")
            quantity = "gap_mm" if what == "gap" else "width_mm"
            measured.record_measurement(session, member, quantity, value, at, fit=fit, how=how)
            where = say.said(fit.name if fit else member.name)
            said = f"{view.display.length(value, finest=64)} at {where} is recorded."
        return done(revision, said, MEASURED_BACK, address("piece", piece_id))


def restore(piece_id: int, _typed: dict[str, Any], view: View) -> Act:
    """An archived piece is followed again, as if it had never been archived."""
    with doing(view, "change") as (session, revision):
        piece = session.get_one(PieceRow, piece_id)
        book.restore(session, piece)
        said = f"{piece.name} is followed again."
        return done(revision, said, f"{piece.name} is archived.", address("piece", piece_id))


def retire(piece_id: int, _typed: dict[str, Any], view: View) -> Act:
    """The piece is archived: its past is kept, and it is followed no more."""
    with doing(view, "change") as (session, revision):
        piece = session.get_one(PieceRow, piece_id)
        book.retire(session, piece, view.now)
        said = f"{piece.name} is archived."
        return done(revision, said, f"{piece.name} is followed again.", "/pieces")


ROUTES = [
    Route("/piece/<piece_id>/measure", measure_layout, live=False),
    Route("/piece/<piece_id>/move", move_layout, live=False),
]
