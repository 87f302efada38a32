"""The answer to "is this stack ready" and the word on its page come from one rule and never differ."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from model.records import places
from model.records.tables import Place
from model.watch.ready import ready

COLD = {"temperature_c": [-14, -11, -4, 5, 12, 17, 20, 18, 12, 5, -3, -11], "rh_pct": [75] * 12}


def answers(shop: Any, hour: int) -> tuple[Any, Any]:
    """What is asked and what the page has, after an evaluation at an hour."""
    shop.evaluate(shop.hour(hour))
    return ready(shop.store, "maple", shop.hour(hour)), shop.verdict("stack", 1)


def assert_they_agree(shop: Any, hour: int) -> str:
    answer, verdict = answers(shop, hour)
    assert answer.yes is (verdict.verdict == "easy"), (hour, verdict.reason, answer.reasons)
    if verdict.verdict == "unknown":
        assert answer.reasons[0].key == "unknown"
        return "unknown"
    numbers = verdict.detail
    assert numbers["ready"] is answer.yes
    assert answer.detail["target_pct"] == pytest.approx(numbers["target_pct"], abs=0.0051)
    assert answer.detail["target_is"] in verdict.reason
    assert answer.detail["mc_pct"] == pytest.approx(numbers["mc_pct"], abs=0.0051)
    assert answer.detail["core_to_face_pct"] == pytest.approx(numbers["core_to_face_pct"], abs=0.0051)
    assert (answer.detail["slope_pct_week"] is None) is (numbers["slope_pct_a_week"] is None)
    return str(verdict.verdict)


@pytest.fixture
def no_date(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leaves out the day it comes to, which says nothing of now and takes most of the time."""
    monkeypatch.setattr("model.watch.ready._when", lambda *_: None)


@pytest.mark.usefixtures("no_date")
@pytest.mark.parametrize(("home_days", "climate"), [(0, COLD), (3, None), (40, COLD)])
@pytest.mark.parametrize(("thickness_mm", "mc_pct"), [(12.0, 10.8), (38.0, 9.6)])
def test_they_never_disagree_while_little_is_known_of_the_destination(
    make_shop: Callable[[], Any], home_days: int, climate: Any, thickness_mm: float, mc_pct: float
):
    shop = make_shop()
    shop.place()
    shop.sensor()
    shop.place("flat", "home", climate=climate)
    shop.sensor("hall", 2)
    shop.stack("maple", destination=2, mc_pct=mc_pct, thickness_mm=thickness_mm)
    hours = np.arange(60 * 24)
    # A damp month, then a dry one, with a stove by day.
    humidity = np.where(hours < 25 * 24, 52.0, 38.0) - np.where(hours % 24 < 9, 0.0, 6.0)
    shop.send(shop.hourly(len(hours), 20.0, humidity))
    shop.send(shop.hourly(home_days * 24, 21.0, 30.0), 2)
    seen = [assert_they_agree(shop, hour) for hour in range(3, 60 * 24, 77)]
    assert len(set(seen)) > 1


@pytest.mark.usefixtures("no_date")
def test_they_agree_through_a_silence_and_without_a_destination(make_shop: Callable[[], Any]):
    shop = make_shop()
    shop.place()
    shop.sensor()
    shop.stack("maple", mc_pct=8.4)
    shop.send(shop.hourly(10 * 24, 20.0, 42.0))
    shop.send(shop.hourly(5 * 24, 20.0, 42.0, first=14 * 24))
    seen = [assert_they_agree(shop, hour) for hour in range(5, 19 * 24, 17)]
    assert seen[0] == "easy"
    assert "unknown" in seen


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
    answer, verdict = answers(shop, 30 * 24)
    assert 5.5 < verdict.detail["target_pct"] < 9.0
    assert answer.detail["target_low_pct"] < answer.detail["target_pct"] < answer.detail["target_high_pct"]


def test_another_climate_of_the_destination_moves_both(make_shop: Callable[[], Any]):
    shop = make_shop()
    shop.place()
    shop.sensor()
    shop.place("flat", "home")
    shop.stack("maple", destination=2, mc_pct=8.0)
    shop.send(shop.hourly(48, 20.0, 42.0))
    before, _ = answers(shop, 47)
    shop.change(lambda session: places.change_place(session, session.get_one(Place, 2), climate=COLD))
    after, verdict = answers(shop, 48)
    assert after.detail["target_pct"] < before.detail["target_pct"] - 0.3
    assert verdict.detail["target_pct"] == pytest.approx(after.detail["target_pct"], abs=0.0051)
