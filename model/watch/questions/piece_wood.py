"""A recorded piece as the science knows it: its parts and fits, its design range, its comfort, its doubts."""

import json
from datetime import datetime
from functools import lru_cache

from model.answers.doubts import PieceDoubts, fit_doubts, piece_doubts
from model.records.queries.overview import PieceNow
from model.watch.state.humidity import ceiling_ahead
from model.wood.design.comfort import Comfort, comfort_of
from model.wood.design.design_range import DesignRange, design_range
from model.wood.errors import BadInput
from model.wood.piece import Piece, piece_from_document


def wood_piece(piece: PieceNow) -> Piece | None:
    """The piece as the science knows it; none when its record can't be read any more."""
    return _read(_document(piece))


def range_of(piece: PieceNow) -> DesignRange | None:
    """The piece's design range at 20 °C; none when its record can't be read any more."""
    return _range(_document(piece))


def comfort_of_piece(piece: PieceNow, now: datetime) -> Comfort | None:
    """The humidity a piece is comfortable at, for the season where its place's climate is on the book.

    At 20 °C, as its sheet says it: a room's own warmth moves it by a percent or so.
    """
    wood, design = wood_piece(piece), range_of(piece)
    if wood is None or design is None:
        return None
    return comfort_of(wood, design, ceiling_ahead(piece.place.climate, now) if piece.place else None)


def governing_doubt_mm(piece: PieceNow) -> float | None:
    """The ± of what is left where least is left [mm]; None where its record can't be read."""
    wood, why = wood_piece(piece), piece.judgement.detail
    fit = str(why.get("fit"))
    if wood is None or fit not in wood.fits:
        return None
    doubt = fit_doubts(wood, piece, fit).get(str(why.get("limit")))
    return None if doubt is None else doubt.total


def doubts_of(piece: PieceNow) -> PieceDoubts | None:
    """How sure its sizes are now; none when its record can't be read any more."""
    wood = wood_piece(piece)
    return None if wood is None else piece_doubts(wood, piece)


def _document(piece: PieceNow) -> str:
    """The piece's document, put together from its rows."""
    document = {
        "piece": piece.document,
        "part": {member.name: member.document for member in piece.members},
        "fit": {fit.name: fit.document for fit in piece.fits},
    }
    return json.dumps(document, sort_keys=True)


@lru_cache(maxsize=1024)
def _read(document: str) -> Piece | None:
    try:
        return piece_from_document(json.loads(document))
    except BadInput:
        return None


@lru_cache(maxsize=2048)
def _range(document: str) -> DesignRange | None:
    piece = _read(document)
    return None if piece is None else design_range(piece)
