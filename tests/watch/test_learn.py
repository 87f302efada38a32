"""What the watch learns from measurements, and what it leaves alone."""

import random
from datetime import timedelta

import numpy as np
import pytest
from sqlalchemy import select

from model.records.acts import measured
from model.records.acts.learning_switch import set_learning
from model.records.queries import overview
from model.records.queries.learned import learned_now
from model.records.schema.tables import Checkpoint, FitRow, LearnedRow, MemberRow, Outlook
from model.watch.questions.piece_wood import doubts_of
from model.watch.run.evaluation import Watch
from model.watch.state import learn
from model.watch.state.outlook_store import Outlooks
from tests.bench.bench_learning import forecast_crps, lively_and_slow

pytestmark = pytest.mark.usefixtures("few_years")

DAYS = 30
# What, on which of the days, and how much: part 1 is the back, part 2 the front, whose gap is fit 2.
MEASURED = [
    (1, "mc_pct", 6, 7.1, None),
    (1, "width_mm", 6, 298.7, None),
    (1, "mc_pct", 20, 5.9, None),
    (1, "width_mm", 20, 297.4, None),
    (2, "gap_mm", 9, 1.6, 2),
    (2, "gap_mm", 24, 2.1, 2),
    (3, "mc_pct", 12, 9.0, None),
]


@pytest.fixture
def furnished(make_shop):
    def make():
        shop = make_shop()
        shop.place()
        shop.sensor()
        shop.piece()
        shop.piece(shop.cabinet.replace("Wall", "Hall"))
        shop.send(shop.hourly(DAYS * 24, 20.0, 28.0))
        return shop

    return make


def measure(shop, one):
    body, quantity, day, value, fit = one

    def change(session):
        return measured.record_measurement(
            session,
            session.get(MemberRow, body),
            quantity,
            value,
            shop.hour(24 * day + 0.4),
            fit=None if fit is None else session.get_one(FitRow, fit),
        ).id

    return shop.act(change)


def learned(shop, *bodies):
    with shop.store.session() as session:
        return learned_now(session, bodies, shop.hour(DAYS * 24))


def test_measurements_in_any_order_teach_the_same_to_the_last_bit(furnished):
    at_once, as_it_came = furnished(), furnished()
    end = at_once.hour(DAYS * 24)
    for one in MEASURED:
        measure(at_once, one)
    at_once.evaluate(end)

    shuffled = MEASURED.copy()
    random.Random(3).shuffle(shuffled)
    for number, one in enumerate(shuffled):
        measure(as_it_came, one)
        as_it_came.evaluate(end - timedelta(hours=len(shuffled) - 1 - number))
        if number % 2:
            as_it_came.watch = Watch(as_it_came.store)
    assert as_it_came.computed() == at_once.computed()
    assert len(at_once.rows(LearnedRow)) == 5


def test_a_part_that_was_not_measured_stays_what_it_was_to_the_last_bit_and_nothing_is_asked(
    furnished, monkeypatch
):
    taught, untaught = furnished(), furnished()
    end = taught.hour(DAYS * 24)
    for one in MEASURED[:2]:
        measure(taught, one)
    taught.evaluate(end)
    monkeypatch.setattr(learn, "learn", None)  # whoever asks it fails
    untaught.evaluate(end)
    for table in ("checkpoint", "margin", "verdict"):
        mine, others = taught.computed()[table], untaught.computed()[table]
        assert len(set(mine) & set(others)) > len(mine) / 2
    assert set(learned(taught, 1, 2, 3, 4)) == {1}
    with taught.store.session() as one, untaught.store.session() as other:
        for body in (2, 3, 4):
            assert [repr(row) for row in rows_of(one, body)] == [repr(row) for row in rows_of(other, body)]


def rows_of(session, body):
    return session.execute(
        select(*Checkpoint.__table__.columns).where(Checkpoint.body_id == body).order_by(Checkpoint.at)
    ).all()


def test_learning_can_be_switched_off_and_that_taken_back(furnished):
    shop, never = furnished(), furnished()
    end = shop.hour(DAYS * 24)
    never.change(lambda session: set_learning(session, False))
    for one in MEASURED:
        measure(shop, one)
        measure(never, one)
    shop.evaluate(end)
    taught = shop.computed()
    choice = shop.act(lambda session: set_learning(session, False))
    shop.evaluate(end)
    never.evaluate(end)
    assert learned(shop, 1, 2, 3) == {}
    assert shop.computed() == never.computed()
    shop.take_back(choice)
    shop.evaluate(end)
    assert shop.computed() == taught


def test_a_back_that_shrinks_more_than_the_book_says_is_foretold_so_from_then_on(furnished):
    shop = furnished()
    end = shop.hour(DAYS * 24)
    shop.evaluate(end)
    with shop.store.session() as session:
        before = rows_of(session, 1)[-1]
    for one in MEASURED[:4]:
        measure(shop, one)
    shop.evaluate(end)
    one = learned(shop, 1)[1]
    assert 1.05 < one.movement_factor < 1.4
    assert one.movement_doubt < 0.2
    assert one.count == 4
    with shop.store.session() as session:
        after = rows_of(session, 1)[-1]
    assert after.width_mm < before.width_mm


@pytest.mark.slow
def test_a_lively_slow_panel_is_foretold_better_at_every_horizon_than_before_it_was_learned():
    # Invented panels that move 1.3 times as much as the book says and follow half as fast: `bench_learning`.
    parts, on = lively_and_slow(16), (120, 200, 280, 360)
    before, learned = (forecast_crps(parts, learning, 8, on) for learning in (False, True))
    assert (learned < before).all(), (before, learned)


def test_what_was_learned_tightens_the_width_and_the_coming_year(furnished):
    shop = furnished()
    end = shop.hour(DAYS * 24)
    outlooks = Outlooks(shop.store, years=8)

    def year_of(body):
        shop.evaluate(end)
        outlooks.refresh(end)
        with shop.store.session() as session:
            row = session.get_one(Outlook, ("member", body, "width_mm"))
            low, high = (np.frombuffer(getattr(row, name), "<f4") for name in ("p10", "p90"))
            piece = overview.piece(session, 1, end)
        return high - low, doubts_of(piece).widths["back"].by["movement"]

    before, movement_before = year_of(1)
    for one in MEASURED[:4]:
        measure(shop, one)
    after, movement_after = year_of(1)
    with shop.store.session() as session:
        (known,) = learned_now(session, [1], end).values()
    assert known.rate_factor != 1.0
    assert after[60:].mean() < 0.9 * before[60:].mean()
    assert movement_after < movement_before
