"""What the book computed through time, as arrays: a member's tide, a limit's margins, a place's air.

Instants come as numpy `datetime64[ms]` in UTC, because charts and solvers both count on arrays; the columns
beside them are float64 with NaN where there is nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from model.records.bulk import Bulk
from model.records.schema.tables import AirHour, Checkpoint, Outlook
from model.records.schema.types import to_epoch_ms


@dataclass(frozen=True)
class Tide:
    """A body's moisture through time at its checkpoints; all arrays of one length."""

    at: np.ndarray
    mc_mean_pct: np.ndarray
    mc_face_pct: np.ndarray
    mc_core_pct: np.ndarray
    width_mm: np.ndarray
    estimated: np.ndarray  # bool: the air that led here was bridged, not measured


@dataclass(frozen=True)
class AirSeries:
    """A place's air by the hour."""

    at: np.ndarray
    temperature_c: np.ndarray
    rh_pct: np.ndarray
    estimated: np.ndarray  # bool
    step_ms: int = 3_600_000  # as far neighbours lie apart where nothing is missing


def tide(session: Session, body_id: int, since_at: datetime, until_at: datetime) -> Tide:
    """A body's checkpoints from `since_at` up to and including `until_at`, in order."""
    rows = session.execute(
        select(
            Checkpoint.at,
            Checkpoint.mc_mean_pct,
            Checkpoint.mc_face_pct,
            Checkpoint.mc_core_pct,
            Checkpoint.width_mm,
            Checkpoint.estimated_hours,
        )
        .where(Checkpoint.body_id == body_id, Checkpoint.at >= since_at, Checkpoint.at <= until_at)
        .order_by(Checkpoint.at)
    ).all()
    return Tide(
        _instants([row.at for row in rows]),
        _column([row.mc_mean_pct for row in rows]),
        _column([row.mc_face_pct for row in rows]),
        _column([row.mc_core_pct for row in rows]),
        _column([row.width_mm for row in rows]),
        np.array([row.estimated_hours > 0 for row in rows], dtype=bool),
    )


def first_checkpoint_at(session: Session, body_id: int) -> datetime | None:
    """When a body's moisture begins to be known."""
    return session.scalar(select(func.min(Checkpoint.at)).where(Checkpoint.body_id == body_id))


@dataclass(frozen=True)
class YearSpread:
    """One quantity of the coming year: its 10th, 50th and 90th percentile at the end of each day."""

    at: np.ndarray
    p10: np.ndarray
    p50: np.ndarray
    p90: np.ndarray
    detail: dict[str, Any]

    @classmethod
    def of(cls, row: Outlook) -> "YearSpread":
        """A row of `outlook` read."""
        p10, p50, p90 = (
            np.frombuffer(raw, dtype="<f4").astype(np.float64) for raw in (row.p10, row.p50, row.p90)
        )
        days = np.arange(1, len(p50) + 1).astype("timedelta64[D]")
        return cls(np.datetime64(to_epoch_ms(row.at), "ms") + days, p10, p50, p90, dict(row.detail))


def outlook(session: Session, kind: str, number: int, quantity: str) -> YearSpread | None:
    """What is expected of a member, a fit's limit or a piece's air; none where no outlook was made.

    Parameters
    ----------
    kind : str
        piece, member or fit.
    quantity : str
        `mc_pct` or `width_mm` of a member, a limit's name of a fit, `rh_pct` or `temperature_c` of a piece.
    """
    row = session.get(Outlook, (kind, number, quantity))
    return None if row is None else YearSpread.of(row)


def limits_ahead(session: Session, fit_ids: Sequence[int]) -> dict[tuple[int, str], dict[str, Any]]:
    """What the coming year is expected to bring at each limit of some fits, by fit and limit name."""
    rows = session.execute(
        select(Outlook.subject_id, Outlook.quantity, Outlook.detail).where(
            Outlook.subject_kind == "fit", Outlook.subject_id.in_(fit_ids)
        )
    )
    return {(row.subject_id, row.quantity): dict(row.detail) for row in rows}


def first_air_at(session: Session, place_id: int) -> datetime | None:
    """When a place's air begins to be known."""
    return session.scalar(select(func.min(AirHour.hour_at)).where(AirHour.place_id == place_id))


def air(session: Session, place_id: int, since_at: datetime, until_at: datetime) -> AirSeries:
    """A place's air hours from `since_at` up to and including `until_at`; hours without air are not there."""
    # Past the typed columns: turning a year of hours into datetimes and back costs ten times the reading.
    bulk = Bulk(session.connection())
    rows = bulk.rows(
        f"SELECT {bulk.instant_of('hour_at')}, temperature_c, rh_pct, basis = 'estimated' FROM air_hour "
        "WHERE place_id = ? AND hour_at >= ? AND hour_at <= ? ORDER BY hour_at",
        (place_id, *(bulk.instant(to_epoch_ms(at)) for at in (since_at, until_at))),
    )
    at, temperature_c, rh_pct, estimated = zip(*rows, strict=True) if rows else ((), (), (), ())
    return AirSeries(
        np.array(at, dtype="datetime64[ms]"),
        np.array(temperature_c, dtype=np.float64),
        np.array(rh_pct, dtype=np.float64),
        np.array(estimated, dtype=bool),
    )


def _instants(instants: list[datetime]) -> np.ndarray:
    return np.array([to_epoch_ms(at) for at in instants], dtype="datetime64[ms]")


def _column(values: list[float | None]) -> np.ndarray:
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)
