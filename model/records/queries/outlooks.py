"""The coming year of a piece as the watch stored it, month by month."""

from typing import Any

import numpy as np
from sqlalchemy import select

from model.records.queries.series import YearSpread
from model.records.schema.tables import FitRow, MemberRow, Outlook, PieceRow
from model.records.store import Store
from model.wood.errors import BadInput

NAMES = ("p10", "p50", "p90")
DIGITS = 4
UNHEARD = "must stand at a place that has been heard of lately, and be evaluated once (watch --once)"


def outlook_document(store: Store, piece: str) -> dict[str, Any]:
    """The coming year of a piece as one JSON document.

    Returns
    -------
    dict
        ``piece, at, years, known_from, climate_known, seen_share``; ``months``: for each the mean p10, p50
        and p90 of each member's ``width_mm`` and ``mc_pct``, of each margin ``margin_mm``, and of the room's
        ``rh_pct``; ``limits``: of each its ``chance`` in the year, ``crossing``, ``lever``, ``if_it_stays``.

    Raises
    ------
    BadInput
        If there is no such piece, or nothing is known of it yet.
    """
    with store.session() as session:
        found = session.scalar(select(PieceRow).where(PieceRow.name == piece))
        if found is None:
            names = ", ".join(session.scalars(select(PieceRow.name).order_by(PieceRow.name)))
            raise BadInput("outlook", "piece", f"must be one on the book ({names or 'there is none'})", piece)
        rows = list(session.scalars(select(Outlook).where(Outlook.piece_id == found.id)))
        members = {row.id: row.name for row in session.execute(select(MemberRow.id, MemberRow.name))}
        fits = {row.id: row.name for row in session.execute(select(FitRow.id, FitRow.name))}
        session.expunge_all()
    air = next((row for row in rows if row.quantity == "rh_pct"), None)
    if air is None:
        raise BadInput("outlook", "piece", UNHEARD, piece)
    months: dict[str, dict[str, Any]] = {}
    limits = []
    for row in sorted(rows, key=lambda row: (row.subject_kind, row.subject_id, row.quantity)):
        for month, mean in _by_month(YearSpread.of(row)).items():
            entry = months.setdefault(month, {"month": month, "air": {}, "members": {}, "fits": {}})
            if row.subject_kind == "piece":
                entry["air"][row.quantity] = mean
            elif row.subject_kind == "member":
                entry["members"].setdefault(members[row.subject_id], {})[row.quantity] = mean
            else:
                of_fit = entry["fits"].setdefault(fits[row.subject_id], {})
                of_fit[row.quantity] = {"margin_mm": mean}
        if row.subject_kind == "fit":
            limits.append({"fit": fits[row.subject_id], "limit": row.quantity, **row.detail})
    return {
        "piece": piece,
        "at": air.at.isoformat(),
        **{key: air.detail[key] for key in ("years", "known_from", "climate_known", "seen_share")},
        "next": air.detail.get("next"),
        "months": [months[month] for month in sorted(months)],
        "limits": limits,
    }


def _by_month(spread: YearSpread) -> dict[str, dict[str, float]]:
    """The mean of each percentile in each month; the value at the end of a day belongs to that day."""
    month = (spread.at - np.timedelta64(12, "h")).astype("datetime64[M]")
    return {
        str(name): {
            quantile: round(float(getattr(spread, quantile)[month == name].mean()), DIGITS)
            for quantile in NAMES
        }
        for name in np.unique(month)
    }
