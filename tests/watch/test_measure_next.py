"""What to measure next: the one act whose answer decides something, asked for once, and never nagging."""

from datetime import timedelta

import pytest

from model.records.acts.measured import record_measurement
from model.records.schema.tables import FitRow, MemberRow
from model.watch.questions.measure_next import MeasureNext, measure_now, put_off, worth_measuring
from model.watch.state.outlook_store import Outlooks
from model.words.display import Display
from model.words.reasons import in_sentences

DOOR = """
[piece]
name = "Tool cupboard"
[part.door]
species = "hard maple"
cut = "flat-sawn"
width = "400mm"
mc_pct = 8.0
mc_basis = "assumed"
thickness = "12mm"
[fit.door]
kind = "front-in-opening"
part = "door"
gap = "2mm"
"""
DAYS = 40


@pytest.fixture
def cupboard(make_shop):
    """A door of unmetered maple hung with 2 mm, forty days in a damp shop: does it stick, or not yet?"""
    shop = make_shop()
    shop.place()
    shop.sensor()
    shop.piece(DOOR)
    shop.send(shop.hourly(24 * DAYS, 20.0, 50.0))
    shop.evaluate(shop.hour(24 * DAYS))
    return shop


def asked(shop, days=DAYS):
    """What the watch finds, and what of it the first page asks for."""
    now = shop.hour(24 * days)
    outlooks = Outlooks(shop.store, years=16)
    outlooks.refresh(now)
    MeasureNext(shop.store, outlooks).refresh(now)
    return read(shop, days)


def read(shop, days):
    now = shop.hour(24 * days)
    with shop.store.session() as session:
        worth = worth_measuring(session, now)
        return worth, measure_now(session, now, worth)


def test_a_door_that_may_stick_is_gauged_and_then_no_more_is_asked(cupboard):
    """2 points nobody metered are 400 mm x 0.00353 x 2 = 2.8 mm, more than its gap: only a feeler tells."""
    worth, first = asked(cupboard)
    assert first is not None
    assert (first.act, first.fit, first.quantity) == ("gauge", "door", "gap_mm")
    assert first.reason.values["doubt_mm"] > 2.0
    assert first.reason.values["then_mm"] < 1.0
    now = cupboard.hour(24 * DAYS)
    assert first.from_at <= now < first.until_at <= now + timedelta(weeks=6)
    told = in_sentences(first.reason, Display("inch"))
    assert told.startswith("Gauge the gap at the door: ±")
    assert "that tells whether the gap at the door looks too wide." in told

    def gauge(session):
        fit, door = session.get_one(FitRow, 1), session.get_one(MemberRow, 1)
        return record_measurement(session, door, "gap_mm", 1.6, now, 0.1, fit=fit, how="feeler").id

    cupboard.act(gauge)
    # Done is done, before the watch has worked it in and after.
    assert first.key not in [one.key for one in read(cupboard, DAYS)[0]]
    cupboard.evaluate(now)
    worth, first = asked(cupboard)
    assert (worth, first) == ([], None)


def test_what_was_put_off_is_quiet_for_a_week_and_not_asked_again_for_six(cupboard):
    now = cupboard.hour(24 * DAYS)
    _, first = asked(cupboard)
    assert first is not None
    cupboard.change(lambda session: put_off(session, first.key, now))
    worth, after = read(cupboard, DAYS)
    assert first.key not in [one.key for one in worth]
    assert after is None
    assert read(cupboard, DAYS + 6)[1] is None
    assert first.key not in [one.key for one in read(cupboard, DAYS + 30)[0]]


def test_nothing_is_asked_of_a_door_whose_gap_no_doubt_of_it_can_close(make_shop):
    shop = make_shop()
    shop.place()
    shop.sensor()
    narrow = DOOR.replace('"400mm"', '"60mm"').replace('gap = "2mm"', 'gap = "9mm"\nwidest_gap = "30mm"')
    shop.piece(narrow)
    shop.send(shop.hourly(24 * 20, 20.0, 42.0))
    shop.evaluate(shop.hour(24 * 20))
    assert asked(shop, 20) == ([], None)


def test_a_panel_whose_edges_lie_in_its_grooves_is_metered_and_a_client_is_asked_for_the_letter(make_shop):
    shop = make_shop()
    shop.place()
    home = shop.place("dry flat", "home")
    shop.sensor()
    shop.sensor("hall", home)
    panel = DOOR.replace("[fit.door]", '[fit.panel]\nheld = "centre"\nsight_width = "380mm"')
    panel = panel.replace("front-in-opening", "panel-in-groove").replace("gap =", "groove_depth =")
    shop.piece(panel.replace("2mm", "11mm").replace("380mm", "381mm"))
    shop.piece(DOOR.replace("Tool cupboard", "Hall cupboard"), home)
    shop.send(shop.hourly(24 * DAYS, 20.0, 50.0))
    shop.send(shop.hourly(24 * DAYS, 20.0, 50.0), sensor=2)
    shop.evaluate(shop.hour(24 * DAYS))
    acts = {one.subject: one.act for one in asked(shop)[0]}
    assert acts["Hall cupboard"] == "strip"
    assert acts.get("Tool cupboard", "meter") == "meter"


def test_a_stack_whose_meter_is_old_is_metered_again_before_it_is_called_ready(make_shop):
    """Recorded by guess at 9.2 %, it is by its air about a point off where the shop's pieces stand."""
    shop = make_shop()
    shop.place()
    shop.sensor()
    shop.piece(DOOR)
    shop.stack(mc_pct=9.2, mc_basis="assumed")
    shop.send(shop.hourly(24 * 6, 20.0, 38.0))
    shop.evaluate(shop.hour(24 * 6))
    worth, _ = asked(shop, 6)
    (found,) = [one for one in worth if one.kind == "stack"]
    assert (found.act, found.decides, found.quantity) == ("meter", "ready", "mc_pct")
    # A meter of ± 1 point on ± d: the root of the harmonic sum of squares (GUM, two independent readings).
    known = found.reason.values["doubt_pct"]
    assert found.reason.values["then_pct"] == pytest.approx(known / (known**2 + 1.0) ** 0.5)
    told = in_sentences(found.reason, Display("inch"))
    assert told.startswith("Put a meter to maple: its moisture is known to ±")
