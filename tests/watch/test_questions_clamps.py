"""Clamps on: the air is watched reading by reading until they come off."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from model.answers.adhesives import LABEL, Adhesive
from model.records.schema.tables import Place, Warning
from model.watch.questions.clamps import clamps_off, clamps_on, open_glue_up, watch_clamps
from model.wood.errors import BadInput
from tests.said import said

GLUE = Adhesive("white glue", 12.8, most_c=30.0, most_rh_pct=75.0, source=LABEL)
MINUTE = timedelta(minutes=1)


def minutes(shop: Any, *spans: tuple[int, float, float], every: int = 5, first: int = 0) -> list[Any]:
    """Readings every few minutes after hour 10: so many minutes of this air, then of that."""
    rows, at = [], first
    for length, temperature_c, rh_pct in spans:
        for _ in range(length // every):
            rows.append((shop.hour(10) + at * MINUTE, temperature_c, rh_pct))
            at += every
    return rows


@pytest.fixture
def shop(make_shop: Callable[[], Any]) -> Any:
    shop = make_shop()
    shop.place("bench room", "shop")
    shop.sensor("bench")
    shop.change(lambda session: clamps_on(session, session.get_one(Place, 1), GLUE, shop.hour(10)))
    return shop


def told(shop: Any) -> list[Warning]:
    return [row for row in shop.rows(Warning) if row.limit_name.startswith("glue-up")]


def test_a_quarter_of_an_hour_of_cold_calls_at_once_and_once(shop: Any):
    shop.send(minutes(shop, (30, 19.0, 45.0), (40, 9.0, 50.0)))
    assert watch_clamps(shop.store, shop.hour(11.2)) == 1
    assert watch_clamps(shop.store, shop.hour(11.3)) == 0
    (warning,) = told(shop)
    assert warning.tier == "now"
    assert warning.opened_at == shop.hour(10) + 45 * MINUTE
    assert warning.closed_at is None
    assert "colder than white glue allows" in said(warning)


def test_ten_minutes_of_an_open_door_call_nobody(shop: Any):
    shop.send(minutes(shop, (30, 19.0, 45.0), (10, 9.0, 50.0), (30, 18.0, 45.0)))
    assert watch_clamps(shop.store, shop.hour(12)) == 0
    assert told(shop) == []


def test_it_is_over_when_the_air_is_back(shop: Any):
    shop.send(minutes(shop, (30, 19.0, 45.0), (30, 9.0, 50.0)))
    watch_clamps(shop.store, shop.hour(11))
    shop.send(minutes(shop, (30, 18.0, 45.0), first=60))
    assert watch_clamps(shop.store, shop.hour(12)) == 1
    (warning,) = told(shop)
    assert warning.closed_at == shop.hour(11)


def test_clamps_off_ends_it_and_nothing_more_is_watched(shop: Any):
    shop.send(minutes(shop, (30, 19.0, 45.0), (30, 9.0, 50.0)))
    watch_clamps(shop.store, shop.hour(11))
    shop.change(lambda session: clamps_off(session, session.get_one(Place, 1), shop.hour(11.1)))
    watch_clamps(shop.store, shop.hour(11.2))
    shop.send(minutes(shop, (120, 5.0, 50.0), first=80))
    watch_clamps(shop.store, shop.hour(14))
    (warning,) = told(shop)
    assert warning.closed_at == shop.hour(11.1)


def test_looking_late_or_often_gives_the_same(make_shop: Callable[[], Any]):
    found = []
    for looks in ([14.0], [10.6, 10.9, 11.2, 11.6, 12.1, 14.0]):
        shop = make_shop()
        shop.place("bench room", "shop")
        shop.sensor("bench")
        shop.change(lambda session, s=shop: clamps_on(session, session.get_one(Place, 1), GLUE, s.hour(10)))
        rows = minutes(shop, (30, 19.0, 45.0), (30, 9.0, 50.0), (30, 19.0, 45.0), (30, 19.0, 90.0))
        sent = 0
        for look in looks:
            due = [row for row in rows if row[0] <= shop.hour(look)]
            shop.send(due[sent:])
            sent = len(due)
            watch_clamps(shop.store, shop.hour(look))
        found.append([(row.opened_at, row.closed_at, row.detail) for row in told(shop)])
    assert found[0] == found[1]
    assert len(found[0]) == 2


def test_a_doubted_reading_calls_nobody(shop: Any):
    from model.records.acts.trusted import doubt_span
    from model.records.schema.tables import Sensor

    shop.send(minutes(shop, (30, 19.0, 45.0), (60, 9.0, 50.0)))
    shop.change(
        lambda session: doubt_span(
            session,
            session.get_one(Sensor, 1),
            shop.hour(10.4),
            None,
            "it fell in the sawdust",
            shop.hour(11),
        )
    )
    assert watch_clamps(shop.store, shop.hour(12)) == 0


def test_clamps_are_on_once_and_come_off_once(shop: Any):
    with pytest.raises(BadInput, match="must be off before others go on"):
        shop.change(lambda session: clamps_on(session, session.get_one(Place, 1), GLUE, shop.hour(11)))
    shop.change(lambda session: clamps_off(session, session.get_one(Place, 1), shop.hour(12)))
    with pytest.raises(BadInput, match="must be on to come off"):
        shop.change(lambda session: clamps_off(session, session.get_one(Place, 1), shop.hour(12)))
    assert (
        shop.change(lambda session: open_glue_up(session, session.get_one(Place, 1), shop.hour(13))) is None
    )
