"""Shuffled, doubled, late and batched readings give what the same readings give in order, to the last bit."""

import random
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import delete

from model.records.acts import book, hangings, measured, places
from model.records.queries import overview as queries
from model.records.schema.tables import FitRow, MemberRow, Outlook, PieceRow, Place, Sensor, Stack, Statement
from model.watch.run import tasks, writing
from model.watch.run.evaluation import Watch
from model.watch.state.outlook_store import Outlooks

pytestmark = [pytest.mark.slow, pytest.mark.usefixtures("few_years")]

DAYS = 18


def history(shop, seed):
    """Weeks of two places with gaps, in the order of their instants."""
    rng = np.random.default_rng(seed)
    hours = DAYS * 24
    rows = []
    for sensor in (1, 2):
        dry = 45.0 - 30.0 * np.clip(np.arange(hours) / hours * 1.5, 0.0, 1.0)
        rh_pct = np.clip(dry + 8.0 * np.sin(np.arange(hours) / 40.0) + rng.normal(0.0, 6.0, hours), 2, 98)
        if sensor == 1:  # a burst pipe, and a damp spell after it
            rh_pct[200:206], rh_pct[206:330] = 96.0, rh_pct[206:330] + 18.0
        temperature_c = 18.0 + 3.0 * np.sin(np.arange(hours) / 3.8)
        start = int(rng.integers(24, hours - 48))
        gap = range(start, start + int(rng.integers(2, 120)))
        rows += [
            (sensor, row)
            for number, row in enumerate(shop.hourly(hours, temperature_c, rh_pct))
            if number not in gap and rng.random() > 0.05
        ]
    return sorted(rows, key=lambda entry: entry[1][0])


def furnished(make_shop):
    shop = make_shop()
    shop.place()
    shop.place("flat", "home")
    shop.sensor()
    shop.sensor("hall", 2)
    shop.piece()
    shop.piece(shop.cabinet.replace("Wall", "Hall"), 2, shop.hour(30.3))
    shop.stack()
    shop.stack("ash for the flat", destination=2, thickness_mm=8.0)
    return shop


def send(shop, rows):
    for sensor in (1, 2):
        shop.send([row for number, row in rows if number == sensor], sensor)


# Each example makes books of its own, so the fixture need not be made anew.
@settings(max_examples=3, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 10_000))
def test_any_order_of_arrival_gives_the_same_book(make_shop, seed):
    chance = random.Random(seed)
    in_order, shuffled = furnished(make_shop), furnished(make_shop)
    rows = history(in_order, seed)
    end = in_order.hour(DAYS * 24 + chance.randrange(100) + 0.3)

    send(in_order, rows)
    in_order.evaluate(end)

    left = rows + chance.sample(rows, 50)
    chance.shuffle(left)
    while left:
        count = chance.randrange(1, 300)
        batch, left = left[:count], left[count:]
        send(shuffled, batch)
        if chance.random() < 0.3:
            shuffled.watch = Watch(shuffled.store)
        latest = max(row[0] for _, row in batch) + timedelta(hours=chance.randrange(9))
        shuffled.evaluate(min(end, latest))
    shuffled.evaluate(end)

    assert shuffled.computed() == in_order.computed()


def test_hour_by_hour_as_it_comes_gives_the_same_book(make_shop):
    at_once, live = furnished(make_shop), furnished(make_shop)
    rows = history(at_once, 5)
    end = DAYS * 24 + 40
    send(at_once, rows)
    at_once.evaluate(at_once.hour(end))
    for number in range(1, end + 1, 3):
        send(live, [entry for entry in rows if live.hour(number - 3) <= entry[1][0] < live.hour(number)])
        live.evaluate(live.hour(number))
    send(live, rows)
    live.evaluate(live.hour(end))
    assert live.computed() == at_once.computed()
    assert len(at_once.warnings()) > 0


def test_a_late_batch_gives_the_verdict_it_would_have_been(make_shop):
    late, timely = furnished(make_shop), furnished(make_shop)
    rows = history(late, 11)
    cut = late.hour(10 * 24)
    send(late, [entry for entry in rows if entry[1][0] < cut])
    late.evaluate(late.hour(DAYS * 24))
    assert late.fit_verdicts()["back"].verdict == "unknown"
    send(late, rows)
    late.evaluate(late.hour(DAYS * 24))
    send(timely, rows)
    timely.evaluate(late.hour(DAYS * 24))
    assert late.computed() == timely.computed()


def test_a_second_evaluation_changes_nothing(make_shop):
    shop = furnished(make_shop)
    send(shop, history(shop, 3))
    end = shop.hour(DAYS * 24)
    shop.evaluate(end)
    before = shop.computed()
    again = shop.evaluate(end)
    assert again.counts.get("bodies", 0) == 0
    shop.watch = Watch(shop.store)
    assert shop.evaluate(end).counts.get("bodies", 0) == 0
    assert shop.computed() == before


def now_and_since(shop, at):
    with shop.store.session() as session:
        found = [queries.piece(session, number, at) for number in (1, 2)]
        return [
            (one.judgement, one.since, [(fit.judgement, fit.margins) for fit in one.fits]) for one in found
        ]


def statements(shop):
    return [
        (row.fit_id, row.limit_name, row.said_at, row.chance_pct, row.from_at, row.until_at, row.reason_key)
        for row in shop.rows(Statement)
    ]


def test_a_past_computed_anew_gives_the_same_now_and_since_and_leaves_what_was_said(make_shop):
    live, at_once = furnished(make_shop), furnished(make_shop)
    rows = history(live, 7)
    end = live.hour(DAYS * 24)
    late = [entry for number, entry in enumerate(rows) if number % 5 == 0]
    timely = [entry for number, entry in enumerate(rows) if number % 5]
    outlooks = Outlooks(live.store, years=10)
    for day in range(DAYS - 5, DAYS):
        send(live, [entry for entry in timely if entry[1][0] < live.hour(24 * day)])
        live.evaluate(live.hour(24 * day))
        outlooks.refresh(live.hour(24 * day))
    said = statements(live)
    assert said
    send(live, late + timely)
    live.evaluate(end)
    outlooks.refresh(end)
    send(at_once, rows)
    at_once.evaluate(end)
    assert now_and_since(live, end)[0][1]
    for shop in (live, at_once):
        shop.change(lambda session: session.execute(delete(Outlook)))  # `clears` is of what may come
    assert now_and_since(live, end) == now_and_since(at_once, end)
    assert [one for one in statements(live) if one[2] < end] == said


@settings(max_examples=3, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 10_000))
def test_whatever_comes_late_the_past_and_what_was_said_stay_the_same(make_shop, seed):
    """Any part of the readings held back, and the past computed anew in any portions."""
    chance = random.Random(seed)
    live, at_once = furnished(make_shop), furnished(make_shop)
    rows = history(live, seed)
    end = live.hour(DAYS * 24)
    share = chance.uniform(0.02, 0.6)
    timely = [entry for entry in rows if chance.random() >= share]
    outlooks = Outlooks(live.store, years=10)
    for day in range(DAYS - 4, DAYS):
        send(live, [entry for entry in timely if entry[1][0] < live.hour(24 * day)])
        live.evaluate(live.hour(24 * day))
        outlooks.refresh(live.hour(24 * day))
    said = statements(live)
    left = rows[:]
    chance.shuffle(left)
    while left:
        count = chance.randrange(100, 500)
        batch, left = left[:count], left[count:]
        send(live, batch)
        if chance.random() < 0.3:
            live.watch = Watch(live.store)
        live.evaluate(end)
        outlooks.refresh(end)
    send(at_once, rows)
    at_once.evaluate(end)
    for shop in (live, at_once):
        shop.change(lambda session: session.execute(delete(Outlook)))  # `clears` is of what may come
    assert now_and_since(live, end) == now_and_since(at_once, end)
    assert [one for one in statements(live) if one[2] < end] == said


def changes_of_the_book(shop, seed):
    """Moves, measurements and corrections, each to be made at any time after the fact."""
    chance = random.Random(seed)
    at = [shop.hour(chance.randrange(40, DAYS * 24) + chance.random()) for _ in range(5)]
    quantities = (
        ("mc_pct", 1, 9.0, at[1], None),
        ("width_mm", 2, 219.0, at[2], None),
        ("gap_mm", 2, 0.9, at[3], 2),
    )
    return [
        lambda session: book.move(session, session.get_one(PieceRow, 1), session.get_one(Place, 2), at[0]),
        *(
            lambda session, asked=asked: measured.record_measurement(
                session,
                session.get_one(MemberRow, asked[1]),
                asked[0],
                asked[2],
                asked[3],
                fit=session.get(FitRow, asked[4] or 0),
            )
            for asked in quantities
        ),
        lambda session: hangings.hang_sensor(
            session, session.get_one(Sensor, 1), session.get_one(Place, 2), at[4]
        ),
        lambda session: book.move(session, session.get_one(Stack, 5), session.get_one(Place, 2), at[1]),
        lambda session: places.change_place(session, session.get_one(Place, 1), wood_offset_c=-1.5),
        lambda session: book.retire(session, session.get_one(PieceRow, 2), shop.hour(DAYS * 24 - 50)),
    ]


@settings(max_examples=2, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 10_000))
def test_the_book_may_be_changed_at_any_time_between_the_readings(make_shop, monkeypatch, seed):
    chance = random.Random(seed)
    early, late = furnished(make_shop), furnished(make_shop)
    rows = history(early, seed)
    end = early.hour(DAYS * 24 + 5)
    for change in changes_of_the_book(early, seed):
        early.change(change)
    send(early, rows)
    early.evaluate(end)

    # Small portions, so that one evaluation takes many transactions.
    monkeypatch.setattr(writing, "ROWS_AT_ONCE", chance.choice([30, 200, 40_000]))
    monkeypatch.setattr(tasks, "BODY_HOURS_AT_ONCE", chance.choice([1_000, 2_000_000]))
    left, changes = rows[:], changes_of_the_book(late, seed)
    chance.shuffle(left)
    while left or changes:
        count = chance.randrange(1, 250)
        batch, left = left[:count], left[count:]
        send(late, batch)
        if changes and chance.random() < 0.5:
            late.change(changes.pop(0))
        if chance.random() < 0.3:
            late.watch = Watch(late.store)
        late.evaluate(late.hour(chance.randrange(DAYS * 24)))
    late.evaluate(end)
    monkeypatch.undo()
    assert late.computed() == early.computed()


def test_an_hour_at_a_time_rewrites_only_what_changed_and_ends_in_the_same_book(make_shop):
    """What moves rows on, and what a new process deletes and inserts, are the same rows."""
    moving, anew = furnished(make_shop), furnished(make_shop)
    rows = history(moving, 3)
    for number in range(8 * 24 - 6, 8 * 24 + 11):
        for shop in (moving, anew):
            send(shop, [entry for entry in rows if entry[1][0] < shop.hour(number)])
            if shop is anew:
                shop.watch = Watch(shop.store)
            shop.evaluate(shop.hour(number))
        assert moving.computed() == anew.computed()
