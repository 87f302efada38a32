"""Several watches that divide the places among them, in any order of turns, come to what one alone does."""

import random
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from model.records import book, hangings, measured
from model.records.tables import Fit, Member, Piece, Place, Sensor, Stack
from model.watch import ledger, tasks, writing
from model.watch.air_hours import Hung
from model.watch.evaluation import Watch
from model.watch.shares import ALL, SHARES, Shares

DAYS = 16
HOMES = 4
DRY_PCT = 30.0
HOUR = timedelta(hours=1)


def foresee(requests):
    """An outlook that follows from a place's past alone: dry air before the piece came counts too."""
    found = []
    for request in requests:
        air = request.airs[request.place_id]
        past = air.rh_pct[max(request.hour - 240 - air.first, 0) : max(request.hour - air.first, 0)]
        crossing = {
            "days": 5,
            "low_days": 3,
            "high_days": 9,
            "mean_pct": float(past.mean()) if len(past) else 0,
        }
        dry = len(past) > 0 and past.mean() < DRY_PCT
        found.append(
            {(fit.name, limit): crossing for fit in request.owner.fits for limit in fit.limit_names if dry}
        )
    return found


def furnished(make_shop):
    """A shop and its homes; pieces made in the one for the others, lumber for them, a sensor that moves."""
    shop = make_shop()
    shop.place()
    shop.sensor()
    for number in range(HOMES):
        shop.place(f"home {number}", "home")
        shop.sensor(f"hall {number}", number + 2)
    for number in range(HOMES):
        shop.piece(shop.cabinet.replace("Wall", f"No. {number}"))
    shop.stack(destination=3)
    shop.stack("ash that stays", thickness_mm=8.0)
    shop.watch = Watch(shop.store, foresee)
    return shop


def changes(shop, seed):
    """What a maker records over these days, each at any time after the fact."""
    chance = random.Random(seed)
    at = [shop.hour(chance.randrange(40, DAYS * 24) + chance.random()) for _ in range(6)]

    def moves(piece, place, when):
        return lambda session: book.move_piece(
            session, session.get_one(Piece, piece), session.get_one(Place, place), when
        )

    return [
        moves(1, 2, at[0]),
        moves(2, 3, at[1]),
        moves(3, 4, at[2]),
        lambda session: book.move_piece(
            session,
            session.get_one(Piece, 1),
            session.get_one(Place, 5),
            max(at[0], at[3]) + timedelta(hours=9),
        ),
        lambda session: measured.record_measurement(
            session, session.get_one(Member, 2), "width_mm", 219.0, at[2], fit=session.get(Fit, 0)
        ),
        # From the home of one share to that of another: both are one share's from then on.
        lambda session: hangings.hang_sensor(
            session, session.get_one(Sensor, 4), session.get_one(Place, 5), at[4]
        ),
        lambda session: book.move_stack(session, session.get_one(Stack, 9), session.get_one(Place, 3), at[5]),
        lambda session: book.retire(session, session.get_one(Piece, 4), shop.hour(DAYS * 24 - 30)),
    ]


def history(shop, seed):
    rng = np.random.default_rng(seed)
    hours = DAYS * 24
    rows = []
    for sensor in range(1, HOMES + 2):
        dry = 45.0 - 30.0 * np.clip(np.arange(hours) / hours * 1.5, 0.0, 1.0)
        rh_pct = np.clip(
            dry + 8.0 * np.sin(np.arange(hours) / 40.0 + sensor) + rng.normal(0, 4, hours), 2, 98
        )
        temperature_c = 18.0 + 3.0 * np.sin(np.arange(hours) / 3.8)
        start = int(rng.integers(24, hours - 48))
        gap = range(start, start + int(rng.integers(2, 90)))
        rows += [
            (sensor, row)
            for number, row in enumerate(shop.hourly(hours, temperature_c, rh_pct))
            if number not in gap
        ]
    return sorted(rows, key=lambda entry: entry[1][0])


def send(shop, rows):
    for sensor in range(1, HOMES + 2):
        shop.send([row for number, row in rows if number == sensor], sensor)


def divided(shop, chance, count):
    """Watches that hold all shares among them, dealt out by chance."""
    dealt = [chance.randrange(count) for _ in range(SHARES)]
    watches = [Watch(shop.store, foresee) for _ in range(count)]
    for number, watch in enumerate(watches):
        watch.hold(frozenset(share for share in range(SHARES) if dealt[share] == number))
    return watches


def settle(shop, watches, at):
    """Give every watch its turn until none has anything to do."""
    for _ in range(20):
        waits = [watch.bring_up_to_date(at).waits for watch in watches]
        with ledger.reading(shop.store) as bulk:
            counts = ledger.read_counts(bulk)
            left = ledger.first_marks(bulk)
        if not any(waits) and not left and not any(watch.has_moved(counts) for watch in watches):
            return
    pytest.fail("the watches never come to rest")


@settings(max_examples=4, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 10_000))
def test_watches_that_divide_the_places_come_to_what_one_does(make_shop, monkeypatch, seed):
    chance = random.Random(seed)
    alone, several = furnished(make_shop), furnished(make_shop)
    rows = history(alone, seed)
    end = alone.hour(DAYS * 24 + 5)
    for change in changes(alone, seed):
        alone.change(change)
    send(alone, rows)
    alone.evaluate(end)

    monkeypatch.setattr(writing, "ROWS_AT_ONCE", chance.choice([30, 200, 40_000]))
    monkeypatch.setattr(tasks, "BODY_HOURS_AT_ONCE", chance.choice([500, 2_000_000]))
    watches = divided(several, chance, chance.choice([2, 3]))
    left, to_change = rows[:], changes(several, seed)
    if chance.random() < 0.7:
        chance.shuffle(left)
    while left or to_change:
        count = chance.randrange(50, 500)
        batch, left = left[:count], left[count:]
        send(several, batch)
        if to_change and chance.random() < 0.6:
            several.change(to_change.pop(0))
        if chance.random() < 0.2:
            watches = divided(several, chance, chance.choice([1, 2, 3]))
        latest = max((row[0] for _, row in batch), default=end)
        for watch in chance.sample(watches, chance.randrange(1, len(watches) + 1)):
            watch.bring_up_to_date(min(end, latest + chance.randrange(-1, 3) * HOUR))
    settle(several, watches, end)
    monkeypatch.undo()
    assert several.computed() == alone.computed()
    assert len(alone.warnings()) > 0


def test_hour_by_hour_each_watch_writes_its_own_and_nothing_of_the_others(make_shop):
    shop = furnished(make_shop)
    for change in changes(shop, 1)[:3]:
        shop.change(change)
    rows = history(shop, 3)  # no gap ends in the last days, and changes what lies in it
    watches = [Watch(shop.store, foresee) for _ in range(2)]
    watches[0].hold(frozenset(range(12)))
    watches[1].hold(ALL - frozenset(range(12)))
    first = (DAYS - 2) * 24
    send(shop, [entry for entry in rows if entry[1][0] < shop.hour(first)])
    settle(shop, watches, shop.hour(first))
    for number in range(first + 1, DAYS * 24):
        send(shop, [entry for entry in rows if shop.hour(number - 1) <= entry[1][0] < shop.hour(number)])
        bodies = 0
        for watch in watches:
            done = watch.bring_up_to_date(shop.hour(number))
            bodies += done.counts.get("bodies", 0)
        # A stack that is to go to another watch's place is told each midnight, and begins again.
        if number % 24 not in (23, 0, 1):
            assert bodies == 2 * HOMES + 2, "each body is computed once an hour"
            with ledger.reading(shop.store) as bulk:
                counts = ledger.read_counts(bulk)
            assert not any(watch.has_moved(counts) for watch in watches)
    settle(shop, watches, shop.hour(DAYS * 24))


def test_late_readings_in_the_shop_reach_a_piece_that_stands_in_anothers_home(make_shop):
    shop, alone = furnished(make_shop), furnished(make_shop)
    rows = history(shop, 7)
    cut = [entry for entry in rows if entry[0] != 1 or entry[1][0] >= shop.hour(150)]
    for each in (shop, alone):
        for change in changes(each, 3)[:3]:
            each.change(change)
    end = shop.hour(DAYS * 24)
    with ledger.reading(shop.store) as bulk:
        shares = Shares.read(bulk, range(1, HOMES + 2))
    of_shop = frozenset({shares.of_place[1]})
    assert shares.of_place[2] not in of_shop
    watches = [Watch(shop.store, foresee) for _ in range(2)]
    watches[0].hold(of_shop)
    watches[1].hold(ALL - of_shop)
    send(shop, cut)
    settle(shop, watches, end)
    send(shop, rows)
    done = watches[0].bring_up_to_date(end)
    assert done.counts["bodies"] < 2 * HOMES + 2
    with ledger.reading(shop.store) as bulk:
        assert watches[1].has_moved(ledger.read_counts(bulk)), "the homes' watch is told"
    settle(shop, watches, end)
    send(alone, rows)
    alone.evaluate(end)
    assert shop.computed() == alone.computed()


def test_wood_waits_for_the_air_of_another_watchs_place(make_shop):
    shop = furnished(make_shop)
    shop.change(changes(shop, 3)[0])
    send(shop, history(shop, 7))
    end = shop.hour(DAYS * 24)
    with ledger.reading(shop.store) as bulk:
        of_shop = frozenset({Shares.read(bulk, range(1, HOMES + 2)).of_place[1]})
    homes = Watch(shop.store, foresee)
    homes.hold(ALL - of_shop)
    done = homes.bring_up_to_date(end)
    assert done.waits
    assert done.counts.get("bodies", 0) == 0, "the shop's readings have not been judged"
    with_shop = Watch(shop.store, foresee)
    with_shop.hold(of_shop)
    settle(shop, [with_shop, homes], end)


def test_places_with_a_sensor_in_common_are_one_share():
    hangings_ = [Hung(1, 1, 0, 9), Hung(1, 5, 9, 20), Hung(2, 5, 0, 20), Hung(2, 8, 20, 30), Hung(3, 6, 0, 9)]
    shares = Shares.of(range(1, 10), hangings_)
    assert shares.of_place[1] == shares.of_place[5] == shares.of_place[8]
    assert shares.of_sensor(1) == shares.of_sensor(2) == shares.of_place[1]
    assert len({shares.of_place[place] for place in (1, 2, 3, 4, 6, 7, 9)}) == 7
    assert shares.of_sensor(3) == shares.of_place[6]
