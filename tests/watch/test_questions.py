"""Glue up today? What may a client be told? By the trade's own cases, and on a book."""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from model.answers.adhesives import KNOWN, LABEL, Adhesive, adhesive_named, keep_adhesive
from model.records.queries.overview import Ready
from model.records.schema.tables import Warning
from model.watch.questions.glue_up import Destined, GlueLot, ShopAir, glue_up, is_against, judge
from model.wood.air.sorption import equilibrium_moisture_content
from model.wood.errors import BadInput
from model.wood.reason import Reason
from model.wood.units import fahrenheit_to_celsius
from tests.said import said

# An adhesive with a chalk temperature of 55 °F, as a white glue's label gives it.
GLUE = Adhesive("white glue", float(fahrenheit_to_celsius(55.0)), source=LABEL)


def air(rh_pct: float, wood_f: float = 66.0, room_f: float = 68.0, **more: Any) -> ShopAir:
    emc = float(equilibrium_moisture_content(fahrenheit_to_celsius(room_f), rh_pct))
    room_c, wood_c = float(fahrenheit_to_celsius(room_f)), float(fahrenheit_to_celsius(wood_f))
    return ShopAir(**{
        "emc_now_pct": emc, "emc_day_pct": emc, "emc_five_days_pct": emc, "rh_pct": rh_pct,
        "temperature_c": room_c, "wood_c": wood_c, **more,
    })  # fmt: skip


CHERRY = GlueLot("cherry", 7.4, 6.9, 7.9)


def against(reasons: list[Any]) -> set[str]:
    return {reason.key for reason in reasons if is_against(reason)}


# ---------------------------------------------------------------- the trade's cases


def test_cherry_within_two_points_in_a_warm_shop_goes():
    verdict, reasons = judge(CHERRY, air(41.0), GLUE)
    assert verdict == "go"
    assert against(reasons) == set()


def test_dry_maple_in_a_damp_spell_waits():
    verdict, reasons = judge(GlueLot("hard maple", 7.0, 6.8, 7.2), air(62.0), GLUE)
    assert verdict == "wait"
    assert against(reasons) == {"air-differs"}
    assert "4.4 points damper" in said(reasons[0])


def test_cold_wood_is_not_for_today_though_the_air_is_right():
    verdict, reasons = judge(CHERRY, air(41.0, wood_f=46.0), GLUE)
    assert verdict == "not today"
    assert "bring the wood in a day" in said(reasons[0])


def test_an_uneven_lot_waits_to_be_sorted():
    verdict, reasons = judge(GlueLot("ash", 7.4, 6.2, 8.6), air(41.0), GLUE)
    assert verdict == "wait"
    assert against(reasons) == {"uneven-boards"}


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
    told, reasons = judge(CHERRY, air(41.0, age_h=age_h), GLUE)
    assert told == verdict
    assert ("no-reading" in against(reasons)) is (age_h > 24)


def test_stock_wetter_than_the_glue_takes_waits():
    verdict, reasons = judge(GlueLot("oak", 12.0, 11.5, 12.5), air(65.0), GLUE)
    assert verdict == "wait"
    assert against(reasons) == {"too-wet-to-glue"}


def test_figures_that_are_not_from_a_label_ask_to_read_it():
    _, reasons = judge(CHERRY, air(41.0), KNOWN["yellow glue"])
    assert any("typical figures" in said(reason) for reason in reasons)


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
        ((1, 1), "Ready in about 1 day here."),
        ((3, 9), "Ready in 3 to 9 days here."),
        ((20, 40), "Ready in 2 to 5 weeks here."),
        ((5, None), "Ready not before 5 days from now here."),
        ((30, None), "Ready not before 4 weeks from now here."),
    ],
)
def test_ranges_of_days_as_people_say_them(days, words):
    low_days, high_days = days
    ready = Reason("ready-when", {"low_days": low_days, "high_days": high_days})
    assert said(ready) == words


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
    assert answer.reasons[0].key == "no-reading"
    assert "36 hours" in said(answer.reasons[0])


def test_in_its_first_hour_a_shops_air_is_known_and_nothing_is_cleared_yet(make_shop: Callable[[], Any]):
    shop = make_shop()
    shop.place("bench room", "shop")
    shop.sensor("bench")
    shop.send([(shop.hour(0.2), 20.0, 45.0)])
    shop.evaluate(shop.hour(0.5))
    answer = glue_up(shop.store, "bench room", shop.hour(0.5))
    assert answer.verdict == "wait"
    assert answer.reasons[0].key == "no-reading-first-hour"
    assert "no reading yet" not in said(answer.reasons[0])
    assert judge(None, air(41.0, emc_five_days_pct=math.nan), GLUE)[1][0].key == "no-reading-yet"


def test_names_that_are_not_on_the_book_are_refused_with_those_that_are(make_shop: Callable[[], Any]):
    shop = shop_with(make_shop(), 40.0, days=2)
    with pytest.raises(BadInput, match="bench room"):
        glue_up(shop.store, "kitchen", shop.hour(48))
    with pytest.raises(BadInput, match="maple"):
        glue_up(shop.store, "bench room", shop.hour(48), stacks=["teak"])


# ---------------------------------------------------------------- where the wood goes


def bound(off_pct: float, is_ready: bool = False) -> GlueLot:
    """Red oak that agrees with the air it is glued in, so much off what its home asks for."""
    target = Reason("target-home", {"place": "the flat", "target_pct": 7.7})
    reason = Reason("off-target", {"mc_pct": 7.7 + off_pct, "off_pct": off_pct, "target": target})
    oak = Destined("red oak", Ready(is_ready=is_ready, reason=reason, target_mc_pct=7.7), off_pct)
    return GlueLot("red oak", 7.7 + off_pct, 7.7 + off_pct, 7.7 + off_pct, (oak,))


@pytest.mark.parametrize(
    ("off_pct", "is_ready", "verdict", "key"),
    [
        (3.6, False, "wait", "stack-off-target"),
        (1.6, False, "go", "stack-not-ready"),
        (0.3, True, "go", None),
    ],
)
def test_wood_too_wet_for_where_it_goes_waits_though_the_shop_agrees(
    off_pct: float, is_ready: bool, verdict: str, key: str | None
):
    stock = bound(off_pct, is_ready)
    shop_air = dict.fromkeys(("emc_now_pct", "emc_day_pct", "emc_five_days_pct"), stock.mc_pct)
    told, reasons = judge(stock, air(60.0, **shop_air), GLUE)
    assert told == verdict
    named = {reason.key: said(reason) for reason in reasons}
    assert ({"stack-off-target", "stack-not-ready"} & named.keys()) == ({key} if key else set())
    if key:
        assert named[key].startswith("Red oak: ")
        assert ("3.6 points too wet for where it goes" if off_pct > 2.0 else "not ready") in named[key]


def test_a_stack_without_a_home_is_not_said_to_go_somewhere():
    stock = bound(1.6)
    stock = replace(stock, stacks=tuple(replace(one, has_home=False) for one in stock.stacks))
    shop_air = dict.fromkeys(("emc_now_pct", "emc_day_pct", "emc_five_days_pct"), stock.mc_pct)
    sentences = [said(reason) for reason in judge(stock, air(60.0, **shop_air), GLUE)[1]]
    assert "Red oak: not settled yet in the air where it stands." in sentences
    assert "where it goes" not in " ".join(sentences)


def test_every_stack_has_a_line_of_its_own(make_shop: Callable[[], Any]):
    shop = make_shop()
    shop.place("bench room", "shop")
    shop.place("dry flat", "home")
    shop.sensor("bench")
    shop.sensor("flat", place=2)
    shop.stack("red oak", mc_pct=11.3, species="red oak", thickness_mm=50.8, destination=2)
    shop.stack("ash", mc_pct=10.4, species="white ash", thickness_mm=50.8, destination=2)
    shop.stack("cherry", mc_pct=11.5, species="cherry", thickness_mm=50.8)
    shop.send(shop.hourly(10 * 24, 20.0, 60.0))
    shop.send(shop.hourly(10 * 24, 21.0, 40.0), sensor=2)
    shop.evaluate(shop.hour(240))
    answer = glue_up(shop.store, "bench room", shop.hour(240), "white glue")
    lines = {line["name"]: line for line in answer.document()["stacks"]}
    assert set(lines) == {"red oak", "ash", "cherry"}
    assert lines["red oak"]["verdict"] == "wait"
    assert any("too wet for where it goes" in said(Reason.of(one)) for one in lines["red oak"]["reasons"])
    assert "too wet for" in said(Reason.of(lines["red oak"]["ready"]))
    assert lines["cherry"]["verdict"] == "go"
    assert not lines["ash"]["is_ready"]
    # Glued together the one that must wait holds up both.
    both = glue_up(shop.store, "bench room", shop.hour(240), "white glue", ["red oak", "cherry"])
    assert not both.yes
    assert {line["name"] for line in both.document()["stacks"]} == {"red oak", "cherry"}


def test_nobody_hears_of_a_glue_up_that_was_never_opened(make_shop: Callable[[], Any]):
    shop = shop_with(make_shop(), 41.0, 5.0, days=3)
    glue_up(shop.store, "bench room", shop.hour(72))
    assert [row for row in shop.rows(Warning) if row.limit_name.startswith("glue-up")] == []
