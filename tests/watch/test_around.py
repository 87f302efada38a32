"""What is told of stacks and places: once, from whole days or sustained hours, whenever it became known."""

from datetime import timedelta
from itertools import pairwise

import numpy as np
import pytest

from model.records.acts.trusted import BY_HAND
from model.records.schema.tables import Doubt
from model.watch.air.daily import Days
from model.watch.state.roster import PlaceOnBook
from model.watch.tell.place_days import place_history
from model.wood.reason import Reason
from tests.said import said

pytestmark = pytest.mark.usefixtures("few_years")

DAY = 24


def told(shop, kind, limit=None):
    return [w for w in shop.warnings(kind) if limit is None or w.limit_name == limit]


def days(*spells):
    """Hourly humidity, each spell so many days at so many percent."""
    return np.concatenate([np.full(int(count * DAY), float(rh_pct)) for count, rh_pct in spells])


def watched(shop, rh_pct, step=None, sensors=(1,), temperature_c=20.0):
    """Send hours of air and evaluate, at once or every few hours."""
    rows = shop.hourly(len(rh_pct), temperature_c, rh_pct)
    for until in range(step or len(rows), len(rows) + 1, step or len(rows)):
        for sensor in sensors:
            shop.send(rows[until - (step or len(rows)) : until], sensor)
        shop.evaluate(shop.hour(until))


@pytest.fixture
def bare(make_shop):
    """A shop with one sensor and nothing of wood in it, and a flat whose air is known."""
    made = make_shop()
    made.place()
    made.sensor()
    made.place("flat", "home")
    made.sensor("hall", 2)
    return made


# ---------------------------------------------------------------- stacks


@pytest.mark.parametrize("step", [None, pytest.param(20, marks=pytest.mark.slow)])
def test_a_stack_that_becomes_ready_is_told_once_this_week(bare, step):
    bare.send(bare.hourly(50 * DAY, 20.0, 50.0), 2)
    bare.stack("ash", destination=2, species="white ash", thickness_mm=12.0)
    watched(bare, days((50, 50)), step)
    (ready,) = told(bare, "stack")
    assert (ready.limit_name, ready.tier, ready.from_verdict, ready.to_verdict) == (
        "ready",
        "week",
        "near",
        "clear",
    )
    assert said(ready).startswith("Ready: ")
    assert ready.closed_at - ready.opened_at == timedelta(days=7)
    assert bare.verdict("stack", 1).verdict == "clear"
    assert ready.opened_at == bare.verdict("stack", 1).since_at


def test_a_stack_that_is_ready_when_it_comes_is_no_news(bare):
    bare.stack("ash", mc_pct=8.0, how="oven")
    watched(bare, days((20, 42)))
    assert bare.verdict("stack", 1).verdict == "clear"
    assert told(bare, "stack") == []


@pytest.mark.parametrize("step", [None, pytest.param(20, marks=pytest.mark.slow)])
def test_a_stack_that_drifts_away_from_where_it_goes_is_told_the_same_morning(bare, step):
    bare.send(bare.hourly(50 * DAY, 20.0, 35.0), 2)
    bare.stack("ash", destination=2, mc_pct=8.0, thickness_mm=19.0)
    watched(bare, days((10, 42), (40, 70)), step)
    (drift,) = told(bare, "stack", "drift")
    assert (drift.tier, drift.closed_at) == ("morning", None)
    assert "more than a week before" in said(drift)
    assert bare.hour(11 * DAY) < drift.opened_at < bare.hour(20 * DAY)


@pytest.mark.slow
def test_a_daily_stove_does_not_make_a_stack_ready_and_not_ready_by_turns(bare):
    hours = np.arange(60 * DAY)
    bare.stack("maple", mc_pct=10.0)
    rows = bare.hourly(len(hours), 20.0, np.where((hours % DAY > 8) & (hours % DAY < 17), 28.0, 48.0))
    bare.send(rows)
    seen = []
    for until in range(7, 60 * DAY, 7):
        bare.evaluate(bare.hour(until))
        seen.append(bare.verdict("stack", 1).verdict)
    changes = sum(a != b for a, b in pairwise(seen))
    assert seen[-1] == "clear"
    assert changes <= 3


# ---------------------------------------------------------------- a shop whose air moves


@pytest.mark.parametrize("step", [None, 6])
def test_a_shop_whose_air_moves_is_told_the_same_morning(bare, step):
    bare.stack()
    watched(bare, days((10, 45), (10, 60)), step)
    (moving,) = told(bare, "place")
    assert (moving.limit_name, moving.tier) == ("moving", "morning")
    assert moving.opened_at == bare.hour(12 * DAY)
    assert moving.closed_at == bare.hour(15 * DAY)
    assert "points damper than three days before" in said(moving)
    assert bare.verdict("place", 1).verdict == "clear"


def test_a_day_by_the_stove_an_hour_at_saturation_an_empty_shop_and_a_home_say_nothing(make_shop):
    for kind, used, spells in (
        ("shop", True, ((10, 45), (1, 25), (10, 45))),
        ("shop", True, ((10, 45), (1 / 24, 100), (10, 45))),
        ("shop", False, ((10, 45), (10, 60))),
        ("home", True, ((10, 45), (10, 60))),
    ):
        shop = make_shop()
        shop.place("there", kind)
        shop.sensor()
        if used:
            shop.stack()
        watched(shop, days(*spells))
        assert told(shop, "place") == []
        assert shop.verdict("place", 1).verdict == "clear"


# ---------------------------------------------------------------- water


def burst(hours_wet, before=40.0):
    air = np.full(6 * DAY, before)
    air[70 : 70 + hours_wet] = 95.0
    return air


@pytest.mark.slow
@pytest.mark.parametrize("step", [None, 1])
def test_water_is_told_now(bare, step):
    bare.stack()
    watched(bare, burst(5), step)
    (water,) = told(bare, "place", "water")
    assert (water.tier, water.to_verdict) == ("now", "past")
    assert water.opened_at == bare.hour(73)
    assert water.closed_at == bare.hour(76)
    assert "from 40 to 95 %" in said(water)


def test_a_spike_a_cold_night_and_a_room_without_wood_are_no_water(make_shop):
    cold = np.full(6 * DAY, 20.0)
    cold[68:80] = [18, 16, 14, 12, 10, 8, 8, 8, 8, 8, 8, 8]
    night = np.full(6 * DAY, 45.0)
    night[68:80] = [51, 58, 66, 75, 86, 98, 98, 98, 98, 98, 98, 98]  # the same moisture in the air
    for used, rh_pct, temperature_c in ((True, burst(2), 20.0), (True, night, cold), (False, burst(5), 20.0)):
        shop = make_shop()
        shop.place()
        shop.sensor()
        if used:
            shop.stack()
        watched(shop, rh_pct, temperature_c=temperature_c)
        assert told(shop, "place", "water") == []


# ---------------------------------------------------------------- silence


def test_a_place_with_two_silent_sensors_is_told_as_one_more(bare):
    bare.sensor("shelf", 1)
    watched(bare, days((4, 45)), sensors=(1, 3))
    for hour in (4 * DAY + 24, 4 * DAY + 25, 6 * DAY):
        bare.evaluate(bare.hour(hour))
    (silent,) = told(bare, "place", "silent")
    assert (silent.tier, silent.to_verdict, silent.opened_at) == ("morning", "unknown", bare.hour(5 * DAY))
    bare.send(bare.hourly(2, 20.0, 45.0, first=6 * DAY))
    bare.evaluate(bare.hour(6 * DAY + 2))
    (silent,) = told(bare, "place", "silent")
    assert silent.closed_at == bare.hour(6 * DAY + 1)


def test_a_place_with_one_silent_sensor_is_told_by_the_sensor_alone(bare):
    watched(bare, days((4, 45)))
    bare.evaluate(bare.hour(8 * DAY))
    assert told(bare, "place") == []
    assert len([w for w in told(bare, "sensor") if w.subject_id == 1]) == 1


def test_a_place_whose_only_sensor_is_not_believed_is_told(bare):
    def doubt(session):
        session.add(
            Doubt(
                sensor_id=1,
                kind=BY_HAND,
                since_at=bare.hour(4 * DAY),
                reason="it drifts",
                raised_at=bare.hour(0),
            )
        )

    bare.change(doubt)
    watched(bare, days((8, 45)))
    (silent,) = told(bare, "place", "silent")
    assert silent.opened_at == bare.hour(5 * DAY)


# ---------------------------------------------------------------- the season


FIRST_OF_JUNE = 19_875  # in 2024, days since 1970


def year(*spells):
    """Days of measured humidity from the first of June."""
    rh_pct = np.concatenate([np.full(count, float(value)) for count, value in spells])
    return Days(FIRST_OF_JUNE, np.full(len(rh_pct), 8.0), np.full(len(rh_pct), 8.0), rh_pct)


def seasons(found_days, names=("Hall bench",)):
    place = PlaceOnBook(1, "Lake house", "home")
    history = place_history(
        place, found_days, found_days.end * DAY, lambda hour: True, lambda midnight: list(names)
    )
    return history.episodes


def test_the_heating_season_is_told_once_in_its_first_week():
    (season,) = seasons(year((120, 55), (30, 50), (100, 40), (60, 46), (20, 40)))
    # Ten points below the summer of 55: a week's mean of 45 comes on the fourth day at 40 or so.
    assert 150 < season.opened_ms / 86_400_000 - FIRST_OF_JUNE < 158
    assert (season.tier, season.limit_name) == ("season", "season")
    assert said(Reason.of(season.detail)) == (
        "The heating season starts at Lake house: one piece has less than a point of moisture left before a "
        "dry limit: Hall bench."
    )
    assert season.closed_ms == season.opened_ms + 28 * 86_400_000


def test_no_season_without_a_summer_or_a_piece_that_minds():
    assert seasons(year((20, 55), (100, 30))) == ()
    assert seasons(year((120, 55), (40, 30)), names=()) == ()
    assert seasons(year((120, 50), (40, 42))) == ()


def test_a_dry_week_before_the_season_does_not_tell_it_twice():
    assert len(seasons(year((120, 55), (10, 40), (40, 54), (60, 38)))) == 1
    assert len(seasons(year((120, 55), (120, 38), (200, 55), (60, 38)))) == 2


def test_the_season_names_the_pieces_with_less_than_a_point_left(make_shop):
    shop = make_shop()
    shop.place("flat", "home", climate={"latitude_deg": -35.0})  # it is January: summer there
    shop.sensor()
    shop.piece(at=shop.hour(60 * DAY))
    roomy = shop.cabinet.replace("Wall cabinet", "Roomy cabinet").replace('"7mm"', '"20mm"')
    roomy = roomy.replace('"300mm"', '"316mm"').replace('gap = "1.2mm"', 'gap = "0.5mm"\nwidest_gap = "9mm"')
    shop.piece(roomy, at=shop.hour(60 * DAY))
    watched(shop, days((70, 60), (30, 34)))
    (season,) = told(shop, "place", "season")
    assert season.detail["pieces"] == ["Wall cabinet"]
