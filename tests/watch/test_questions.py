"""Glue up today? Is it ready? What may a client be told? By the trade's own cases, and on a book."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from model.records.tables import Warning
from model.watch.adhesives import KNOWN, LABEL, Adhesive, adhesive_named, keep_adhesive
from model.watch.answer import days_said
from model.watch.glue_up import ShopAir, Stock, judge
from model.watch.outlook_run import Outlooks
from model.watch.questions import advice, glue_up, ready
from model.wood.condensation import condensation_ceiling_rh
from model.wood.errors import BadInput
from model.wood.sorption import equilibrium_moisture_content
from model.wood.units import fahrenheit_to_celsius

# An adhesive with a chalk temperature of 55 °F, as a white glue's label gives it.
GLUE = Adhesive("white glue", float(fahrenheit_to_celsius(55.0)), source=LABEL)


def air(rh_pct: float, wood_f: float = 66.0, room_f: float = 68.0, **more: Any) -> ShopAir:
    emc = float(equilibrium_moisture_content(fahrenheit_to_celsius(room_f), rh_pct))
    room_c, wood_c = float(fahrenheit_to_celsius(room_f)), float(fahrenheit_to_celsius(wood_f))
    return ShopAir(**{
        "emc_now_pct": emc, "emc_day_pct": emc, "emc_five_days_pct": emc, "rh_pct": rh_pct,
        "temperature_c": room_c, "wood_c": wood_c, **more,
    })  # fmt: skip


CHERRY = Stock("cherry", 7.4, 6.9, 7.9)


def against(reasons: list[Any]) -> set[str]:
    return {reason.key for reason in reasons if reason.against}


# ---------------------------------------------------------------- the trade's cases


def test_cherry_within_two_points_in_a_warm_shop_goes():
    verdict, reasons = judge(CHERRY, air(41.0), GLUE)
    assert verdict == "go"
    assert against(reasons) == set()


def test_dry_maple_in_a_damp_spell_waits():
    verdict, reasons = judge(Stock("hard maple", 7.0, 6.8, 7.2), air(62.0), GLUE)
    assert verdict == "wait"
    assert against(reasons) == {"air-differs"}
    assert "4.4 points damper" in reasons[0].says


def test_cold_wood_is_not_for_today_though_the_air_is_right():
    verdict, reasons = judge(CHERRY, air(41.0, wood_f=46.0), GLUE)
    assert verdict == "not today"
    assert "bring the wood in a day" in reasons[0].says


def test_an_uneven_lot_waits_to_be_sorted():
    verdict, reasons = judge(Stock("ash", 7.4, 6.2, 8.6), air(41.0), GLUE)
    assert verdict == "wait"
    assert against(reasons) == {"uneven"}


def test_an_hours_spell_is_said_and_stops_nothing():
    verdict, reasons = judge(CHERRY, air(41.0, emc_now_pct=10.5), GLUE)
    assert verdict == "go"
    assert "spell" in {reason.key for reason in reasons}


def test_a_damp_day_waits_though_five_days_agree():
    verdict, reasons = judge(CHERRY, air(41.0, emc_day_pct=10.0), GLUE)
    assert verdict == "wait"
    assert against(reasons) == {"air-differs-today"}


@pytest.mark.parametrize(("age_h", "verdict"), [(20, "go"), (30, "wait")])
def test_no_all_clear_without_readings(age_h, verdict):
    said, reasons = judge(CHERRY, air(41.0, age_h=age_h), GLUE)
    assert said == verdict
    assert ("unknown" in against(reasons)) is (age_h > 24)


def test_stock_wetter_than_the_glue_takes_waits():
    verdict, reasons = judge(Stock("oak", 12.0, 11.5, 12.5), air(65.0), GLUE)
    assert verdict == "wait"
    assert against(reasons) == {"too-wet"}


def test_figures_that_are_not_from_a_label_ask_to_read_it():
    _, reasons = judge(CHERRY, air(41.0), KNOWN["yellow glue"])
    assert any("read the label" in reason.says for reason in reasons)


def test_the_makers_own_labels_replace_what_is_usual(make_shop: Callable[[], Any]):
    shop = make_shop()
    own = Adhesive("yellow glue", 4.4, source=LABEL)
    shop.change(lambda session: keep_adhesive(session, own, usual=True))
    assert shop.change(lambda session: adhesive_named(session)) == own
    assert shop.change(lambda session: adhesive_named(session, "Epoxy")).name == "epoxy"
    with pytest.raises(BadInput, match="yellow glue"):
        shop.change(lambda session: adhesive_named(session, "spit"))
    with pytest.raises(BadInput, match="adhesive odd: most_c"):
        Adhesive("odd", 20.0, most_c=10.0)


@pytest.mark.parametrize(
    ("days", "words"),
    [
        ((1, 1), "in a day"),
        ((3, 9), "in 3 to 9 days"),
        ((20, 40), "in 2 to 6 weeks"),
        ((5, None), "in 5 days at the soonest"),
        ((30, None), "in 4 weeks at the soonest"),
    ],
)
def test_ranges_of_days_as_people_say_them(days, words):
    assert days_said(days) == words


# ---------------------------------------------------------------- on the book


def shop_with(shop: Any, rh_pct: Any, temperature_c: Any = 20.0, days: int = 30, **stack: Any) -> Any:
    """A shop with one stack of maple in it, evaluated at the end of its readings."""
    shop.place("bench room", "shop")
    shop.sensor("bench")
    shop.stack("maple", **{"mc_pct": 7.4, **stack})
    shop.send(shop.hourly(days * 24, temperature_c, rh_pct))
    shop.evaluate(shop.hour(days * 24))
    return shop


def test_a_settled_shop_goes_and_says_for_how_long(make_shop: Callable[[], Any]):
    shop = shop_with(make_shop(), 40.0)
    answer = glue_up(shop.store, "bench room", shop.hour(720), "white glue")
    document = answer.document()
    assert answer.yes
    assert document["verdict"] == "go"
    assert document["air"]["emc_five_days_pct"] == pytest.approx(7.72, abs=0.05)
    assert document["stacks"][0]["name"] == "maple"
    assert document["earliest"] is None
    assert document["holds_until"] is None or document["holds_until"]["low_days"] >= 1


def test_a_damp_spell_waits_until_wood_and_air_meet(make_shop: Callable[[], Any]):
    humidity = np.concatenate([np.full(23 * 24, 38.0), np.full(7 * 24, 66.0)])
    shop = shop_with(make_shop(), humidity, thickness_mm=50.8)
    answer = glue_up(shop.store, "bench room", shop.hour(720))
    assert answer.verdict == "wait"
    low, high = answer.earliest_days
    assert 1 <= low <= 30
    assert high is None or high >= low


def test_a_cold_night_in_a_warm_shop_is_a_day(make_shop: Callable[[], Any]):
    shop = shop_with(make_shop(), 41.0, 19.0)
    answer = glue_up(shop.store, "bench room", shop.hour(720), "white glue", wood_temperature_c=8.0)
    assert answer.verdict == "not today"
    assert answer.earliest_days == (1, 2)


def test_an_unheard_shop_gives_no_all_clear(make_shop: Callable[[], Any]):
    shop = shop_with(make_shop(), 40.0)
    shop.evaluate(shop.hour(720 + 36))
    answer = glue_up(shop.store, "bench room", shop.hour(720 + 36))
    assert answer.verdict == "wait"
    assert answer.reasons[0].key == "unknown"
    assert "36 hours" in answer.reasons[0].says


def test_names_that_are_not_on_the_book_are_refused_with_those_that_are(make_shop: Callable[[], Any]):
    shop = shop_with(make_shop(), 40.0, days=2)
    with pytest.raises(BadInput, match="bench room"):
        glue_up(shop.store, "kitchen", shop.hour(48))
    with pytest.raises(BadInput, match="maple"):
        ready(shop.store, "teak", shop.hour(48))


def test_a_wet_stack_is_not_ready_and_says_when(make_shop: Callable[[], Any]):
    # An inch of red oak at 11 % in 40 % air: within a point in 22.6 days by a first-order lag of 19 days.
    shop = shop_with(make_shop(), 40.0, days=10, species="red oak", mc_pct=11.0)
    answer = ready(shop.store, "maple", shop.hour(240))
    assert answer.verdict == "not ready"
    assert {"off-level", "moving"} <= {reason.key for reason in answer.reasons if reason.against}
    low, high = answer.earliest_days
    assert 1 <= low <= 13 * 4 / 3
    # At half the speed it may miss this dry season and wait for the next.
    assert high is not None
    assert high <= 365


def test_a_level_even_steady_stack_is_ready(make_shop: Callable[[], Any]):
    shop = shop_with(make_shop(), 40.0, mc_pct=7.8)
    answer = ready(shop.store, "maple", shop.hour(720))
    assert answer.yes
    assert answer.document()["slope_pct_week"] == pytest.approx(0.0, abs=0.1)


def test_steady_in_a_damp_shop_is_not_ready_for_a_dry_home(make_shop: Callable[[], Any]):
    shop = make_shop()
    shop.place("bench room", "shop")
    shop.place("dry flat", "home")
    shop.sensor("bench")
    shop.sensor("flat", place=2)
    shop.stack("maple", mc_pct=9.0)
    shop.change(lambda session: setattr(session.get_one(_stack(), 1), "destination_id", 2))
    days = 30
    shop.send(shop.hourly(days * 24, 20.0, 48.4))
    shop.send(shop.hourly(days * 24, 21.0, 22.0), sensor=2)
    shop.evaluate(shop.hour(days * 24))
    answer = ready(shop.store, "maple", shop.hour(days * 24))
    assert answer.verdict == "not ready"
    keys = {reason.key for reason in answer.reasons}
    assert {"off-level", "steady", "steady-not-ready"} <= keys
    assert any("stickered" in reason.says for reason in answer.reasons)


def _stack() -> Any:
    from model.records.tables import Stack

    return Stack


def test_a_client_is_told_ranges_gaps_and_never_more_than_the_house_bears(make_shop: Callable[[], Any]):
    shop = make_shop()
    cold = {"temperature_c": [-14, -11, -4, 5, 12, 17, 20, 18, 12, 5, -3, -11], "rh_pct": [75] * 12}
    shop.place("lake house", "home", climate=cold)
    shop.sensor()
    shop.piece()
    shop.send(shop.hourly(20 * 24, 20.0, 42.0))
    shop.evaluate(shop.hour(480))
    Outlooks(shop.store).refresh(shop.hour(480))
    told = advice(shop.store, "Wall cabinet", shop.hour(480))
    assert told["climate_known"]
    assert [season["season"] for season in told["seasons"]] == ["winter", "spring", "summer", "autumn"]
    for season in told["seasons"]:
        ceiling = condensation_ceiling_rh(season["outdoor_coldest_c"])
        assert season["rh_high_pct"] <= ceiling + 0.1
        assert season["margins"]
        for margin in season["margins"]:
            assert margin["margin_mm"]["p10"] <= margin["margin_mm"]["p90"]
    winter, summer = told["seasons"][0], told["seasons"][2]
    assert winter["ceiling_rh_pct"] < summer["ceiling_rh_pct"]


def test_nobody_hears_of_a_glue_up_that_was_never_opened(make_shop: Callable[[], Any]):
    shop = shop_with(make_shop(), 41.0, 5.0, days=3)
    glue_up(shop.store, "bench room", shop.hour(72))
    assert [row for row in shop.rows(Warning) if row.limit_name.startswith("glue-up")] == []
