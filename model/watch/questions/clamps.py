"""Clamps on, clamps off: while a glue-up is open its air is watched reading by reading.

When a place leaves the adhesive's range for a quarter of an hour, a warning of the tier "now" opens; it
closes when the air is back or the clamps come off. What opens follows from the readings and the book alone:
looking again, or looking late, gives the same warnings.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from model.answers.adhesives import Adhesive, adhesive_from_document
from model.records.acts.built_on import refuse_if_built_on
from model.records.acts.recorded_rows import RowChange
from model.records.acts.revisions import restore, way_back
from model.records.bulk import Bulk
from model.records.schema.tables import GlueUp, Place, Revision
from model.records.schema.types import to_epoch_ms
from model.records.store import Store
from model.watch.air.air_hours import HOUR_MS, Trust, read_trust, trusted_readings
from model.watch.run import watch_sql as ledger
from model.watch.state.hysteresis import EASY, PAST, STANDINGS
from model.watch.tell.warnings import Episode, read_stored, reconcile, write_changes
from model.wood.errors import BadInput

Floats = NDArray[np.float64]

OFF = "end of a glue-up"
"""What an act is called that takes the clamps off."""
OUT_FOR_MS = 15 * 60_000
"""How long the air has to be out of the adhesive's range before anybody is called (common practice)."""
SILENT_MS = 60 * 60_000
"""Readings further apart than this say nothing of what was between them."""
LONGEST = timedelta(days=10)
"""Clamps that nobody took off the record in so long are off."""
LATE = timedelta(days=2)
"""For how long after the clamps came off late readings are still looked at."""


@dataclass(frozen=True)
class Leaving:
    """The air out of the adhesive's range: when that was certain, until when, and how."""

    opened_ms: int
    closed_ms: int | None
    key: str
    temperature_c: float
    rh_pct: float


def clamps_on(session: Session, place: Place, adhesive: Adhesive, at: datetime, note: str = "") -> GlueUp:
    """Declare a glue-up open: its air is watched from now on.

    Raises
    ------
    BadInput
        If one is open there already: take its clamps off first.
    """
    if open_glue_up(session, place, at) is not None:
        raise BadInput(f"place {place.name}", "clamps", "must be off before others go on", "on")
    glue_up = GlueUp(place_id=place.id, clamps_on_at=at, adhesive=adhesive.document(), note=note.strip())
    session.add(glue_up)
    session.flush()
    return glue_up


def clamps_off(session: Session, place: Place, at: datetime) -> GlueUp:
    """The clamps are off: the air is watched no more.

    Raises
    ------
    BadInput
        If none are on.
    """
    glue_up = open_glue_up(session, place, at)
    if glue_up is None:
        raise BadInput(f"place {place.name}", "clamps", "must be on to come off", "off")
    glue_up.clamps_off_at = max(at, glue_up.clamps_on_at + timedelta(seconds=1))
    session.flush()
    return glue_up


@way_back(OFF)
def _on_again(session: Session, revision: Revision, changes: Sequence[RowChange], at: datetime) -> None:
    """Take back that the clamps came off; not where others have gone on since: a place has one glue-up."""
    refuse_if_built_on(session, changes, revision.act)
    for change in changes:
        place = session.get_one(Place, session.get_one(GlueUp, change.key).place_id)
        if open_glue_up(session, place, at) is not None:
            raise BadInput(f"place {place.name}", "clamps", "must be off before others go on", "on")
    restore(session, changes, revision.act, at)


def open_glue_up(session: Session, place: Place, at: datetime) -> GlueUp | None:
    """The glue-up whose clamps are on at a place; None where there is none."""
    return session.scalar(
        select(GlueUp)
        .where(
            GlueUp.place_id == place.id, GlueUp.clamps_off_at.is_(None), GlueUp.clamps_on_at > at - LONGEST
        )
        .order_by(GlueUp.clamps_on_at.desc())
    )


def watch_clamps(store: Store, now: datetime) -> int:
    """Open and close the warnings of open glue-ups; returns how many changed.

    Costs one small read while no clamps are on.
    """
    with store.session() as session:
        found = session.execute(
            select(GlueUp, Place.name)
            .join(Place, Place.id == GlueUp.place_id)
            .where(
                GlueUp.clamps_on_at > now - LONGEST - LATE,
                or_(GlueUp.clamps_off_at.is_(None), GlueUp.clamps_off_at > now - LATE),
            )
        ).all()
        if not found:
            return 0
        session.expunge_all()
    with ledger.reading(store) as bulk:
        trust = read_trust(bulk)
        leavings = {
            glue_up.id: leavings_of(bulk, trust, glue_up, min(now, glue_up.clamps_on_at + LONGEST))
            for glue_up, _ in found
        }
        stored = read_stored(bulk, "place", 0)
    changes = []
    for glue_up, place in found:
        own = [one for one in stored.get(glue_up.place_id, []) if one.episode.limit_name == _name(glue_up)]
        changes.append(reconcile(own, [_episode(glue_up, place, one) for one in leavings[glue_up.id]]))
    changed = sum(map(len, changes))
    if changed:
        with store.engine.begin() as connection:
            write_changes(Bulk(connection), changes)
    return changed


def leavings_of(bulk: Bulk, trust: Trust, glue_up: GlueUp, now: datetime) -> list[Leaving]:
    """When the air of a glue-up was out of its adhesive's range, by any sensor of its place."""
    adhesive = adhesive_from_document(glue_up.adhesive)
    since = to_epoch_ms(glue_up.clamps_on_at)
    until = to_epoch_ms(min(glue_up.clamps_off_at or now, now))
    found: list[Leaving] = []
    for hung in trust.hangings:
        low, high = max(since, hung.since_ms), min(until, hung.until_ms)
        if hung.place_id != glue_up.place_id or low >= high:
            continue
        at, temperature_c, rh_pct = trusted_readings(
            bulk, trust, hung.sensor_id, low // HOUR_MS, high // HOUR_MS + 1
        )
        inside = (at >= low) & (at <= high)
        found += _leavings(at[inside], temperature_c[inside], rh_pct[inside], adhesive)
    ended = until if glue_up.clamps_off_at is not None else None
    return _united(found, ended)


def _leavings(
    at: NDArray[np.float64],
    temperature_c: NDArray[np.float64],
    rh_pct: NDArray[np.float64],
    adhesive: Adhesive,
) -> Iterable[Leaving]:
    """Stretches of one sensor's readings out of range for long enough."""
    run: list[int] = []
    for k in range(len(at) + 1):
        out = k < len(at) and _out(float(temperature_c[k]), float(rh_pct[k]), adhesive) is not None
        if out and (not run or at[k] - at[run[-1]] <= SILENT_MS):
            run.append(k)
            continue
        certain = next((j for j in run if at[j] - at[run[0]] >= OUT_FOR_MS), None)
        if certain is not None:
            key = _out(float(temperature_c[certain]), float(rh_pct[certain]), adhesive)
            assert key is not None
            back = int(at[k]) if k < len(at) else None
            yield Leaving(int(at[certain]), back, key, float(temperature_c[certain]), float(rh_pct[certain]))
        run = [k] if out else []


def _out(temperature_c: float, rh_pct: float, adhesive: Adhesive) -> str | None:
    if temperature_c < adhesive.least_c:
        return "too-cold"
    if temperature_c > adhesive.most_c:
        return "too-warm"
    if adhesive.most_rh_pct is not None and rh_pct > adhesive.most_rh_pct:
        return "too-damp"
    return None


def _united(found: Sequence[Leaving], ended_ms: int | None) -> list[Leaving]:
    """Stretches of several sensors as one after another; all end when the clamps come off."""
    result: list[Leaving] = []
    for one in sorted(found, key=lambda one: (one.opened_ms, one.closed_ms or 1 << 62)):
        closed = one.closed_ms if one.closed_ms is not None else ended_ms
        last = result[-1] if result else None
        if last is not None and (last.closed_ms is None or one.opened_ms <= last.closed_ms):
            both = None if last.closed_ms is None or closed is None else max(last.closed_ms, closed)
            result[-1] = Leaving(last.opened_ms, both, last.key, last.temperature_c, last.rh_pct)
        else:
            result.append(Leaving(one.opened_ms, closed, one.key, one.temperature_c, one.rh_pct))
    return result


def _name(glue_up: GlueUp) -> str:
    """What its warnings go by, beside those of its place."""
    return f"glue-up {glue_up.id}"


def _episode(glue_up: GlueUp, place: str, leaving: Leaving) -> Episode:
    detail = {
        "key": leaving.key, "place": place, "adhesive": glue_up.adhesive, "glue": glue_up.adhesive["name"],
        "temperature_c": leaving.temperature_c, "rh_pct": leaving.rh_pct,
    }  # fmt: skip
    return Episode(
        "place", glue_up.place_id, _name(glue_up), "now", STANDINGS[EASY], STANDINGS[PAST], detail,
        leaving.opened_ms, closed_ms=leaving.closed_ms,
    )  # fmt: skip
