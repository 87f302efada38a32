"""What a maker does to a piece on its page: moves it, measures it, retires it; and how each is undone."""

from collections.abc import Callable
from typing import Any

import flask
from dash import Dash, html

from dashboard import display as say
from dashboard import forms
from dashboard.acts import Act, answers
from dashboard.forms import choice_field, day_field, text_field
from dashboard.pages.frame import sheet
from dashboard.sheet import file_name, job_sheet_of_piece, sheet_of_piece
from dashboard.view import NUMBER, Context, Route, View, address, view_of
from model.records import book, measured, queries
from model.records.queries import FitNow, PieceNow, PlaceNow
from model.records.tables import Fit, Member, Piece
from model.wood.errors import BadInput
from model.wood.fits import kind_named

MOVE, MEASURE, RETIRE, RESTORE = "piece-move", "piece-measure", "piece-retire", "piece-restore"
HOW = ("caliper", "feeler", "rule", "gap strip", "pin meter", "pinless meter", "oven")


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
            html.Details([html.Summary("More"), html.Div(more, className="buttons")]),
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


def _id(form: str, key: str) -> dict[str, str]:
    return {"form": form, "key": key}


def _measure_form(piece: PieceNow, zone: str, view: View) -> html.Div:
    what = [(f"mc:{member.id}", f"moisture of {say.said(member.name)}") for member in piece.members]
    what += [(f"width:{member.id}", f"width of {say.said(member.name)}") for member in piece.members]
    what += [(f"gap:{fit.id}", f"gap at {say.said(fit.name)}") for fit in piece.fits if has_gap(fit)]
    return html.Div(
        [
            html.Div(
                [
                    choice_field("What", _id(MEASURE, "what"), what, what[0][0] if what else ""),
                    text_field(
                        "Measured",
                        _id(MEASURE, "value"),
                        hint="% for moisture, else in, as 3/64" if view.units == "inch" else "% or mm",
                    ),
                    choice_field("With", _id(MEASURE, "how"), [(how, how) for how in HOW], HOW[0]),
                    day_field("On", _id(MEASURE, "at"), view.now, zone),
                ],
                className="fields",
            ),
            html.Button("Record the measurement", id={"act": MEASURE, "piece": piece.id}),
        ]
    )


def has_gap(fit: FitNow) -> bool:
    """Whether a fit of this kind has a gap that a feeler or a strip can measure."""
    return kind_named(fit.kind).gap_attribute is not None


def _move_form(piece: PieceNow, places: tuple[PlaceNow, ...], zone: str, view: View) -> html.Div | html.P:
    others = [
        (str(place.id), place.name) for place in places if piece.place is None or place.id != piece.place.id
    ]
    if not others:
        return html.P("There is no other place.", className="soft")
    return html.Div(
        [
            html.Div(
                [
                    choice_field("To", _id(MOVE, "place"), others, others[0][0]),
                    day_field("From", _id(MOVE, "at"), view.now, zone),
                ],
                className="fields",
            ),
            html.Button("Move it", id={"act": MOVE, "piece": piece.id}),
        ]
    )


def register(app: Dash, context: Context) -> None:
    """The forms' answers."""

    for form, act in ((MOVE, move), (MEASURE, measure), (RETIRE, retire), (RESTORE, restore)):
        answers(app, context, form, act, which="piece")

    def papers(name: str, make: Callable[..., bytes]) -> None:
        @app.server.get(f"/piece/{NUMBER}/{name}.pdf", endpoint=f"piece {name}")
        def paper(piece_id: int) -> flask.Response:
            view = view_of(context, flask.request.full_path)
            with context.store.session() as session:
                row = session.get(Piece, piece_id)
                if row is None:
                    return flask.Response("no such piece", 404, mimetype="text/plain")
                try:
                    written = make(session, piece_id, view.now, view.display)
                except BadInput as error:
                    return flask.Response(str(error), 422, mimetype="text/plain")
                named = file_name(row.name, name)
            response = flask.Response(written, mimetype="application/pdf")
            response.headers["Content-Disposition"] = f'inline; filename="{named}"'
            return response

    papers("sheet", sheet_of_piece)
    papers("job", job_sheet_of_piece)


def move(piece_id: int, typed: dict[str, Any], view: View) -> Act:
    """The piece stands at another place."""
    with view.store.session() as session:
        piece = session.get_one(Piece, piece_id)
        place = forms.chosen_place(session, typed.get("place"), "to")
        book.move_piece(session, piece, place, forms.day_typed(typed.get("at"), place.zone, "from"))
        return Act(
            f"{piece.name} stands at {place.name}.", address("piece", piece_id), ("piece move", piece_id)
        )


def measure(piece_id: int, typed: dict[str, Any], view: View) -> Act:
    """Something on the piece was measured."""
    what, _, number = str(typed.get("what") or "").partition(":")
    how = str(typed.get("how") or "")
    with view.store.session() as session:
        piece = session.get_one(Piece, piece_id)
        fit: Fit | None = None
        member: Member | None = None
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
        at = max(forms.day_typed(typed.get("at"), zone, "on"), member.start_at)
        if what == "mc":
            value = forms.number_typed(typed.get("value"), "measured")
            row = measured.record_measurement(session, member, "mc_pct", value, at, how=how)
            said = f"{say.said(member.name).capitalize()} at {say.mc(value)} is recorded."
        else:
            value = forms.length_typed(typed.get("value"), view.units, "measured")
            quantity = "gap_mm" if what == "gap" else "width_mm"
            row = measured.record_measurement(session, member, quantity, value, at, fit=fit, how=how)
            where = say.said(fit.name if fit else member.name)
            said = f"{view.display.length(value, finest=64)} at {where} is recorded."
        return Act(said, address("piece", piece_id), ("measurement", row.id))


def restore(piece_id: int, _typed: dict[str, Any], view: View) -> Act:
    """An archived piece is followed again, as if it had never been archived."""
    with view.store.session() as session:
        piece = session.get_one(Piece, piece_id)
        book.restore(session, piece)
        return Act(f"{piece.name} is followed again.", address("piece", piece_id))


def retire(piece_id: int, _typed: dict[str, Any], view: View) -> Act:
    """The piece is archived: its past is kept, and it is followed no more."""
    with view.store.session() as session:
        piece = session.get_one(Piece, piece_id)
        book.retire(session, piece, view.now)
        return Act(f"{piece.name} is archived.", "/pieces", ("piece retired", piece_id))


def _undo_move(view: View, piece_id: int) -> str:
    with view.store.session() as session:
        piece = session.get_one(Piece, piece_id)
        return f"{piece.name} stands at {book.undo_move(session, piece).name} again."


def _undo_retire(view: View, piece_id: int) -> str:
    with view.store.session() as session:
        piece = session.get_one(Piece, piece_id)
        book.restore(session, piece)
        return f"{piece.name} is followed again."


UNDO = {"piece move": _undo_move, "piece retired": _undo_retire}
ROUTES = [
    Route("/piece/<piece_id>/measure", measure_layout, live=False),
    Route("/piece/<piece_id>/move", move_layout, live=False),
]
