"""After the van: hold a piece or deliver it, what a move does to it, and what a garage does."""

from collections.abc import Iterable, Mapping
from typing import Any

from dash import Dash, html
from sqlalchemy.orm import Session

from dashboard.forms import fields as forms
from dashboard.forms.asking import asked_part, leads
from dashboard.forms.declared import Asked, Form
from dashboard.pages.frame import listed, part, prose, sheet
from dashboard.say.marks import verdict_mark
from dashboard.shell.view import Context, Route, View, address
from model.answers.annual_range import HomeYear, given_year, home_year, moisture_now, recorded_air, usual_year
from model.answers.delivery import DeliveryNote, delivery_note
from model.answers.moving import moving_home, storage
from model.records.acts import book
from model.records.queries import overview as queries
from model.records.queries.overview import PieceNow, PlaceNow
from model.records.schema.tables import PieceRow
from model.wood.errors import BadInput
from model.wood.piece import Piece
from model.wood.reason import Reason
from model.words.reasons import in_sentences

FORM = Form(
    "deliver",
    "Check this home",
    (
        Asked("to", "Which home", "choice", what="where to"),
        Asked("low", "Driest humidity there", "number", "%, for a home without a sensor"),
        Asked("high", "Dampest humidity there", "number", "%, for a home without a sensor"),
        Asked("garage", "Stored on the way in", "choice"),
        Asked(
            "days",
            "For how many days",
            "number",
            "empty if it is not stored",
            unit="days",
            what="days in storage",
        ),
    ),
    is_first=True,
)
GIVEN, UNHEATED = "given", "unheated"
MARKS = {
    "deliver": "clear", "hold": "past", "unknown": "unknown", "suits": "clear", "shows": "near",
    "harms": "past",
}  # fmt: skip


def layout(view: View, piece_id: int) -> html.Main | None:
    """The page of a piece and where it may go; none when there is no such piece."""
    with view.store.session() as session:
        piece = queries.piece(session, piece_id, view.now)
        if piece is None:
            return None
        places = queries.places(session, view.now)
        back = html.A(piece.name, href=address("piece", piece_id))
        form = form_part(piece, places, view)
        to = view.query.get("to", "")
        try:
            wood = book.load_piece(session, session.get_one(PieceRow, piece_id))
            now_pct = moisture_now(session, piece_id, view.now)
            if not to:
                return sheet(
                    f"Where may {piece.name} go?",
                    form,
                    storage_part(wood, now_pct, piece, session, view),
                    dateline=back,
                    lead="Choose the home before you load the van. The piece is followed through the air "
                    "recorded there, from the moisture it holds now.",
                )
            note, place = note_of(wood, now_pct, to, session, view)
            move = move_part(wood, now_pct, piece, to, session, view)
            stored = storage_part(wood, now_pct, piece, session, view)
        except BadInput as error:
            form = form_part(piece, places, view, error)
            return sheet(f"Where may {piece.name} go?", forms.problem(error), form, dateline=back)
    if note is None:
        return sheet(f"If {piece.name} moved", move, form, stored, dateline=back)
    return sheet(
        in_sentences(note.headline),
        *note_lines(note, view),
        form,
        move,
        stored,
        dateline=[back, f" to {place}"],
    )


def place_of(text: str, session: Session, view: View) -> PlaceNow:
    """The place an address names."""
    found = queries.places(session, view.now, only=int(text)) if text.isdigit() and len(text) < 10 else ()
    if not found:
        raise BadInput("", "where to", "must be one of the places", text)
    return found[0]


def note_of(
    wood: Piece, now_pct: Mapping[str, float], to: str, session: Session, view: View
) -> tuple[DeliveryNote | None, str]:
    """The note for a recorded place; none where only its humidities are typed in."""
    if to == GIVEN:
        return None, ""
    place = place_of(to, session, view)
    air = recorded_air(session, place.id, view.now)
    return delivery_note(wood, now_pct, air, place.name, view.now), place.name


def note_lines(note: DeliveryNote, view: View) -> list[Any]:
    """Why, the first decides; and how to go about it."""
    mark = verdict_mark("near" if note.year_may_harm and note.answer == "deliver" else MARKS[note.answer])
    first, *others = (in_sentences(reason, view.display) for reason in note.reasons)
    return [
        html.P([mark, " ", *prose(first)], className="lead"),
        *[html.P(prose(line)) for line in others],
        rows(note.advice, view),
    ]


# ---------------------------------------------------------------- moving home


def move_part(
    wood: Piece, now_pct: Mapping[str, float], piece: PieceNow, to: str, session: Session, view: View
) -> html.Section:
    """What the move does once it has settled: before and after, over a whole year."""
    before = year_at(wood, piece.place, session, view)
    if to == GIVEN:
        low, high = (
            forms.number_typed(view.query.get(key), f"{name} humidity there")
            for key, name in (("low", "driest"), ("high", "dampest"))
        )
        after = given_year(wood, low, high, place="the new home")
    else:
        after = year_at(wood, place_of(to, session, view), session, view)
    move = moving_home(wood, now_pct, before, after)
    return part(
        "Once it has settled there",
        html.P([verdict_mark(MARKS[move.answer]), f" {in_sentences(Reason('moved', {'how': move.answer}))}"]),
        rows(move.reasons, view),
        rows(move.advice, view),
    )


def rows(reasons: Iterable[Reason], view: View) -> html.Ul:
    """Reasons, a row each."""
    lines = (in_sentences(reason, view.display) for reason in reasons)
    return listed([html.Li(prose(line)) for line in lines])


def year_at(wood: Piece, place: PlaceNow | None, session: Session, view: View) -> HomeYear:
    """A place's year for this piece, from what is recorded there."""
    if place is None:
        return usual_year(wood)
    return home_year(wood, recorded_air(session, place.id, view.now), place.name)


# ---------------------------------------------------------------- storage


def storage_part(
    wood: Piece, now_pct: Mapping[str, float], piece: PieceNow, session: Session, view: View
) -> html.Section | None:
    """What an unheated garage does, and the return from it; none until asked."""
    days = view.query.get("days", "").strip()
    if not days:
        return None
    garage_at = view.query.get("garage", UNHEATED)
    garage = None
    if garage_at != UNHEATED:
        garage = recorded_air(session, place_of(garage_at, session, view).id, view.now)
    air = piece.place.air if piece.place else None
    home = {} if air is None else {"home_temperature_c": air.temperature_c, "home_rh_pct": air.rh_pct}
    found = storage(wood, now_pct, forms.number_typed(days, "days in storage", "days"), garage=garage, **home)
    return part(
        "If it is stored",
        html.P(
            [
                verdict_mark("past" if found.harmed else "near"),
                " ",
                in_sentences(Reason("storage", {"how": "harmed" if found.harmed else "safe"})),
            ]
        ),
        rows(found.reasons, view),
        rows(found.advice, view),
    )


# ---------------------------------------------------------------- what is asked


def form_part(
    piece: PieceNow, places: tuple[PlaceNow, ...], view: View, error: BadInput | None = None
) -> html.Details:
    """Where to, and for how long."""
    others = [
        (str(place.id), place.name) for place in places if not piece.place or place.id != piece.place.id
    ]
    garages = [(UNHEATED, "an unheated garage, as is usual"), *[(str(p.id), p.name) for p in places]]
    homes = [("", "nowhere yet"), *others, (GIVEN, "another: type its humidity")]
    return asked_part("Where to", FORM, view, options={"to": homes, "garage": garages}, error=error)


def register(app: Dash, context: Context) -> None:
    """What was typed becomes the page's address."""

    def onward(_view: View, path: str, asked: dict[str, str]) -> str:
        if "days" not in asked:
            asked.pop("garage", None)
        return address(*path.strip("/").split("/"), **asked)

    leads(app, context, FORM, onward)


ROUTES = [Route("/piece/<piece_id>/deliver", layout, live=False)]
