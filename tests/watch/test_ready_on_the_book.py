"""A stack's one answer as the watch stores it: is it ready, and when?"""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from model.records.acts import places
from model.records.acts.measured import record_measurement
from model.records.queries import overview as queries
from model.records.queries.overview import Ready
from model.records.schema.tables import Place, Stack
from tests.said import said

COLD = {"temperature_c": [-14, -11, -4, 5, 12, 17, 20, 18, 12, 5, -3, -11], "rh_pct": [75] * 12}


def stack_of(shop: Any, hour: float) -> queries.StackNow:
    with shop.store.session() as session:
        return queries.stack_named(session, shop.hour(hour), "maple")


def answered(shop: Any, hour: int) -> Ready:
    shop.evaluate(shop.hour(hour))
    return stack_of(shop, hour).ready


@pytest.fixture
def bench(make_shop: Callable[[], Any]) -> Any:
    """A shop and a flat, a sensor in each."""
    shop = make_shop()
    shop.place()
    shop.sensor()
    shop.place("flat", "home")
    shop.sensor("hall", 2)
    return shop


def test_a_wet_stack_is_not_ready_and_says_when(bench: Any):
    # An inch of red oak at 11 % in 40 % air: by hand within a point in about three weeks. Nothing is known of
    # the seasons here but ten days, so the range is wide; the order is what counts.
    bench.stack("maple", species="red oak", mc_pct=11.0)
    bench.send(bench.hourly(240, 20.0, 40.0))
    ready = answered(bench, 240)
    assert not ready.is_ready
    assert not ready.never_here
    assert ready.from_at is not None
    assert bench.hour(240) < ready.from_at < bench.hour(240) + timedelta(days=80)
    assert ready.until_at is None or ready.until_at >= ready.from_at
    assert ready.target_mc_pct == pytest.approx(7.72, abs=0.06)


def test_a_settled_stack_is_ready(bench: Any):
    bench.stack("maple", mc_pct=7.8)
    bench.send(bench.hourly(720, 20.0, 40.0))
    assert answered(bench, 720) == Ready(
        True, False, stack_of(bench, 720).judgement.reason, None, None, pytest.approx(7.72, abs=0.06)
    )


def test_a_surface_reading_makes_ready_less_sure_until_it_is_metered_again(bench: Any, few_years: None):
    oak = {"species": "white oak", "thickness_mm": 76.2, "mc_pct": None, "readings_pct": [8.1, 8.5]}
    bench.stack("maple", **oak, how="pin meter", depth="surface")
    bench.send(bench.hourly(48, 20.0, 42.0))
    told = said(answered(bench, 48))
    assert stack_of(bench, 48).moisture.mc_doubt_pct > 2.0
    assert "first readings are good to ± 3.2 points only, because the meter read the surface" in told
    assert "not the inside of 76.0 mm stock; meter it again before you rely on this" in told
    bench.act(lambda s: record_measurement(s, s.get_one(Stack, 1), "mc_pct", 9.0, bench.hour(24), how="oven"))
    assert "first readings" not in said(answered(bench, 48))
    assert stack_of(bench, 48).moisture.mc_doubt_pct < 1.0


@pytest.mark.slow
def test_a_stack_that_was_just_recorded_is_not_ready_because_nobody_knows_how_it_moves(bench: Any):
    # Thin ash at 11 % falls past a point above its target within a week, and still moves.
    bench.stack("maple", species="white ash", thickness_mm=12.0, destination=2)
    bench.send(bench.hourly(20 * 24, 20.0, 45.0), 2)
    bench.send(bench.hourly(20 * 24, 20.0, 50.0))
    for hour in range(4 * 24, 9 * 24, 24):
        ready = answered(bench, hour)
        assert not ready.is_ready or "moving" not in said(ready)
        moves = stack_of(bench, hour).judgement.detail["slope_pct_a_week"]
        assert not (ready.is_ready and abs(moves) >= 0.6)


def test_a_year_that_was_measured_counts_as_measured(bench: Any):
    bench.stack("maple", destination=2, mc_pct=8.0, at=bench.hour(364 * 24))
    hours = np.arange(366 * 24)
    humidity = 42.0 + 12.0 * np.sin(2.0 * np.pi * hours / 8760.0)
    bench.send(bench.hourly(len(hours), 20.0, humidity), 2)
    bench.send(bench.hourly(48, 20.0, 42.0, first=364 * 24))
    from model.wood.air.sorption import equilibrium_moisture_content

    mean = float(np.mean(equilibrium_moisture_content(20.0, humidity)))
    assert answered(bench, 366 * 24).target_mc_pct == pytest.approx(mean, abs=0.1)


def test_a_home_that_was_seen_in_winter_only_is_not_taken_to_be_dry_all_year(make_shop: Callable[[], Any]):
    # Thirty days at 22 % would be 4.8 % if they stood for the year (Wood Handbook eq. 4-5).
    shop = make_shop()
    shop.place()
    shop.sensor()
    shop.place("flat", "home", climate=COLD)
    shop.sensor("hall", 2)
    shop.stack("maple", destination=2, mc_pct=7.4)
    shop.send(shop.hourly(30 * 24, 20.0, 38.0))
    shop.send(shop.hourly(30 * 24, 21.0, 22.0), 2)
    target = answered(shop, 30 * 24).target_mc_pct
    assert target is not None
    assert 5.5 < target < 9.0


def test_another_climate_of_the_destination_moves_the_target(bench: Any):
    bench.stack("maple", destination=2, mc_pct=8.0)
    bench.send(bench.hourly(49, 20.0, 42.0))
    before = answered(bench, 47).target_mc_pct
    bench.change(lambda session: places.change_place(session, session.get_one(Place, 2), climate=COLD))
    after = answered(bench, 48).target_mc_pct
    assert before is not None
    assert after is not None
    assert after < before - 0.3


def test_a_stack_that_no_air_is_known_for_says_so_and_knows_no_1970(bench: Any):
    bench.stack("maple", at=bench.hour(5))
    ready = answered(bench, 30)
    assert not ready.is_ready
    assert "No air is known at shop yet" in said(ready)
    judgement = stack_of(bench, 30).judgement
    assert judgement.verdict == "unknown"
    assert judgement.since_at == bench.hour(5)
    # Meant for a place, it has a target before its own shop has ever been heard.
    bench.change(lambda session: setattr(session.get_one(Stack, 1), "destination_id", 2))
    bench.send(bench.hourly(40, 20.0, 40.0), 2)
    assert not answered(bench, 35).is_ready
    assert stack_of(bench, 35).judgement.since_at == bench.hour(5)


@pytest.mark.slow
def test_the_answer_is_the_same_whether_it_was_asked_every_day_or_once(make_shop: Callable[[], Any]):
    found = []
    for step in (31, 15 * 24):
        shop = make_shop()
        shop.place()
        shop.sensor()
        shop.stack("maple", mc_pct=9.5)
        rows = shop.hourly(15 * 24, 20.0, 42.0)
        for until in [*range(step, 15 * 24, step), 15 * 24]:
            shop.send(rows[:until])
            shop.evaluate(shop.hour(until))
        found.append(stack_of(shop, 15 * 24).ready)
    assert found[0] == found[1]
    assert found[0].target_mc_pct is not None


def test_a_stack_metered_this_morning_is_judged_at_once(bench: Any):
    bench.stack("maple", mc_pct=9.9)
    bench.send(bench.hourly(250, 20.0, 42.0))
    assert not answered(bench, 245).is_ready

    def meter(session: Any) -> None:
        record_measurement(session, session.get_one(Stack, 1), "mc_pct", 8.0, bench.hour(245), how="oven")

    bench.change(meter)
    ready = answered(bench, 248)
    assert "still moving" not in said(ready)


def test_a_silence_is_no_all_clear(bench: Any):
    bench.stack("maple", mc_pct=8.0)
    bench.send(bench.hourly(240, 20.0, 42.0))
    assert answered(bench, 240).is_ready
    silent = answered(bench, 270)
    assert not silent.is_ready
    assert (silent.from_at, silent.never_here) == (None, False)
    assert said(silent).startswith("No reading from shop for 30 hours. Last known: ready")
