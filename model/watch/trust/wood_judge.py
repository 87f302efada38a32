"""Judges what sensors on wood sent, and makes measurements of it by one rule.

What is doubted and what is measured follow from the readings alone, in whatever order they came. An hour
counts when it is over. The measurements of a sensor are made anew whenever its readings, its doubts or what
binds it change, and only what differs is written: what was computed for the wood from there on is computed
again.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from model.records.acts.measured import QUANTITIES, record_measurement, withdraw_measurements
from model.records.acts.trusted import ADVICE, take_turn
from model.records.bulk import Bulk
from model.records.schema.tables import BodyRow, FitRow, Measurement
from model.records.schema.types import from_epoch_ms, to_epoch_ms
from model.records.store import Store
from model.watch.air.air_hours import FAR_MS
from model.watch.air.gap_fill import HourlyAir
from model.watch.run import watch_sql as ledger
from model.watch.state.roster import Assembly, Roster, SolverMember
from model.watch.trust.findings import DAY_MS, HOUR_MS, OPEN_MS, Finding
from model.watch.trust.judge import apply_change
from model.watch.trust.presence import silences
from model.watch.trust.reading import read_doubts
from model.watch.trust.reconcile import reconcile
from model.watch.trust.series import Floats, Ints
from model.watch.trust.wood_signatures import WOOD_KINDS, WoodSeries, findings_of
from model.wood.air.sorption import equilibrium_moisture_content
from model.wood.errors import BadInput
from model.wood.material.wood_sensor import WoodSensor, hours_said, sensor_on, thinned
from model.wood.moisture.time_constant import time_constant_h

DAY_H = 24
SILENT = "silent"
MIDDLE_MS = HOUR_MS // 2
"""A measurement of an hour is dated to its middle, whichever of its readings came late."""
USUAL_WIDTH_MM = 150.0


@dataclass(frozen=True)
class _Mount:
    """A sensor bound to wood over a span of milliseconds."""

    sensor_id: int
    body_id: int
    fit_id: int | None
    quantity: str
    since_ms: int
    until_ms: int
    terms: str


@dataclass(frozen=True)
class _Sent:
    """Everything one sensor on wood sent, in order."""

    at_ms: Ints
    value: Floats
    wood_c: Floats

    @classmethod
    def of(cls, rows: Sequence[tuple[Any, ...]]) -> "_Sent":
        columns = np.array(rows, dtype=float).reshape(len(rows), 3)
        return cls(columns[:, 0].astype(np.int64), columns[:, 1], columns[:, 2])

    def between(self, since_ms: int, until_ms: int) -> "_Sent":
        a, b = np.searchsorted(self.at_ms, [since_ms, until_ms])
        return _Sent(self.at_ms[a:b], self.value[a:b], self.wood_c[a:b])

    def without_hours(self, hours: Ints) -> "_Sent":
        kept = ~np.isin(self.at_ms // HOUR_MS, hours)
        return _Sent(self.at_ms[kept], self.value[kept], self.wood_c[kept])


@dataclass(frozen=True)
class _Bound:
    """What a mount binds: the sensor on its board, with the board and the air where it stood."""

    mount: _Mount
    sensor: WoodSensor
    owner: Assembly
    body: SolverMember

    def series(self, sent: _Sent) -> WoodSeries:
        own = sent.between(self.mount.since_ms, self.mount.until_ms)
        rough = self.sensor.roughly(own.value)
        if self.sensor.quantity == "mc_pct":
            rough = np.where((rough < -1.0) | (rough > 60.0), np.nan, rough)
        per_point = 1.0
        if self.mount.quantity == "length":
            member = self.body.member
            per_point = max(member.movement.coefficient_per_pct * (member.width_mm or USUAL_WIDTH_MM), 0.05)
        return WoodSeries(
            own.at_ms, own.value, rough, per_point, time_constant_h(self.body.constants),
            self.mount.quantity, self.mount.until_ms,
        )  # fmt: skip


class WoodJudge:
    """Judges sensors on wood again and again; what it keeps between two looks only saves reading it twice."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self.forget()

    def forget(self) -> None:
        self._sent: dict[int, _Sent] = {}
        self._hour: int | None = None

    def judge(self, roster: Roster, airs: Mapping[int, HourlyAir], hour: int, at_ms: int) -> bool:
        """Judge what came up to the last full hour; whether a measurement changed.

        Parameters
        ----------
        hour : int
            Since 1970, the one under way.
        at_ms : int
            Now, by the book's clock.
        """
        with ledger.reading(self._store) as bulk:
            mounts = _read_mounts(bulk)
            marks = ledger.read_marks(bulk, hour - 1, on_wood=True) if mounts else []
            new_hour, self._hour = self._hour != hour, hour
            if not mounts or not (marks or new_hour):
                return False
            touched = {sensor for sensor, _, _ in marks}
            asked = {m.sensor_id for m in mounts} if new_hour else touched
            for sensor_id in sorted(asked):
                self._bring(bulk, sensor_id, [at for sensor, at, _ in marks if sensor == sensor_id])
        bound = _bind(roster, mounts)
        found = {id_: self._findings(bound.get(id_, ()), id_, airs, hour) for id_ in sorted(asked)}
        with self._store.session() as session:
            take_turn(session)
            bulk = Bulk(session.connection())
            if _read_mounts(bulk) != mounts or ledger.read_marks(bulk, hour - 1, on_wood=True) != marks:
                self.forget()  # something came meanwhile: the next look takes it all
                return False
            changed = False
            for sensor_id, own in found.items():
                # Marks outlive the program, so that whatever they don't name is as it was.
                since = [at * HOUR_MS for sensor, at, _ in marks if sensor == sensor_id]
                since += self._doubt(bulk, sensor_id, own, at_ms)
                if since:
                    day_ms = min(since) // DAY_MS * DAY_MS
                    changed |= self._measure(
                        session, bulk, sensor_id, bound.get(sensor_id, ()), day_ms, hour * HOUR_MS
                    )
            ledger.delete_marks(bulk, marks)
        return changed

    # ------------------------------------------------------------ looking

    def _bring(self, bulk: Bulk, sensor_id: int, hours: Sequence[int]) -> None:
        """Bring what is held of a sensor up to date at the hours that changed."""
        held = self._sent.get(sensor_id)
        spans = [(hour * HOUR_MS, (hour + 1) * HOUR_MS) for hour in hours]
        rows: list[tuple[Any, ...]] = []
        for since, until in spans if held is not None else [(0, FAR_MS)]:
            rows += bulk.rows(
                f"SELECT {bulk.instant_of('observed_at')}, value, wood_c FROM wood_reading "
                "WHERE sensor_id = ? AND observed_at >= ? AND observed_at < ? ORDER BY observed_at, value",
                (sensor_id, bulk.instant(since), bulk.instant(until)),
            )
        if held is None:
            self._sent[sensor_id] = _Sent.of(rows)
            return
        rest, new = held.without_hours(np.array(hours, dtype=np.int64)), _Sent.of(rows)
        at = np.concatenate([rest.at_ms, new.at_ms])
        value = np.concatenate([rest.value, new.value])
        order = np.lexsort((value, at))
        self._sent[sensor_id] = _Sent(
            at[order], value[order], np.concatenate([rest.wood_c, new.wood_c])[order]
        )

    def _findings(
        self, bound: Sequence[_Bound], sensor_id: int, airs: Mapping[int, HourlyAir], hour: int
    ) -> list[Finding]:
        sent = self._sent[sensor_id].between(0, hour * HOUR_MS)
        found: list[Finding] = []
        for one in bound:
            found += findings_of(one.series(sent), _emc_by_day(one, airs, hour))
        spans = [(one.mount.since_ms, one.mount.until_ms) for one in bound]
        return [*found, *silences(np.unique(sent.at_ms), spans, hour * HOUR_MS)]

    # ------------------------------------------------------------ writing

    def _doubt(self, bulk: Bulk, sensor_id: int, found: Sequence[Finding], at_ms: int) -> list[int]:
        """Make the record of doubts say what was found; the instants from which it changed."""
        since = []
        stored = read_doubts(bulk, [sensor_id])[sensor_id]
        for change in reconcile(found, stored, [(0, OPEN_MS)], (*WOOD_KINDS, SILENT)):
            apply_change(bulk, sensor_id, change, at_ms)
            if change.kind not in ADVICE:
                since += [span[0] for span in change.spans]
        return since

    def _measure(
        self, session: Session, bulk: Bulk, sensor_id: int, bound: Sequence[_Bound], day_ms: int, end_ms: int
    ) -> bool:
        """Make the sensor's measurements from a day on say what its trusted readings come to; whether any
        changed.
        """
        sent = self._sent[sensor_id].between(day_ms, end_ms)
        counts = np.ones(len(sent.at_ms), dtype=bool)
        for doubt in read_doubts(bulk, [sensor_id])[sensor_id]:
            if not doubt.undone and doubt.kind not in ADVICE:
                counts &= (sent.at_ms < doubt.since_ms) | (sent.at_ms > doubt.until_ms)
        trusted = _Sent(sent.at_ms[counts], sent.value[counts], sent.wood_c[counts])
        wanted: dict[tuple[int, int | None, int], tuple[_Bound, float, float]] = {}
        for one in bound:
            own = trusted.between(one.mount.since_ms, one.mount.until_ms)
            least, most, _ = QUANTITIES[one.sensor.quantity]
            said = hours_said(one.sensor, own.at_ms, own.value, own.wood_c)
            for kept in thinned([each for each in said if least <= each.value <= most]):
                at = max(kept.hour * HOUR_MS + MIDDLE_MS, one.mount.since_ms)
                wanted[one.mount.body_id, one.mount.fit_id, at] = one, kept.value, kept.uncertainty
        gone = []
        stored = select(Measurement).where(
            Measurement.sensor_id == sensor_id, Measurement.at >= from_epoch_ms(day_ms)
        )
        for row in session.scalars(stored):
            new = wanted.pop((row.body_id, row.fit_id, to_epoch_ms(row.at)), None)
            if new is None or (row.value, row.uncertainty) != new[1:]:
                if new is not None and row.undone_at is None:
                    wanted[row.body_id, row.fit_id, to_epoch_ms(row.at)] = new
                if new is None or row.undone_at is None:
                    gone.append(row)  # one that a person took back stays taken back
        withdraw_measurements(session, gone)
        for (body_id, fit_id, at), (one, value, sure) in sorted(wanted.items(), key=lambda item: item[0][2]):
            body = session.get_one(BodyRow, body_id)
            fit = None if fit_id is None else session.get_one(FitRow, fit_id)
            quantity, how = one.sensor.quantity, one.sensor.how
            record_measurement(session, body, quantity, value, from_epoch_ms(at), sure, fit, how, sensor_id)
        return bool(gone or wanted)


def _read_mounts(bulk: Bulk) -> list[_Mount]:
    ms = bulk.instant_of
    return [
        _Mount(sensor, body, fit, quantity, since, OPEN_MS if until is None else until, _text(terms))
        for sensor, body, fit, quantity, since, until, terms in bulk.rows(
            f"SELECT sensor_id, body_id, fit_id, quantity, {ms('since_at')}, {ms('until_at')}, terms "
            f"FROM mount ORDER BY sensor_id, {ms('since_at')}"
        )
    ]


def _text(terms: Any) -> str:
    return terms if isinstance(terms, str) else json.dumps(terms, sort_keys=True)


def _bind(roster: Roster, mounts: Sequence[_Mount]) -> dict[int, list[_Bound]]:
    """What each sensor was bound to, in order; what can't be followed is left out."""
    bodies = {body.id: (owner, body) for owner in roster.owners for body in owner.bodies}
    found: dict[int, list[_Bound]] = {}
    for mount in mounts:
        if mount.body_id not in bodies:
            continue
        owner, body = bodies[mount.body_id]
        wood, thick_mm = body.member.species.name, body.member.thickness_mm
        measures = "width_mm" if mount.fit_id is None else "gap_mm"
        try:
            sensor = sensor_on(mount.quantity, json.loads(mount.terms), wood, thick_mm, measures)
        except (BadInput, TypeError):
            continue
        found.setdefault(mount.sensor_id, []).append(_Bound(mount, sensor, owner, body))
    return found


def _emc_by_day(bound: _Bound, airs: Mapping[int, HourlyAir], hour: int) -> dict[int, float]:
    """By whole day before this one, what the air where the wood stood led to; days of measured air only."""
    found: dict[int, float] = {}
    for stay in bound.owner.stays:
        air = airs.get(stay.place_id)
        if air is None or not len(air):
            continue
        first = max(stay.since, air.first, bound.mount.since_ms // HOUR_MS) // DAY_H
        for day in range(first, min(stay.until, air.end, hour) // DAY_H):
            rows = slice(max(day * DAY_H - air.first, 0), (day + 1) * DAY_H - air.first)
            measured = air.n_readings[rows] > 0
            if measured.sum() * 2 >= DAY_H:
                warm = np.clip(air.temperature_c[rows][measured], 0.0, 50.0)
                emc = equilibrium_moisture_content(warm, np.clip(air.rh_pct[rows][measured], 1.0, 95.0))
                found[day] = float(np.mean(emc))
    return found
