"""What a furniture maker expects: the wood decides, not the hour; silence is not an all-clear."""

from datetime import timedelta

import numpy as np
import pytest

from model.records.acts import measured
from model.records.schema.tables import Checkpoint, Margin, MemberRow
from model.watch.run.evaluation import Watch
from tests.said import said

HALL_BENCH = """
[piece]
name = "Hall bench"
[part.back]
species = "black cherry"
cut = "flat-sawn"
width = "14 1/2in"
mc_pct = 8.0
thickness = "3/4in"
finish = { face = "oil-modified urethane varnish", coats = 3 }
[fit.back]
kind = "panel-in-groove"
part = "back"
held = "free"
sight_width = "14in"
groove_depth = "3/8in"
"""


def bench_shop(make_shop, kind="home"):
    shop = make_shop()
    shop.place("flat", kind)
    shop.sensor("hall")
    shop.piece(HALL_BENCH)
    return shop


def test_an_hour_of_anything_is_no_warning(make_shop):
    # Common practice, no source: an hour at 20 % moves a finished 3/4 in panel by some 0.005 points.
    shop = bench_shop(make_shop)
    rh_pct = np.full(20 * 24, 42.0)
    rh_pct[240] = 100.0
    rh_pct[300] = 20.0
    rh_pct[310:318] = 22.0  # a day of stove heat
    shop.send(shop.hourly(20 * 24, 20.0, rh_pct))
    shop.evaluate(shop.hour(20 * 24))
    assert shop.warnings() == []
    assert shop.fit_verdicts()["back"].verdict == "clear"


@pytest.mark.slow
def test_a_slowly_drying_home_warns_once_and_ten_days_before_the_limit(make_shop):
    shop = bench_shop(make_shop)
    days = 130
    # A quarter of a point a day, from autumn to deep winter.
    rh_pct = np.clip(44.0 - np.arange(days * 24) / 24.0 / 96.0 * 24.0, 20.0, 44.0)
    rows = shop.hourly(days * 24, 20.0, rh_pct)
    for day in range(0, days, 2):
        shop.send(rows[day * 24 : (day + 2) * 24])
        shop.evaluate(shop.hour((day + 2) * 24))
    warnings = [w for w in shop.warnings() if w.limit_name == "leaves-groove"]
    assert len(warnings) == 1
    (warning,) = warnings
    assert warning.from_verdict == "clear"
    assert warning.escalated_at is not None
    assert warning.escalated_at - warning.opened_at >= timedelta(days=10)


def test_a_silent_home_is_unknown_after_three_days_with_a_widening_band(make_shop):
    shop = bench_shop(make_shop)
    shop.send(shop.hourly(240, 20.0, 42.0))
    shop.evaluate(shop.hour(240 + 72))
    assert shop.fit_verdicts()["back"].verdict == "clear"
    shop.evaluate(shop.hour(240 + 73))
    unknown = shop.fit_verdicts()["back"]
    assert unknown.verdict == "unknown"
    assert unknown.since_at == shop.hour(240 + 72)
    assert "No reading from flat for 3 days" in said(unknown)
    assert unknown.detail["last_verdict"] == "clear"
    sd = [unknown.detail["mc_sd_pct"]]
    shop.evaluate(shop.hour(240 + 300))
    sd.append(shop.fit_verdicts()["back"].detail["mc_sd_pct"])
    assert sd[1] > sd[0] + 0.5
    assert shop.verdict("place", 1).verdict == "unknown"
    assert shop.verdict("piece", 1).verdict == "unknown"
    assert shop.warnings() == []


def test_a_silent_shop_is_unknown_after_one_day(make_shop):
    shop = bench_shop(make_shop, kind="shop")
    shop.send(shop.hourly(240, 20.0, 42.0))
    shop.evaluate(shop.hour(240 + 24))
    assert shop.fit_verdicts()["back"].verdict == "clear"
    shop.evaluate(shop.hour(240 + 25))
    assert shop.fit_verdicts()["back"].verdict == "unknown"


def test_a_sensor_that_pauses_is_said_to_before_it_counts_as_silent(make_shop):
    shop = bench_shop(make_shop, kind="shop")
    shop.send(shop.hourly(240, 20.0, 42.0))
    shop.evaluate(shop.hour(240))
    assert said(shop.verdict("sensor", 1)) == "Heard in time."
    shop.evaluate(shop.hour(240 + 6))
    paused = shop.verdict("sensor", 1)
    assert paused.verdict == "clear"
    assert "it has sent nothing for longer than usual" in said(paused)
    shop.evaluate(shop.hour(240 + 25))
    assert shop.verdict("sensor", 1).verdict == "unknown"


def test_a_silence_neither_warns_nor_closes_a_warning(make_shop):
    shop = bench_shop(make_shop)
    shop.send(shop.hourly(60 * 24, 20.0, 20.0))
    shop.evaluate(shop.hour(60 * 24))
    (before,) = shop.warnings()
    shop.evaluate(shop.hour(90 * 24))
    (after,) = shop.warnings()
    assert (after.opened_at, after.closed_at) == (before.opened_at, None)
    assert shop.fit_verdicts()["back"].detail["last_verdict"] == "past"


def test_a_silent_sensor_is_warned_of_once_and_closes_when_it_speaks(make_shop):
    shop = bench_shop(make_shop)
    shop.send(shop.hourly(24, 20.0, 42.0))
    for hour in (96, 97, 120, 150):
        shop.evaluate(shop.hour(hour))
    (warning,) = shop.warnings("sensor")
    assert warning.opened_at == shop.hour(23.5 + 72)
    assert (warning.tier, warning.closed_at) == ("morning", None)
    assert shop.verdict("sensor", 1).verdict == "unknown"
    shop.send(shop.hourly(1, 20.0, 42.0, first=150))
    shop.evaluate(shop.hour(151))
    (warning,) = shop.warnings("sensor")
    assert warning.closed_at == shop.hour(150.5)
    assert shop.verdict("sensor", 1).verdict == "clear"


def test_a_late_batch_takes_back_a_silence_that_was_none(make_shop):
    shop = bench_shop(make_shop)
    shop.send(shop.hourly(24, 20.0, 42.0))
    shop.evaluate(shop.hour(150))
    assert len(shop.warnings("sensor")) == 1
    shop.send(shop.hourly(126, 20.0, 42.0, first=24))
    shop.evaluate(shop.hour(150))
    assert shop.warnings("sensor") == []


def test_a_width_measured_again_moves_the_margins_from_then_on(make_shop):
    shop = bench_shop(make_shop)
    shop.send(shop.hourly(96, 20.0, 42.0))
    shop.evaluate(shop.hour(96))

    def margin(hours):
        return next(
            row.margin_mm
            for row in shop.rows(Margin)
            if row.limit_name == "leaves-groove" and row.at == shop.hour(hours)
        )

    before = margin(48), margin(96)
    width = next(row.width_mm for row in shop.rows(Checkpoint) if row.at == shop.hour(72))
    shop.change(
        lambda session: measured.record_measurement(
            session, session.get_one(MemberRow, 1), "width_mm", width - 1.0, shop.hour(72)
        )
    )
    shop.evaluate(shop.hour(96))
    assert margin(48) == before[0]
    # A width that is off says, too, that the part may move more than the book says.
    assert abs(margin(96) - (before[1] - 1.0)) < 0.05
    again = next(row.width_mm for row in shop.rows(Checkpoint) if row.at == shop.hour(72))
    assert abs(again - (width - 1.0)) < 1e-9
    # The next hour goes on from the re-measured pair, also in another process.
    shop.watch = Watch(shop.store)
    shop.send(shop.hourly(1, 20.0, 42.0, first=96))
    shop.evaluate(shop.hour(97))
    assert abs(margin(97) - margin(96)) < 0.01
