"""Doubts on record: they follow from the readings, leave them as they came, and yield to people."""

from datetime import timedelta

import numpy as np
import pytest
from sqlalchemy import select

from model.records.acts import hangings, trusted
from model.records.acts.invalidation import mark_hours
from model.records.bulk import Bulk
from model.records.schema.tables import AirHour, Binding, Doubt, Place, Reading, Sensor, StaleHour
from model.watch.run.evaluation import Watch
from model.watch.trust import reading
from model.watch.trust.judge import Judge
from tests.said import said


def readings(shop, hours, seed=1, step_h=0.25, temperature_c=20.0, rh_pct=45.0, first=0.0):
    """What a working sensor sends of quiet air: a day's swing and a little unrest."""
    rng = np.random.default_rng(seed)
    at = first + step_h * np.arange(round(hours / step_h))
    swing = np.sin(at * 2.0 * np.pi / 24.0)
    temperature = temperature_c + swing + 0.1 * rng.standard_normal(len(at))
    rh = rh_pct - 4.0 * swing + 0.3 * rng.standard_normal(len(at))
    return [
        [shop.hour(h), round(float(t), 1), round(float(min(max(r, 1.0), 100.0)), 1)]
        for h, t, r in zip(at, temperature, rh, strict=True)
    ]


def on_record(store, undone=False):
    """Sensor, kind, since, until and reason of the doubts that count, or of the undone."""
    with store.session() as session:
        rows = session.scalars(select(Doubt).order_by(Doubt.sensor_id, Doubt.since_at, Doubt.kind))
        return [
            (row.sensor_id, row.kind, row.since_at, row.until_at, said(trusted.doubt_reason(row.reason)))
            for row in rows
            if (row.undone_at is not None) == undone
        ]


def kinds(shop):
    return [(sensor, kind) for sensor, kind, *_ in on_record(shop.store)]


def air(shop):
    return {row.hour_at: row for row in shop.rows(AirHour)}


@pytest.fixture
def bare(make_shop):
    shop = make_shop()
    shop.place()
    shop.sensor()
    return shop


def test_a_stuck_sensor_is_left_out_of_the_air_and_its_readings_stay_as_they_came(bare):
    rows = readings(bare, 72)
    for row in rows[100:200]:
        row[2] = 88.0
    bare.send(rows)
    bare.evaluate(bare.hour(72))
    ((_, kind, since, until, reason),) = on_record(bare.store)
    assert (kind, since, until) == ("stuck", rows[100][0], rows[199][0])
    assert "88.0 %" in reason
    assert max(row.rh_pct for row in air(bare).values()) < 60.0
    assert [(r.temperature_c, r.rh_pct) for r in bare.rows(Reading)] == [(t, h) for _, t, h in rows]


@pytest.mark.slow
def test_a_look_at_a_sensor_that_sends_every_two_seconds_reads_the_running_hour_alone(bare, monkeypatch):
    """Of two days before it the watch keeps what shows a fault; two hundred such sensors share its memory."""
    monkeypatch.setattr(reading, "READINGS_BYTES", 128_000_000 // 200)
    bare.watch = Watch(bare.store)
    bare.send(readings(bare, 50, step_h=2.0 / 3600.0))
    bare.evaluate(bare.hour(50))
    read = []
    rows = Bulk.rows

    def counted(self, statement, values=()):
        found = rows(self, statement, values)
        read.append(len(found))
        return found

    bare.send([(bare.hour(50.001), 20.1, 45.1)])
    monkeypatch.setattr(Bulk, "rows", counted)
    bare.evaluate(bare.hour(50.01))
    assert sum(read) < 4 * 1800
    assert on_record(bare.store) == []


@pytest.mark.slow
def test_a_sensor_that_sends_every_two_seconds_is_doubted_while_it_is_stuck(bare):
    rows = readings(bare, 60, step_h=2.0 / 3600.0)
    for row in rows[20 * 1800 : 40 * 1800]:
        row[2] = 88.0
    bare.send(rows)
    bare.evaluate(bare.hour(60))
    ((_, kind, since, until, _),) = on_record(bare.store)
    assert kind == "stuck"
    assert (since, until) == (bare.hour(20), bare.hour(40) - timedelta(seconds=30))
    assert air(bare)[bare.hour(30)].basis == "estimated"


def test_a_held_reading_counts_once_the_next_confirms_it(bare):
    rows = readings(bare, 24)
    bare.send(rows)
    bare.send([(bare.hour(24.0), 20.0, 75.0)])
    bare.evaluate(bare.hour(24.1))
    assert [(kind, until) for _, kind, _, until, _ in on_record(bare.store)] == [("jump", None)]
    assert bare.hour(24) not in air(bare) or air(bare)[bare.hour(24)].rh_pct < 60.0
    bare.send([(bare.hour(24.25), 20.0, 75.3)])
    bare.evaluate(bare.hour(24.5))
    assert on_record(bare.store) == []
    bare.evaluate(bare.hour(25))
    assert air(bare)[bare.hour(24)].rh_pct == pytest.approx(75.15, abs=0.01)


def test_an_undone_doubt_counts_and_is_not_raised_again(bare):
    rows = readings(bare, 48)
    for row in rows[60:130]:
        row[2] = 70.0
    bare.send(rows)
    bare.evaluate(bare.hour(48))
    doubted = bare.computed()

    def undo(session):
        trusted.undo_doubt(session, session.scalars(select(Doubt)).one(), bare.hour(48))

    number = bare.act(undo)
    bare.evaluate(bare.hour(48))
    assert air(bare)[bare.hour(20)].rh_pct == pytest.approx(70.0, abs=0.01)
    # Everything is looked at again, by a judge that knows nothing, and it stays undone.
    bare.change(lambda session: mark_hours(session, [1], bare.hour(0)))
    bare.watch = type(bare.watch)(bare.store)
    bare.evaluate(bare.hour(48))
    assert on_record(bare.store) == []
    assert len(on_record(bare.store, undone=True)) == 1
    bare.take_back(number)
    bare.evaluate(bare.hour(48))
    assert bare.computed() == doubted


def test_an_undone_doubt_that_lasted_speaks_for_its_own_spell_only(bare):
    rows = readings(bare, 96)
    for row in rows[100:160]:
        row[2] = 70.0
    for row in rows[250:330]:
        row[2] = 70.0
    bare.send(rows[:160])
    bare.evaluate(bare.hour(40))
    bare.change(
        lambda session: trusted.undo_doubt(session, session.scalars(select(Doubt)).one(), bare.hour(40))
    )
    bare.send(rows[160:])
    bare.evaluate(bare.hour(96))
    assert [row[2:4] for row in on_record(bare.store, undone=True)] == [(rows[100][0], rows[159][0])]
    assert [row[2:4] for row in on_record(bare.store)] == [(rows[250][0], rows[329][0])]


def test_a_late_reading_takes_a_doubt_back(bare):
    rows = readings(bare, 48)
    for row in rows[60:130]:
        row[2] = 70.0
    late = (rows[95][0] + timedelta(minutes=1), 20.0, 71.9)
    bare.send(rows)
    bare.evaluate(bare.hour(48))
    assert kinds(bare) == [(1, "stuck")]
    bare.send([late])
    bare.evaluate(bare.hour(48))
    assert kinds(bare) == []
    assert bare.rows(StaleHour) == []


def test_a_doubt_raised_by_hand_is_left_alone(bare):
    bare.send(readings(bare, 48))

    def spraying(session):
        sensor = session.get_one(Sensor, 1)
        trusted.doubt_span(session, sensor, bare.hour(10), bare.hour(14), "spraying", bare.hour(15))

    bare.change(spraying)
    bare.evaluate(bare.hour(48))
    assert kinds(bare) == [(1, "by hand")]
    assert [air(bare)[bare.hour(h)].basis for h in (9, 12, 15)] == ["measured", "estimated", "measured"]


def test_a_sensor_in_the_sun_is_left_out_and_the_other_gives_the_air(make_shop):
    shop = make_shop()
    shop.place()
    shop.sensor("bench")
    shop.sensor("rack")
    shade = readings(shop, 48, seed=2)
    sunny = [list(row) for row in readings(shop, 48, seed=2)]
    for row in sunny[120:136]:
        row[1], row[2] = row[1] + 8.0, round(row[2] * 0.617, 1)  # the same vapour, eight degrees warmer
    shop.send(sunny, 1)
    shop.send(shade, 2)
    shop.evaluate(shop.hour(48))
    assert kinds(shop) == [(1, "warm")]
    assert air(shop)[shop.hour(31)].rh_pct == pytest.approx(np.mean([r[2] for r in shade[124:128]]), abs=0.05)


def test_an_uncorrected_drift_asks_for_salt_leaves_nothing_out_and_ends_with_the_check(make_shop):
    shop = make_shop()
    shop.place()
    shop.sensor("bench")
    shop.sensor("rack")
    shop.send(readings(shop, 20 * 24, seed=1, rh_pct=52.0, step_h=1.0), 1)
    shop.send(readings(shop, 20 * 24, seed=2, step_h=1.0), 2)
    shop.evaluate(shop.hour(480))
    assert kinds(shop) == [(1, "drift"), (2, "drift")]
    assert air(shop)[shop.hour(470)].n_readings == 2
    assert said(shop.verdict("sensor", 1)).startswith("It has differed from rack")

    def check(session):
        points = [trusted.SaltPoint("sodium chloride", 20.0, 82.5)]
        trusted.salt_check(session, session.get_one(Sensor, 1), points, shop.hour(0))

    shop.change(check)
    shop.evaluate(shop.hour(481))
    assert [kind for _, kind in kinds(shop) if kind == "drift"] == []


def test_silence_is_on_record_while_it_lasts_and_after(bare):
    rows = readings(bare, 24)
    bare.send(rows)
    bare.evaluate(bare.hour(24))
    assert kinds(bare) == []
    bare.evaluate(bare.hour(26))
    assert [(row[1], row[3]) for row in on_record(bare.store)] == [("silent", None)]
    bare.send(readings(bare, 10, first=60.0))
    bare.evaluate(bare.hour(70))
    ((_, kind, since, until, _),) = on_record(bare.store)
    assert kind == "silent"
    assert (since, until) == (
        rows[-1][0] + timedelta(milliseconds=1),
        bare.hour(60) - timedelta(milliseconds=1),
    )
    assert air(bare)[bare.hour(23)].basis == "measured"


def test_a_step_at_a_recorded_move_is_not_asked_about(make_shop):
    shop = make_shop()
    shop.place()
    shop.place("flat", "home")
    shop.sensor()
    shop.send(readings(shop, 24))
    shop.send(readings(shop, 24, first=24.0, temperature_c=11.0, rh_pct=60.0))
    shop.evaluate(shop.hour(48))
    assert kinds(shop) == [(1, "moved")]

    def move(session):
        sensor, place = session.get_one(Sensor, 1), session.get_one(Place, 2)
        hangings.hang_sensor(session, sensor, place, shop.hour(23.9))

    shop.change(move)
    shop.evaluate(shop.hour(48))
    assert kinds(shop) == []


def test_a_reading_that_comes_while_it_judges_is_judged_the_next_time(bare, monkeypatch):
    rows = readings(bare, 24)
    bare.send(rows)
    spike = (bare.hour(10.1), 20.0, 90.0)
    look, came = Judge._look, []

    def looks_while_one_comes(self, *arguments):
        result = look(self, *arguments)
        if not came:
            came.append(True)
            bare.send([spike])
        return result

    monkeypatch.setattr(Judge, "_look", looks_while_one_comes)
    bare.evaluate(bare.hour(24))
    assert [row.hour_at for row in bare.rows(StaleHour)] in ([], [bare.hour(10)])
    bare.evaluate(bare.hour(24))
    assert kinds(bare) == [(1, "jump")]
    assert bare.rows(StaleHour) == []
    assert air(bare)[bare.hour(10)].rh_pct < 60.0


@pytest.mark.parametrize(
    ("payload", "doubted"),
    [
        ({"shape": "number", "quantity": "rh"}, False),
        ({"shape": "json", "rh": "/rh"}, False),
        ({"shape": "json", "rh": "/rh", "time": "/time"}, True),
        ({"shape": "senml-json"}, True),
    ],
)
def test_a_sensor_that_never_names_an_instant_has_no_wrong_clock(bare, payload, doubted):
    """A file with instants was read in, and from noon on bare numbers arrive."""
    with bare.store.session() as session:
        session.add(Binding(sensor_id=1, topic="valley/bench", payload=payload))
        session.add_all(
            Reading(
                sensor_id=1,
                observed_at=at,
                received_at=at + timedelta(seconds=k % 7),
                temperature_c=temperature_c,
                rh_pct=rh_pct,
                clock="device" if k < 48 else "arrival",
            )
            for k, (at, temperature_c, rh_pct) in enumerate(readings(bare, 24))
        )
        mark_hours(session, [1], bare.hour(0))
    bare.evaluate(bare.hour(24))
    assert ("clock" in {kind for _, kind in kinds(bare)}) is doubted
