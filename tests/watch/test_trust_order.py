"""Doubts and air follow from the readings alone, whatever order they come in and whatever was kept."""

from dataclasses import astuple
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, example, given, settings
from hypothesis import strategies as st
from sqlalchemy import delete, select, text
from sqlalchemy.dialects.sqlite import insert

from model.records.acts import hangings
from model.records.schema.tables import Correction, Doubt, Place, Reading, RunningCount, Sensor, StaleHour
from model.records.store import Store
from model.watch.air.air_hours import hours_to_compute, measured_hours, read_trust
from model.watch.run import watch_sql as ledger
from model.watch.trust import reading
from model.watch.trust.judge import Judge

pytestmark = pytest.mark.slow

START = datetime(2026, 1, 5, tzinfo=UTC)
MARK = text(
    "INSERT INTO stale_hour VALUES (:sensor, :hour, 1) ON CONFLICT DO UPDATE SET revision = revision + 1"
)


def at_hour(number):
    return START + number * timedelta(hours=1)


def readings(hours, seed=1, step_h=0.25, temperature_c=20.0, first=0.0):
    """What a working sensor sends of quiet air: a day's swing and a little unrest."""
    rng = np.random.default_rng(seed)
    at = first + step_h * np.arange(round(hours / step_h))
    swing = np.sin(at * 2.0 * np.pi / 24.0)
    temperature = temperature_c + swing + 0.1 * rng.standard_normal(len(at))
    rh = 45.0 - 4.0 * swing + 0.3 * rng.standard_normal(len(at))
    return [
        [at_hour(h), round(float(t), 1), round(float(min(max(r, 1.0), 100.0)), 1)]
        for h, t, r in zip(at, temperature, rh, strict=True)
    ]


FAULTS = st.lists(
    st.tuples(
        st.integers(1, 2),
        st.sampled_from(
            ["stuck", "spike", "fahrenheit", "pegged", "gap", "hot", "sun", "apart", "often", "twice"]
        ),
        st.integers(0, 380),
        st.integers(1, 90),
    ),
    max_size=4,
)


def faulty(faults):
    rows = {1: readings(100, seed=3), 2: readings(100, seed=4, temperature_c=19.0)}
    for sensor, kind, first, length in faults:
        part = rows[sensor][first : first + length]
        for row in part:
            if kind == "stuck":
                row[2] = 51.3
            elif kind == "pegged":
                row[2] = 100.0
            elif kind == "hot":
                row[1] = 66.0
            elif kind == "sun" and None not in row:
                row[1], row[2] = row[1] + 8.0, round(row[2] * 0.617, 1)
        if kind == "spike" and part:
            part[0][2] = 92.0
        elif kind == "fahrenheit" and part and part[0][1] is not None:
            part[0][1] = 68.4
        elif kind == "gap":
            del rows[sensor][first : first + length]
        elif kind == "apart":
            # The two quantities come alone, some minutes apart.
            for k, row in enumerate(row for row in part if None not in row):
                rows[sensor].append([row[0] + timedelta(minutes=2 + k % 9), None, row[2]])
                row[2] = None
            rows[sensor].sort(key=lambda row: row[0])
        elif kind == "often" and part:
            begin = (part[0][0] - START) / timedelta(hours=1) + 0.01
            more = readings(length / 60.0, seed=first, step_h=1 / 60, first=begin)
            there = {row[0] for row in rows[sensor]}
            rows[sensor] += [row for row in more if row[0] not in there]
            rows[sensor].sort(key=lambda row: row[0])
        elif kind == "twice" and part:
            # The sensor said something else of the same instants, now near, now far.
            rows[sensor] += [
                [row[0], row[1], None if row[2] is None else min(row[2] + (1.5, 3.0, 30.0)[k % 3], 100.0)]
                for k, row in enumerate(part)
                if row[1] is not None or row[2] is not None
            ]
            rows[sensor].sort(key=lambda row: row[0])
    return [(sensor, *row) for sensor, own in rows.items() for row in own]


@pytest.fixture(scope="module")
def two_sensors(tmp_path_factory):
    """A book with two sensors in one place; readings and doubts are wiped between examples."""
    store = Store(f"sqlite:///{tmp_path_factory.mktemp('trust') / 'book.sqlite'}")
    store.bring_up_to_date()
    yield store
    store.close()


def emptied(store):
    with store.session() as session:
        for table in (Doubt, StaleHour, Reading, RunningCount, Correction):
            session.execute(delete(table))
        if session.get(Place, 1) is None:
            session.add(Place(name="shop", kind="shop"))
            session.flush()
            for name in ("bench", "rack"):
                sensor = Sensor(name=name, accepted_at=START)
                session.add(sensor)
                session.flush()
                hangings.hang_sensor(session, sensor, session.get_one(Place, 1), START)


def stored(store, batch):
    """Readings as ingest stores them: every value once, and hours are marked."""
    if not batch:
        return
    half = timedelta(minutes=30)
    marks = set()
    for sensor, at, temperature_c, rh_pct in batch:
        lone = temperature_c is None or rh_pct is None
        for moment in (at - half, at, at + half) if lone else (at,):
            marks.add((sensor, int(moment.timestamp()) // 3600 * 3_600_000))
    names = "sensor_id", "observed_at", "received_at", "temperature_c", "rh_pct"
    with store.session() as session:
        session.execute(
            insert(Reading).on_conflict_do_nothing(),
            [dict(zip(names, (row[0], row[1], *row[1:]), strict=True)) for row in batch],
        )
        session.execute(MARK, [{"sensor": sensor, "hour": hour} for sensor, hour in marks])


def look(store, judge, hour):
    """One look; the air of the marked hours comes out the same from what the judge kept and from the book."""
    now = int(at_hour(hour).timestamp()) // 3600
    with ledger.reading(store) as bulk:
        marks = judge.judge(bulk, now, now * 3_600_000)
        trust = read_trust(bulk)
        asked = hours_to_compute(bulk, trust, [(sensor, at) for sensor, at, _ in marks])
        kept = measured_hours(bulk, trust, asked, judge.caches.around)
        for place, air in measured_hours(bulk, trust, asked).items():
            for one, other in zip(astuple(kept[place]), astuple(air), strict=True):
                assert one.tobytes() == other.tobytes()
    with store.engine.begin() as connection:
        bulk = ledger.Bulk(connection)
        ledger.delete_marks(bulk, marks)


def on_record(store):
    with store.session() as session:
        rows = session.scalars(select(Doubt).order_by(Doubt.sensor_id, Doubt.since_at, Doubt.kind))
        return [(row.sensor_id, row.kind, row.since_at, row.until_at, row.reason) for row in rows]


def judged(store, batches, hours, anew=False):
    """Doubts on record after batches of rows came one after another, each judged at its hour, by one judge
    or by a new one each time."""
    emptied(store)
    judge = Judge(store)
    for batch, hour in zip(batches, hours, strict=True):
        stored(store, batch)
        judge = Judge(store) if anew else judge
        look(store, judge, hour)
    return on_record(store)


# Not made smaller: a failure would take minutes for that.
SLOWLY = settings(
    max_examples=25,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=[HealthCheck.too_slow],
)
EDGES = [20, 35, 35.5, 36, 37, 60, 60.2, 60.9, 61, 90, 100]


def as_in_life(rows):
    """Batches that come hour after hour, some within one."""
    return [
        [row for row in rows if at_hour(a) <= row[1] < at_hour(b)]
        for a, b in zip([0, *EDGES[:-1]], EDGES, strict=True)
    ]


@SLOWLY
@given(faults=FAULTS, seed=st.integers(0, 10_000), parts=st.integers(2, 6))
def test_doubts_follow_from_the_readings_in_whatever_order_they_come(two_sensors, faults, seed, parts):
    rows = faulty(faults)
    at_once = judged(two_sensors, [rows], [100])
    shuffled = [rows[k] for k in np.random.default_rng(seed).permutation(len(rows))]
    batches = [shuffled[k::parts] for k in range(parts)]
    assert judged(two_sensors, batches, [100] * parts) == at_once
    # And as they come in life: hour after hour, judged each time.
    assert judged(two_sensors, as_in_life(rows), EDGES) == at_once


@SLOWLY
@given(faults=FAULTS, seed=st.integers(0, 10_000), late=st.floats(0.0, 0.3))
# Its temperature rests into the rest of its humidity: one doubt, of which the newest hours see the end.
@example(faults=[(1, "hot", 0, 84), (1, "stuck", 80, 56)], seed=0, late=0.0)
def test_a_judge_that_kept_things_comes_to_the_record_of_a_new_one(two_sensors, faults, seed, late):
    """Some readings come late, into hours that are kept; quantities are filled in where one was missing."""
    rows = faulty(faults)
    rng = np.random.default_rng(seed)
    batches = as_in_life(rows)
    for k, batch in enumerate(batches[:-1]):
        held = rng.random(len(batch)) < late
        batches[k] = [row for row, waits in zip(batch, held, strict=True) if not waits]
        batches[k + 1] += [row for row, waits in zip(batch, held, strict=True) if waits]
        lone = [row for row in batches[k] if rng.random() < 0.1 and None not in row]
        batches[k] = [row for row in batches[k] if row not in lone] + [(*row[:3], None) for row in lone]
        batches[k + 1] += lone
    kept = judged(two_sensors, batches, EDGES)
    assert judged(two_sensors, batches, EDGES, anew=True) == kept
    assert judged(two_sensors, [rows], [100]) == kept


def test_where_little_may_be_kept_the_record_is_the_same(two_sensors, monkeypatch):
    rows = faulty(
        [(1, "stuck", 100, 90), (1, "pegged", 250, 20), (2, "spike", 120, 1), (2, "often", 300, 90)]
    )
    at_once = judged(two_sensors, as_in_life(rows), EDGES)
    assert at_once
    for limit in ("READINGS_BYTES", "STATS_BYTES"):
        monkeypatch.setattr(reading, limit, 5_000)
    assert judged(two_sensors, as_in_life(rows), EDGES) == at_once
    judge = Judge(two_sensors)
    stored(two_sensors, rows)
    look(two_sensors, judge, 100)
    assert 0 < judge.caches.size_bytes < 20_000


def test_a_salt_check_bears_on_those_beside_at_the_next_look(two_sensors):
    """A judge that holds readings in memory takes up a correction like a new one."""
    rows = faulty([(1, "stuck", 100, 90)])
    emptied(two_sensors)
    kept = Judge(two_sensors)
    stored(two_sensors, rows)
    look(two_sensors, kept, 100)
    with two_sensors.session() as session:
        session.add(
            Correction(
                sensor_id=2, since_at=START, intercept_pct=45.0, slope=0.0, uncertainty_pct=1.0, evidence={},
                made_at=START,
            )
        )  # fmt: skip
    before = on_record(two_sensors)
    stored(two_sensors, rows)
    look(two_sensors, kept, 100)
    corrected = on_record(two_sensors)
    assert corrected != before  # the sensor beside it rests now as well
    stored(two_sensors, rows)
    look(two_sensors, Judge(two_sensors), 100)
    assert on_record(two_sensors) == corrected


def test_drift_and_clocks_come_out_the_same_at_once_day_by_day_and_backwards(two_sensors):
    days = 45
    biased = readings(24 * days, seed=5, step_h=1.0)
    for row in biased[24 * 8 : 24 * 30]:
        row[2] = round(row[2] + 7.0, 1)
    other = readings(24 * days, seed=6, step_h=1.0)
    rows = [(1, *row) for row in biased] + [(2, *row) for row in other]
    last = 24 * days
    at_once = judged(two_sensors, [rows], [last])
    assert [(sensor, kind) for sensor, kind, *_ in at_once] == [(1, "drift"), (2, "drift")]
    assert all(until is not None for *_, until, _ in at_once)
    by_day = [[row for row in rows if at_hour(24 * d) <= row[1] < at_hour(24 * d + 24)] for d in range(days)]
    assert judged(two_sensors, by_day, [24 * d + 24 for d in range(days)]) == at_once
    assert judged(two_sensors, by_day[::-1], [last] * days) == at_once
