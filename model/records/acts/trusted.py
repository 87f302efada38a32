"""Whether a sensor is believed: doubts, their undoing, and salt checks.

Nothing here changes a value that was sent. Whatever changes which readings count, and how, marks their
hours in the same unit of work, so that the air and the wood are computed again from there.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from math import hypot

from sqlalchemy import select
from sqlalchemy.orm import Session

from model.records.acts.invalidation import aware, mark_hours, note_change
from model.records.schema.tables import Correction, Doubt, Sensor
from model.wood.air.salts import (
    HumidityCorrection,
    find_salt,
    one_point_offset,
    salt_humidity,
    two_point_correction,
)
from model.wood.errors import BadInput
from model.wood.reason import Reason
from model.words.reasons import clause

BY_HAND = "by hand"
"""Kind of a doubt that a person raised; no detector touches it."""

EXCLUDING = (
    *("out-of-range", "jump", "stuck", "pegged", "warm", BY_HAND),
    *("leaned", "tare", "creep", "off-scale"),  # of sensors on wood
)
"""Kinds of doubt whose readings are left out of the air, and of what is measured on wood."""
ADVICE = ("silent", "perhaps-stuck", "drift", "self-heated", "clock", "moved")
"""Kinds that say something of a sensor and leave nothing out."""

TRUST = "trust"
"""Name of the tally that counts changes of doubts, and makes those who change them take turns."""

READING_UNCERTAINTY_PCT = 0.5
"""Of a reading that has settled over a salt (common practice, no source)."""
TRUE_UNCERTAINTY_PCT = 1.0
"""Of a humidity told by a trusted instrument (common practice, no source)."""
USUAL_RH_PCT = 45.0
"""Where the one figure of uncertainty that a correction keeps is worked out: the middle of a house's year."""


def take_turn(session: Session) -> None:
    """Hold the count of doubts until the unit of work ends, so that changes of them queue up."""
    note_change(session, TRUST)


# ---------------------------------------------------------------- doubts


def doubt_reason(kept: str) -> Reason:
    """Why a reading is doubted, from what is kept of it: a detector's reason as JSON, or a person's words."""
    return Reason.of(json.loads(kept)) if kept.startswith("{") else Reason("doubt-noted", {"text": kept})


def doubt_span(
    session: Session, sensor: Sensor, since_at: datetime, until_at: datetime | None, reason: str, at: datetime
) -> Doubt:
    """Believe a sensor's readings no more over a span, both ends included, open when it has no end.

    Parameters
    ----------
    reason : str
        What the maker knows: taken down while spraying, a wet cloth on it.
    at : datetime
        Now, by the book's clock.

    Raises
    ------
    BadInput
        For a span that ends before it begins, an empty reason, or a second doubt from the same instant.
    """
    where = f"sensor {sensor.name}"
    since = aware(since_at, where, "since_at")
    until = None if until_at is None else aware(until_at, where, "until_at")
    if until is not None and until < since:
        raise BadInput(where, "until_at", "must not come before since_at", until.isoformat())
    if not reason.strip():
        raise BadInput(where, "reason", "must say why", reason)
    take_turn(session)
    same = select(Doubt.id).where(
        Doubt.sensor_id == sensor.id, Doubt.kind == BY_HAND, Doubt.since_at == since
    )
    if session.scalar(same) is not None:
        raise BadInput(where, "since_at", "must differ from a doubt already on record", since.isoformat())
    note_change(session)
    doubt = Doubt(
        sensor_id=sensor.id,
        kind=BY_HAND,
        since_at=since,
        until_at=until,
        reason=reason.strip(),
        raised_at=aware(at, where, "at"),
    )
    session.add(doubt)
    session.flush()
    mark_hours(session, [sensor.id], since, until)
    return doubt


def undo_doubt(session: Session, doubt: Doubt, at: datetime) -> None:
    """Believe the readings after all; the doubt stays on record as undone, and isn't raised again there."""
    if doubt.undone_at is not None:
        return
    take_turn(session)
    note_change(session)
    doubt.undone_at = aware(at, "doubt", "at")
    session.flush()
    mark_hours(session, [doubt.sensor_id], doubt.since_at, doubt.until_at)


# ---------------------------------------------------------------- salt checks


@dataclass(frozen=True)
class SaltPoint:
    """What a sensor showed over a salt when it had settled.

    Attributes
    ----------
    salt : str or float
        Name or formula of a salt, or the humidity [%] that a trusted instrument beside it showed.
    temperature_c : float
        Of salt and sensor [°C]; not used with a humidity.
    read_rh_pct : float
        As the sensor sent it, without an earlier correction [%].
    """

    salt: str | float
    temperature_c: float
    read_rh_pct: float

    @property
    def true_rh_pct(self) -> float:
        if isinstance(self.salt, str):
            return salt_humidity(self.salt, self.temperature_c)
        return float(self.salt)

    @property
    def uncertainty_pct(self) -> float:
        """Of the point, salt and reading together [%]."""
        true = find_salt(self.salt).uncertainty_pct if isinstance(self.salt, str) else TRUE_UNCERTAINTY_PCT
        return hypot(true, READING_UNCERTAINTY_PCT)


def salt_correction(points: Sequence[SaltPoint]) -> HumidityCorrection:
    """What a salt check says, before anything is changed: one point shifts, two give a slope as well.

    Raises
    ------
    BadInput
        For no point or more than two, an unknown salt, a humidity out of range, or two points too near.
    """
    if not 1 <= len(points) <= 2:
        raise BadInput("salt check", "points", "must be one or two", len(points))
    ordered = sorted(points, key=lambda point: point.true_rh_pct)
    pairs = [(point.read_rh_pct, point.true_rh_pct) for point in ordered]
    if len(points) == 1:
        return one_point_offset(*pairs[0], uncertainty_pct=ordered[0].uncertainty_pct)
    return two_point_correction(pairs[0], pairs[1], (ordered[0].uncertainty_pct, ordered[1].uncertainty_pct))


def salt_check(
    session: Session,
    sensor: Sensor,
    points: Sequence[SaltPoint],
    at: datetime,
    made_at: datetime | None = None,
) -> Correction:
    """Correct a sensor's humidity from an instant on by what it showed over salts.

    Readings before that instant keep the correction they had: the past is not rewritten silently. A second
    check from the same instant takes the place of the first.

    Parameters
    ----------
    at : datetime
        From when it holds.
    made_at : datetime, optional
        Now, by the book's clock; `at` when it is not given.

    Returns
    -------
    Correction
        Its `evidence` holds the points, `sound` and the sentence `says`, which may advise a new sensor.

    Raises
    ------
    BadInput
        As `salt_correction`, and when the sensor is too far gone to be corrected.
    """
    where = f"sensor {sensor.name}"
    since = aware(at, where, "at")
    fix = salt_correction(points)
    if not fix.accepted:
        rule = f"can't be used: {clause(fix.reason)}"
        raise BadInput(where, "salt check", rule, [p.read_rh_pct for p in points])
    take_turn(session)
    note_change(session)
    correction = session.scalar(
        select(Correction).where(Correction.sensor_id == sensor.id, Correction.since_at == since)
    )
    if correction is None:
        correction = Correction(sensor_id=sensor.id, since_at=since)
        session.add(correction)
    correction.intercept_pct = fix.intercept_pct
    correction.slope = fix.slope
    correction.uncertainty_pct = fix.uncertainty(USUAL_RH_PCT)
    correction.evidence = {
        "points": [
            {
                "salt": point.salt,
                "temperature_c": point.temperature_c,
                "read_rh_pct": point.read_rh_pct,
                "true_rh_pct": point.true_rh_pct,
                "uncertainty_pct": point.uncertainty_pct,
            }
            for point in points
        ],
        "sound": fix.sound,
        "says": clause(fix.reason),
    }
    correction.made_at = since if made_at is None else aware(made_at, where, "made_at")
    correction.undone_at = None
    session.flush()
    mark_correction(session, sensor.id, since)
    return correction


def mark_correction(session: Session, sensor_id: int, since_at: datetime) -> None:
    """Mark the hours in which a correction from an instant on holds, up to the next one."""
    following = session.scalar(
        select(Correction.since_at)
        .where(
            Correction.sensor_id == sensor_id,
            Correction.since_at > since_at,
            Correction.undone_at.is_(None),
        )
        .order_by(Correction.since_at)
        .limit(1)
    )
    mark_hours(session, [sensor_id], since_at, following)
