"""What to tell a client of a piece: its comfortable air, the ceiling by season, and the gaps to expect."""

from datetime import datetime
from typing import Any

import numpy as np
from sqlalchemy import select

from model.records import book
from model.records.store import Store
from model.records.tables import Fit, Outlook, Piece, Stay
from model.watch import ledger
from model.watch.humidity import advised_humidity
from model.watch.outlook_run import Series, read_series
from model.watch.plausible_air import COLD_SPELL_C, surroundings_of
from model.watch.roster import PlaceOnBook
from model.wood.design import design_range
from model.wood.errors import BadInput

SEASONS = ("winter", "spring", "summer", "autumn")
ROOM_C = 20.0


def advice(store: Store, piece: str, now: datetime) -> dict[str, Any]:
    """What a client may be told of a piece, as one JSON document.

    Returns
    -------
    dict
        ``piece, place``; ``comfortable`` with ``rh_low_pct`` and ``rh_high_pct`` and which fits govern;
        ``seasons``: of each, the coldest outdoors to reckon with, the highest humidity the house bears, what
        to hold and in words, and of every fit each margin's 10th, 50th and 90th percentile [mm];
        ``climate_known``: whether the outdoor climate of the place was recorded.

    Raises
    ------
    BadInput
        For a piece that isn't on the book.
    """
    with store.session() as session:
        row = session.scalar(select(Piece).where(Piece.name == piece))
        if row is None:
            names = ", ".join(session.scalars(select(Piece.name).order_by(Piece.name))) or "there is none"
            raise BadInput("advice", "piece", f"must be one on the book ({names})", piece)
        wood = book.load_piece(session, row)
        stay = session.scalar(
            select(Stay).where(Stay.piece_id == row.id, Stay.since_at <= now).order_by(Stay.since_at.desc())
        )
        fits = {fit.id: fit.name for fit in session.scalars(select(Fit).where(Fit.piece_id == row.id))}
        keys = session.execute(
            select(Outlook.subject_id, Outlook.quantity).where(
                Outlook.piece_id == row.id, Outlook.subject_kind == "fit"
            )
        ).all()
        series = {
            (fits[subject], quantity): read_series(session, "fit", subject, quantity)
            for subject, quantity in keys
            if subject in fits
        }
        place_id = stay.place_id if stay is not None else None
    with ledger.reading(store) as bulk:
        places = PlaceOnBook.all(bulk)
    place = places[place_id] if place_id is not None else PlaceOnBook(0, "where it stands", "home")
    around = surroundings_of(place)
    span = design_range(wood, ROOM_C).span
    daily = around.outdoor.daily["temperature_c"].to_numpy()
    coldest = daily.argmin()
    seasons = []
    for number, name in enumerate(SEASONS):
        # Winter is the quarter about the coldest day, in either hemisphere.
        rows = (coldest + 91 * number + np.arange(-45, 46)) % 365
        outdoors = float(daily[rows].min()) - COLD_SPELL_C
        told = advised_humidity(span.rh_low_pct, span.rh_high_pct, outdoors, ROOM_C)
        seasons.append(
            {
                "season": name,
                "outdoor_coldest_c": round(outdoors, 1),
                "ceiling_rh_pct": told.ceiling_pct,
                "rh_low_pct": told.rh_low_pct,
                "rh_high_pct": told.rh_high_pct,
                "enough": told.enough,
                "says": told.says,
                "instead": list(told.instead),
                "margins": [
                    {"fit": fit, "limit": limit, "margin_mm": _in_season(one, rows)}
                    for (fit, limit), one in sorted(series.items())
                    if one is not None
                ],
            }
        )
    return {
        "piece": piece,
        "place": place.name,
        "climate_known": around.known,
        "comfortable": {
            "rh_low_pct": None if span.rh_low_pct is None else float(np.ceil(span.rh_low_pct)),
            "rh_high_pct": None if span.rh_high_pct is None else float(np.floor(span.rh_high_pct)),
            "governing": {
                "low": None if span.low is None else {"fit": span.low.fit, "limit": span.low.limit},
                "high": None if span.high is None else {"fit": span.high.fit, "limit": span.high.limit},
            },
        },
        "seasons": seasons,
    }


def _in_season(series: Series, rows: Any) -> dict[str, float]:
    of_year = np.array([at.timetuple().tm_yday - 1 for at in series.days]) % 365
    inside = np.isin(of_year, rows)
    return {
        "p10": round(float(series.p10[inside].mean()), 2),
        "p50": round(float(series.p50[inside].mean()), 2),
        "p90": round(float(series.p90[inside].mean()), 2),
    }
