"""Wood rests where the air is not heard of beyond the place's time, until air comes again."""

import pytest

from model.records.acts import book
from model.records.schema.tables import AirHour, Checkpoint, PieceRow, Place
from model.watch.run.evaluation import Watch
from tests.said import said

HEARD_H = 240


def home(shop, kind="home"):
    shop.place("flat", kind)
    shop.sensor("hall")
    shop.piece()
    shop.send(shop.hourly(HEARD_H, 20.0, 42.0))
    return shop


def last_followed(shop):
    return max(row.at for row in shop.rows(Checkpoint))


@pytest.mark.parametrize(("kind", "time_h"), [("home", 72), ("shop", 24), ("storage", 24)])
def test_a_silent_place_is_followed_for_its_time_and_no_longer(make_shop, kind, time_h):
    shop = home(make_shop(), kind)
    for number in (HEARD_H + 20, HEARD_H + time_h, HEARD_H + time_h + 1, HEARD_H + 2000):
        shop.evaluate(shop.hour(number))
    assert last_followed(shop) == shop.hour(HEARD_H + time_h)
    assert max(row.hour_at for row in shop.rows(AirHour)) == shop.hour(HEARD_H + time_h - 1)
    verdict = shop.fit_verdicts()["back"]
    assert verdict.verdict == "unknown"
    assert "No reading from flat for 83 days" in said(verdict)
    assert shop.verdict("piece", 1).verdict == "unknown"


def test_a_watch_that_starts_anew_says_the_same_of_wood_that_rests(make_shop):
    running, anew = home(make_shop()), home(make_shop())
    for number in range(HEARD_H + 60, HEARD_H + 120, 7):
        running.evaluate(running.hour(number))
        anew.watch = Watch(anew.store)
        anew.evaluate(anew.hour(number))
        assert running.computed() == anew.computed()


def test_a_gap_that_later_air_closes_is_filled_followed_and_marked(make_shop):
    late, timely = home(make_shop()), home(make_shop())
    after = late.hourly(100, 20.0, 55.0, first=HEARD_H + 500)
    late.evaluate(late.hour(HEARD_H + 400))
    assert last_followed(late) == late.hour(HEARD_H + 72)
    for shop in (late, timely):
        shop.send(after)
        shop.evaluate(shop.hour(HEARD_H + 600))
    assert last_followed(late) == late.hour(HEARD_H + 600)
    gap = [row for row in late.rows(AirHour) if not row.n_readings]
    assert len(gap) == 500
    assert {row.basis for row in gap} == {"estimated"}
    # Every midnight of the gap is on record, and counts the estimated hours that led to it.
    silent = range(HEARD_H + 24, HEARD_H + 500, 24)
    followed = {row.at: row.estimated_hours for row in late.rows(Checkpoint) if row.body_id == 1}
    assert [followed[late.hour(number)] for number in silent] == [number - HEARD_H for number in silent]
    assert followed[late.hour(HEARD_H + 600)] == 0
    assert late.computed() == timely.computed()


@pytest.mark.parametrize("silence_h", [73, 200, 1500])
def test_wood_rests_through_a_silence_of_any_length_until_air_comes_again(make_shop, silence_h):
    shop = home(make_shop())
    for number in range(HEARD_H, HEARD_H + silence_h, 50):
        shop.evaluate(shop.hour(number))
        assert last_followed(shop) <= shop.hour(HEARD_H + 72)
        assert max(row.hour_at for row in shop.rows(AirHour)) < shop.hour(HEARD_H + 72)
    shop.send(shop.hourly(1, 20.0, 55.0, first=HEARD_H + silence_h))
    shop.evaluate(shop.hour(HEARD_H + silence_h + 1))
    assert last_followed(shop) == shop.hour(HEARD_H + silence_h + 1)
    assert shop.fit_verdicts()["back"].verdict != "unknown"


def test_a_piece_that_moved_on_to_air_that_is_heard_is_followed_there(make_shop):
    shop = home(make_shop())
    shop.place("lake house", "home")
    shop.sensor("lake", 2)
    shop.send(shop.hourly(1000, 20.0, 50.0), 2)
    moved_at = shop.hour(HEARD_H + 300)
    shop.change(
        lambda session: book.move(session, session.get_one(PieceRow, 1), session.get_one(Place, 2), moved_at)
    )
    shop.evaluate(shop.hour(1000))
    assert last_followed(shop) == shop.hour(1000)
    assert shop.fit_verdicts()["back"].verdict != "unknown"


def test_warnings_stay_open_while_wood_rests_and_end_with_the_piece(make_shop):
    shop = make_shop()
    shop.place("flat", "home")
    shop.sensor("hall")
    shop.piece(shop.cabinet.replace('gap = "1.2mm"', 'gap = "0.1mm"'))
    shop.send(shop.hourly(HEARD_H, 20.0, 42.0))
    shop.evaluate(shop.hour(HEARD_H + 500))
    before = shop.computed()
    (warning,) = [one for one in shop.warnings() if one.limit_name == "binds"]
    assert warning.closed_at is None
    retired_at = shop.hour(HEARD_H + 400)
    number = shop.act(lambda session: book.retire(session, session.get_one(PieceRow, 1), retired_at))
    shop.evaluate(shop.hour(HEARD_H + 500))
    (warning,) = [one for one in shop.warnings() if one.limit_name == "binds"]
    assert warning.closed_at == retired_at
    shop.take_back(number)
    shop.evaluate(shop.hour(HEARD_H + 500))
    assert shop.computed() == before
