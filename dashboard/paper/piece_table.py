"""Every piece with its fits as one table for a spreadsheet: a limit a row, in SI units."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from dashboard.say import piece_words
from model.records.queries import overview as queries
from model.records.queries.overview import PieceNow
from model.words.cells import csv_text
from model.words.times import zone_of

COLUMNS = (
    *("piece", "client", "place", "stands", "fit", "kind", "limit", "direction", "severity", "now"),
    *("margin_mm", "play_mm", "chance_pct", "from_day", "until_day"),
)


def pieces_csv(session: Session, now: datetime) -> str:
    """How every limit of every fit stands, and when the coming year may pass it.

    A piece without fits has a row of its own; what isn't known is an empty cell.
    """
    listed = queries.pieces(session, now, parts=False)
    pieces = (queries.piece(session, one.id, now) for one in listed)
    return csv_text(COLUMNS, (row for piece in pieces if piece is not None for row in _rows(piece, now)))


def _rows(piece: PieceNow, now: datetime) -> Iterator[tuple[Any, ...]]:
    place = piece.place
    zone = zone_of(place.zone if place else "UTC")
    client = piece.document.get("client")
    own = (piece.name, client, place.name if place else None, piece_words.stands(piece, now))
    coming = {(one.fit, one.limit): one for one in piece.next or ()}
    count = 0
    for fit in piece.fits:
        for margin in fit.margins:
            one = coming.get((fit.name, margin.limit_name))
            ahead: tuple[Any, ...] = (None, None, None)
            if one is not None:
                days = (at.astimezone(zone).date().isoformat() for at in (one.from_at, one.until_at))
                ahead = (round(one.chance_pct), *days)
            is_known = fit.judgement.verdict != "unknown"
            count += 1
            yield (
                *own,
                *(fit.name, fit.kind, margin.limit_name, margin.direction, margin.severity),
                margin.standing if is_known else "unknown",
                round(margin.margin_mm, 2) if is_known else None,
                round(margin.play_mm, 2),
                *ahead,
            )
    if not count:
        yield (*own, *[None] * (len(COLUMNS) - len(own)))
