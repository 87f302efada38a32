"""Doubts on both databases: the same readings raise the same doubts, and undone they stay undone."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from sqlalchemy import select

from model.records.acts import trusted
from model.records.acts.hangings import hang_sensor
from model.records.acts.invalidation import mark_hours
from model.records.acts.places import add_place
from model.records.schema.tables import AirHour, Doubt, Reading, Sensor, StaleHour
from model.records.store import Store
from model.watch.air.air_hours import read_readings
from model.watch.run import watch_sql as ledger
from model.watch.run.evaluation import bring_up_to_date
from model.watch.trust.hourly_stats import hourly_stats

START = datetime(2026, 1, 5, tzinfo=UTC)
HOUR = timedelta(hours=1)
HOURS = 20 * 24
QUANTITIES = ("temperature_c", "rh_pct")


def fill(book: Store) -> None:
    """Two sensors in one shop: one reads seven points more, stuck for a day, once far off, once without a
    clock, and silent for the last day; its instants come five hours late for three days."""
    rng = np.random.default_rng(1)
    with book.session() as session:
        shop = add_place(session, "shop", "shop")
        for number, bias in ((1, 7.0), (2, 0.0)):
            sensor = Sensor(name=f"s{number}", accepted_at=START)
            session.add(sensor)
            session.flush()
            hang_sensor(session, sensor, shop, START)
            for k in range(HOURS - 24 if number == 1 else HOURS):
                swing = np.sin(k * 2.0 * np.pi / 24.0)
                rh = 45.0 + bias - 4.0 * swing + 0.3 * float(rng.standard_normal())
                if number == 1 and 100 <= k < 124:
                    rh = 58.8
                elif number == 1 and k == 150:
                    rh = 91.0
                at = START + k * HOUR
                late = timedelta(hours=5) if number == 1 and 240 <= k < 312 else timedelta(seconds=1)
                session.add(
                    Reading(
                        sensor_id=sensor.id,
                        observed_at=at,
                        received_at=at + late,
                        temperature_c=round(20.0 + float(swing), 1),
                        rh_pct=round(rh, 1),
                    )
                )
            mark_hours(session, [sensor.id], START)


def told(book: Store) -> tuple[list[tuple[object, ...]], list[tuple[object, ...]]]:
    with book.session() as session:
        doubts = [
            (row.sensor_id, row.kind, row.since_at, row.until_at, row.reason)
            for row in session.scalars(
                select(Doubt)
                .where(Doubt.undone_at.is_(None))
                .order_by(Doubt.sensor_id, Doubt.since_at, Doubt.kind)
            )
        ]
        air = [
            (row.hour_at, row.temperature_c, row.rh_pct, row.n_readings)
            for row in session.scalars(select(AirHour).order_by(AirHour.hour_at))
        ]
    return doubts, air


@pytest.mark.postgres
def test_statistics_of_hours_are_the_same_from_either_database_to_the_last_bit(
    store: Store, postgres_store: Store
) -> None:
    rng = np.random.default_rng(2)
    first, hours = int(START.timestamp()) // 3600, 5
    at = [START + timedelta(milliseconds=int(ms)) for ms in np.sort(rng.integers(0, 4 * 3_600_000, 400))]
    rows = [
        {
            "observed_at": moment,
            "received_at": moment + timedelta(seconds=float(rng.uniform(0.0, 20_000.0))),
            "temperature_c": None if k % 7 == 0 else float(rng.normal(-1.0, 9.0)),
            "rh_pct": None if k % 7 == 1 else float(rng.uniform(0.0, 100.0)),
            "clock": "device" if k % 5 else "arrival",
        }
        for k, moment in enumerate(sorted(set(at)))
    ]
    found = []
    for book in (store, postgres_store):
        with book.session() as session:
            session.add(Sensor(name="s", accepted_at=START))
            session.flush()
            session.add_all(Reading(sensor_id=1, **row) for row in rows)
        with ledger.reading(book) as bulk:
            at_once = hourly_stats(bulk, 1, first, first + hours)
            one_by_one = [hourly_stats(bulk, 1, hour, hour + 1)[0] for hour in range(first, first + hours)]
            kept = read_readings(bulk, 1, first * 3_600_000, (first + hours) * 3_600_000)
        assert np.array(one_by_one).tobytes() == at_once.tobytes()
        assert np.nansum(at_once[:, :3], axis=0).tolist() == [
            len(rows), *(sum(row[quantity] is not None for row in rows) for quantity in QUANTITIES)
        ]  # fmt: skip
        found.append((at_once.tobytes(), kept.temperature_c.tobytes(), kept.rh_pct.tobytes()))
    assert found[0] == found[1]


@pytest.mark.postgres
def test_the_same_readings_raise_the_same_doubts_on_both_databases(
    store: Store, postgres_store: Store
) -> None:
    for book in (store, postgres_store):
        fill(book)
        bring_up_to_date(book, START + HOURS * HOUR)
        with book.session() as session:
            assert session.scalars(select(StaleHour)).all() == []
    doubts, air = told(store)
    assert told(postgres_store) == (doubts, air)
    assert sorted((sensor, kind) for sensor, kind, *_ in doubts) == [
        (1, "clock"),
        (1, "drift"),
        (1, "jump"),
        (1, "silent"),
        (1, "stuck"),
        (2, "drift"),
    ]
    for book in (store, postgres_store):
        with book.session() as session:
            for doubt in session.scalars(select(Doubt).where(Doubt.kind == "stuck")):
                trusted.undo_doubt(session, doubt, START + HOURS * HOUR)
            trusted.salt_check(
                session,
                session.get_one(Sensor, 1),
                [trusted.SaltPoint(33.1, 20.0, 40.1), trusted.SaltPoint(75.5, 20.0, 82.5)],
                START,
            )
        bring_up_to_date(book, START + (HOURS + 1) * HOUR)
    again, corrected = told(store)
    assert told(postgres_store) == (again, corrected)
    assert {kind for _, kind, *_ in again} == {"clock", "jump", "silent"}
    assert len(corrected) == len(air) + 1
    assert corrected[10][2] < air[10][2]
