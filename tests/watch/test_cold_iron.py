"""Cast iron below the dew point: told where a place has some, once a spell, and heard of next morning."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from model.records.acts import places
from model.records.schema.tables import Place
from tests.said import said

DAY = 24


def spring(days: int = 6, damp: tuple[int, ...] = (2,)) -> tuple[np.ndarray, np.ndarray]:
    """Cold days at 2 °C, and on some a mild damp afternoon that comes in at the doors."""
    temperature_c, rh_pct = np.full(days * DAY, 2.0), np.full(days * DAY, 70.0)
    for day in damp:
        hours = slice(day * DAY + 11, day * DAY + 17)
        temperature_c[hours], rh_pct[hours] = 14.0, 80.0
    return temperature_c, rh_pct


def shop_with(make_shop: Callable[[], Any], damp: tuple[int, ...] = (2,), **place: Any) -> Any:
    shop = make_shop()
    shop.place(**place)
    shop.sensor()
    shop.send(shop.hourly(6 * DAY, *spring(damp=damp)))
    return shop


def told(shop: Any) -> list[Any]:
    return [w for w in shop.warnings("place") if w.limit_name == "cold-iron"]


@pytest.mark.parametrize("step", [5, 6 * DAY])
def test_iron_is_told_of_within_the_hour_and_stands_until_the_next_morning(make_shop: Any, step: int):
    shop = shop_with(make_shop, has_iron=True)
    for until in [*range(step, 6 * DAY, step), 6 * DAY]:
        shop.evaluate(shop.hour(until))
    (warning,) = told(shop)
    assert warning.opened_at == shop.hour(2 * DAY + 12)
    assert warning.closed_at - warning.opened_at >= timedelta(hours=24)
    assert warning.tier == "morning"
    assert warning.detail["basis"] == "estimated"
    assert warning.detail["iron_c"] < warning.detail["dew_point_c"]


def test_the_place_says_so_while_it_lasts(make_shop: Any):
    shop = shop_with(make_shop, has_iron=True)
    shop.evaluate(shop.hour(2 * DAY + 13))
    verdict = shop.verdict("place", 1)
    assert (verdict.verdict, verdict.detail["key"]) == ("near", "iron-wet-now")
    assert said(verdict).startswith("Cast iron stands below the dew point")
    shop.evaluate(shop.hour(3 * DAY + 5))
    assert "iron" not in said(shop.verdict("place", 1))


def test_iron_below_the_dew_point_for_part_of_an_hour_is_not_warned_of(make_shop: Any):
    """One hour of 14 °C at 51 %, dew point 4 °C: the iron goes from 2 to 5 °C and is wet for some minutes."""
    shop = make_shop()
    shop.place(has_iron=True)
    shop.sensor()
    temperature_c, rh_pct = np.full(6 * DAY, 2.0), np.full(6 * DAY, 70.0)
    temperature_c[2 * DAY + 11], rh_pct[2 * DAY + 11] = 14.0, 51.0
    shop.send(shop.hourly(6 * DAY, temperature_c, rh_pct))
    shop.evaluate(shop.hour(6 * DAY))
    assert told(shop) == []


def test_nothing_is_said_of_a_place_without_iron(make_shop: Any):
    shop = shop_with(make_shop)
    shop.evaluate(shop.hour(6 * DAY))
    assert told(shop) == []


def test_a_damp_week_is_told_once(make_shop: Any):
    shop = shop_with(make_shop, damp=(2, 3, 4), has_iron=True)
    shop.evaluate(shop.hour(6 * DAY))
    assert len(told(shop)) == 1


def test_without_the_cold_hours_before_nothing_is_known_of_the_iron(make_shop: Any):
    shop = make_shop()
    shop.place(has_iron=True)
    shop.sensor()
    temperature_c, rh_pct = spring()
    rows = shop.hourly(6 * DAY, temperature_c, rh_pct)
    shop.send([row for row in rows if not shop.hour(2 * DAY + 4) < row[0] < shop.hour(2 * DAY + 10)])
    shop.evaluate(shop.hour(6 * DAY))
    assert told(shop) == []


def test_a_place_may_be_said_to_hold_iron_later(make_shop: Any):
    shop = shop_with(make_shop)
    shop.evaluate(shop.hour(6 * DAY))
    shop.change(lambda session: places.change_place(session, session.get_one(Place, 1), has_iron=True))
    shop.evaluate(shop.hour(6 * DAY))
    assert len(told(shop)) == 1
