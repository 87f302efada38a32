"""The record of fact of a piece: how it was built, the air it stood in, what was foretold and what was said.

Made to turn a dispute into a conversation: everything dated, nothing judged. As one JSON document and as
plain text.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from model.answers.validation import Agreement, Compared, agreement
from model.records.acts.book import load_piece
from model.records.acts.clients import piece_table_of
from model.records.queries import series
from model.records.schema.tables import (
    FitRow,
    Measurement,
    Notice,
    Outlook,
    PieceRow,
    Place,
    Stay,
    Verdict,
    Warning,
)
from model.wood.air.sorption import equilibrium_moisture_content
from model.wood.errors import BadInput
from model.words.display import Display, plain
from model.words.limits import checked
from model.words.reasons import METRIC, in_sentences

HOUR = timedelta(hours=1)


def _said(row: Warning | Verdict, display: Display) -> str:
    return plain(in_sentences(row.reason, display))


def record_of_fact(
    session: Session, piece_id: int, now: datetime, display: Display = METRIC
) -> dict[str, Any]:
    """Everything on record about a piece, as one document fit for JSON: instants as ISO 8601 in UTC.

    Returns
    -------
    dict
        ``piece, made_at, built`` (its document), ``design_range, moisture_at_start, stands`` (with the air of
        each place while it stood there: hours measured, bridged and missing, hours below and above its
        range), ``wood`` (driest and wettest of each member), ``measurements, predictions, foretold, advice``.

    Raises
    ------
    BadInput
        If there is no such piece or its record can't be read.
    """
    row = session.get(PieceRow, piece_id)
    if row is None:
        raise BadInput("", "piece", "must be one that is recorded", piece_id)
    piece = load_piece(session, row)
    design = checked(piece)
    window = (design["mc_low_pct"], design["mc_high_pct"])
    warnings = _warnings(session, row, now)
    compared = agreement(session, now, piece_id)
    return {
        "piece": piece.name,
        "made_at": _iso(now),
        "recorded_at": _iso(row.recorded_at),
        "built": {
            "piece": piece_table_of(row),
            "part": {member.name: member.document for member in sorted(row.members, key=lambda m: m.id)},
            "fit": {fit.name: fit.document for fit in sorted(row.fits, key=lambda f: f.id)},
        },
        "design_range": {
            key: design[key]
            for key in (
                "mc_low_pct",
                "mc_high_pct",
                "rh_low_pct",
                "rh_high_pct",
                "comfort_rh_low_pct",
                "comfort_rh_high_pct",
                "comfort_reason",
                "temperature_c",
                "governing",
            )
        },
        "moisture_at_start": {
            member.name: {
                "at": _iso(member.start_at),
                "mc_pct": member.start_mc_pct,
                "basis": member.start_basis,
            }
            for member in row.members
        },
        "stands": [
            _stand(session, stay, place, window, now)
            for stay, place in session.execute(
                select(Stay, Place).join(Place).where(Stay.piece_id == piece_id).order_by(Stay.since_at)
            )
        ],
        "wood": {member.name: _ends(session, member.id, now) for member in row.members},
        "measurements": [_measured(one) for one in _measurements(session, row, now)],
        "predictions": {
            "warnings": [_warning(warning, names, display) for warning, names in warnings],
            "standing_now": _standing(session, row, display),
            "year_ahead": _year_ahead(session, row),
        },
        "foretold": agreement_document(compared),
        "advice": _advice(session, warnings, display),
    }


def agreement_document(found: Agreement) -> dict[str, Any]:
    """What was foretold against what was measured, as JSON."""
    return {
        "compared": [_compared(one) for one in found.compared],
        "by_piece": {name: [vars(spread) for spread in own] for name, own in found.by_piece.items()},
        "overall": [vars(spread) for spread in found.overall],
        "coverage": vars(found.coverage),
        "coverage_by_piece": {name: vars(found.of_piece(name).coverage) for name in found.by_piece},
    }


def _compared(one: Compared) -> dict[str, Any]:
    low, high = one.band or (None, None)
    return {
        **vars(one),
        "at": _iso(one.at),
        "known_at": _iso(one.known_at),
        "error": one.error,
        "band_low": low,
        "band_high": high,
        "is_within": one.is_within,
        "is_letter": one.is_letter,
    }


def _iso(at: datetime | None) -> str | None:
    return None if at is None else at.strftime("%Y-%m-%dT%H:%M:%SZ")


# ---------------------------------------------------------------- the air


def _stand(
    session: Session, stay: Stay, place: Place, window: tuple[float | None, float | None], now: datetime
) -> dict[str, Any]:
    """The air of a place while a piece stood there, counted against the piece's range."""
    until = min(stay.until_at or now, now)
    air = series.air(session, place.id, stay.since_at, until - HOUR)
    hours = max(round((until - stay.since_at) / HOUR), 0)
    found: dict[str, Any] = {
        "place": place.name,
        "since_at": _iso(stay.since_at),
        "until_at": _iso(stay.until_at),
        "hours": hours,
        "hours_measured": int((~air.estimated).sum()),
        "hours_bridged": int(air.estimated.sum()),
        "hours_missing": max(hours - len(air.at), 0),
    }
    if len(air.at) == 0:
        return found
    emc = np.asarray(equilibrium_moisture_content(np.clip(air.temperature_c, -1.0, 55.0), air.rh_pct))
    low, high = window
    days = air.at.astype("datetime64[D]").astype(np.int64)
    count = np.bincount(days - days[0])
    daily = np.bincount(days - days[0], weights=air.rh_pct) / np.maximum(count, 1)
    # Half a day is not a day: its mean says when it was measured more than what the day was.
    whole = np.where(count >= 12, daily, np.nan)
    known = np.isfinite(whole).any()
    first = np.datetime64(int(days[0]), "D")
    return found | {
        "hours_below_range": 0 if low is None else int((emc < low).sum()),
        "hours_above_range": 0 if high is None else int((emc > high).sum()),
        "mean_temperature_c": float(air.temperature_c.mean()),
        "mean_rh_pct": float(air.rh_pct.mean()),
        "mean_emc_pct": float(np.nanmean(emc)),
        "driest_day": str(first + int(np.nanargmin(whole))) if known else None,
        "driest_day_rh_pct": float(np.nanmin(whole)) if known else None,
        "dampest_day": str(first + int(np.nanargmax(whole))) if known else None,
        "dampest_day_rh_pct": float(np.nanmax(whole)) if known else None,
    }


def _ends(session: Session, body_id: int, now: datetime) -> dict[str, Any] | None:
    """The driest and the wettest that a member was, of its daily checkpoints."""
    since = series.first_checkpoint_at(session, body_id)
    if since is None:
        return None
    tide = series.tide(session, body_id, since, now)
    found = {}
    for end, at in (
        ("driest", int(np.argmin(tide.mc_mean_pct))),
        ("wettest", int(np.argmax(tide.mc_mean_pct))),
    ):
        width = float(tide.width_mm[at])
        found[end] = {
            "at": f"{tide.at[at].astype('datetime64[s]')}Z",
            "mc_mean_pct": float(tide.mc_mean_pct[at]),
            "width_mm": width if np.isfinite(width) else None,
            "estimated": bool(tide.estimated[at]),
        }
    return found


# ---------------------------------------------------------------- measured, foretold, said


def _measurements(session: Session, row: PieceRow, now: datetime) -> Iterable[Measurement]:
    return session.scalars(
        select(Measurement)
        .where(Measurement.body_id.in_([member.id for member in row.members]), Measurement.at <= now)
        .order_by(Measurement.at, Measurement.id)
    )


def _measured(one: Measurement) -> dict[str, Any]:
    return {
        "at": _iso(one.at),
        "quantity": one.quantity,
        "value": one.value,
        "uncertainty": one.uncertainty,
        "how": one.how,
        "undone_at": _iso(one.undone_at),
    }


def _warnings(session: Session, row: PieceRow, now: datetime) -> list[tuple[Warning, dict[int, str]]]:
    names = {fit.id: fit.name for fit in row.fits}
    found = session.scalars(
        select(Warning)
        .where(
            ((Warning.subject_kind == "fit") & Warning.subject_id.in_(list(names)))
            | ((Warning.subject_kind == "piece") & (Warning.subject_id == row.id)),
            Warning.opened_at <= now,
        )
        .order_by(Warning.opened_at, Warning.id)
    )
    return [(warning, names) for warning in found]


def _warning(warning: Warning, names: dict[int, str], display: Display) -> dict[str, Any]:
    return {
        "opened_at": _iso(warning.opened_at),
        "fit": names.get(warning.subject_id) if warning.subject_kind == "fit" else None,
        "limit": warning.limit_name or None,
        "tier": warning.tier,
        "from": warning.from_verdict,
        "to": warning.to_verdict,
        "reason": _said(warning, display),
        "reason_key": warning.reason.key,
        "escalated_at": _iso(warning.escalated_at),
        "closed_at": _iso(warning.closed_at),
    }


def _standing(session: Session, row: PieceRow, display: Display) -> list[dict[str, Any]]:
    """How each fit stands as last evaluated, with what its outlook foresaw."""
    found = []
    for fit in session.scalars(select(FitRow).where(FitRow.piece_id == row.id).order_by(FitRow.id)):
        verdict = session.get(Verdict, ("fit", fit.id))
        if verdict is not None:
            found.append(
                {
                    "fit": fit.name,
                    "evaluated_at": _iso(verdict.evaluated_at),
                    "verdict": verdict.verdict,
                    "since_at": _iso(verdict.since_at),
                    "reason": _said(verdict, display),
                    "reason_key": verdict.reason.key,
                    "crossing": verdict.detail.get("crossing"),
                }
            )
    return found


def _year_ahead(session: Session, row: PieceRow) -> list[dict[str, Any]]:
    """What the last outlook said of each limit in the coming year, the likeliest first."""
    names = {fit.id: fit.name for fit in row.fits}
    found = [
        {
            "made_at": _iso(outlook.at),
            "fit": names[outlook.subject_id],
            "limit": outlook.quantity,
            **{key: outlook.detail.get(key) for key in ("severity", "seen", "chance", "crossing", "lever")},
        }
        for outlook in session.scalars(
            select(Outlook).where(Outlook.piece_id == row.id, Outlook.subject_kind == "fit")
        )
        if outlook.subject_id in names
    ]
    return sorted(found, key=lambda one: (-(one["chance"] or 0.0), one["fit"], one["limit"]))


def _advice(
    session: Session, warnings: list[tuple[Warning, dict[int, str]]], display: Display
) -> list[dict[str, Any]]:
    """What was sent and what was done about each warning, first to last."""
    said: list[dict[str, Any]] = []
    for warning, names in warnings:
        about = names.get(warning.subject_id) if warning.subject_kind == "fit" else None
        if warning.acknowledged_at is not None:
            said.append(
                {
                    "at": _iso(warning.acknowledged_at),
                    "act": warning.trade_act,
                    "fit": about,
                    "of": _said(warning, display),
                }
            )
        for notice in session.scalars(select(Notice).where(Notice.warning_id == warning.id)):
            if notice.sent_at is not None:
                # Addresses hold keys and numbers that have no place in a paper for others.
                said.append(
                    {
                        "at": _iso(notice.sent_at),
                        "act": "notice sent",
                        "fit": about,
                        "of": _said(warning, display),
                    }
                )
    return sorted(said, key=lambda one: one["at"] or "")
