"""The outlook of a piece: warnings that come in time and not too often, and what would prevent them."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from sqlalchemy import delete

from model.records.acts import book, places
from model.records.acts.measured import record_measurement
from model.records.queries import overview as queries
from model.records.queries.outlooks import outlook_document
from model.records.queries.series import YearSpread
from model.records.schema.tables import Checkpoint, FitRow, MemberRow, Outlook, Place, Reading
from model.watch.state.outlook_store import Outlooks
from model.wood.errors import BadInput

AUTUMN = datetime(2025, 10, 1, tzinfo=UTC)

# A river-valley panel that leaves its groove in a dry winter, about 5.4 % or 25 % RH.
PIECE = """
[piece]
name = "Walnut cabinet"
[part.panel]
species = "hard maple"
cut = "flat-sawn"
width = "360mm"
mc_pct = 8.0
thickness = "19mm"
finish = { face = "oil-modified urethane varnish", coats = 2 }
[fit.panel]
kind = "panel-in-groove"
part = "panel"
held = "free"
sight_width = "345mm"
groove_depth = "10mm"
finished = "before assembly"
"""


def read_series(session, subject_kind, subject_id, quantity):
    return YearSpread.of(session.get_one(Outlook, (subject_kind, subject_id, quantity)))


def lived_in(rh_pct: np.ndarray, seed: int = 2) -> np.ndarray:
    """Hours of a home whose humidity goes this way: a day's wave and weather on it."""
    rng = np.random.default_rng(seed)
    weather = np.zeros(len(rh_pct))
    for hour in range(1, len(rh_pct)):
        weather[hour] = 0.98 * weather[hour - 1] + 0.4 * rng.standard_normal()
    day = 1.5 * np.sin(2 * np.pi * np.arange(len(rh_pct)) / 24)
    return np.clip(rh_pct + weather + day, 3.0, 97.0)


def home(shop: Any, rh_pct: np.ndarray, temperature_c: np.ndarray | float = 20.5) -> Any:
    """A home with the piece in it, heard hour by hour, and watched with an outlook."""
    shop.place("flat", "home")
    shop.sensor("hall", at=AUTUMN)
    shop.piece(PIECE, at=AUTUMN)
    temperature = np.broadcast_to(temperature_c, len(rh_pct))
    shop.send(
        [
            (AUTUMN + timedelta(hours=k + 0.5), float(t), float(h))
            for k, (t, h) in enumerate(zip(temperature, rh_pct, strict=True))
        ]
    )
    return shop


def evaluated(shop: Any, days: float) -> Any:
    shop.evaluate(AUTUMN + timedelta(days=days))
    return shop


@pytest.mark.slow
def test_what_comes_is_said_with_what_would_prevent_it_and_what_is_past_with_when_it_clears(
    make_shop: Callable[[], Any],
):
    days = np.arange(150 * 24) / 24
    shop = evaluated(home(make_shop(), lived_in(np.maximum(44.0 - days * 24.0 / 80.0, 18.0))), 40)
    Outlooks(shop.store).refresh(AUTUMN + timedelta(days=40))
    with shop.store.session() as session:
        piece = queries.piece(session, 1, AUTUMN + timedelta(days=40))
    assert piece is not None
    assert piece.next
    coming = next(one for one in piece.next if one.limit == "leaves-groove")
    assert coming.said_at == AUTUMN + timedelta(days=40)
    assert coming.prevent is not None
    assert 24.0 <= coming.prevent["at_least_rh_pct"] <= 30.0
    at = AUTUMN + timedelta(days=150)
    evaluated(shop, 150)
    Outlooks(shop.store).refresh(at)
    with shop.store.session() as session:
        piece = queries.piece(session, 1, at)
    assert piece is not None
    past = {margin.limit_name: margin for margin in piece.fits[0].margins}["leaves-groove"]
    assert past.standing == "past"
    assert past.clears is not None
    assert at < past.clears[0] < past.clears[1]


def steady_home(shop: Any, rh_pct: float, days: int = 45) -> Any:
    return evaluated(home(shop, np.full(days * 24, rh_pct)), days)


def test_the_outlook_is_kept_by_day_for_a_year(make_shop: Callable[[], Any]):
    shop = steady_home(make_shop(), 40.0)
    now = AUTUMN + timedelta(days=45, hours=5)
    assert Outlooks(shop.store).refresh(now) == 1
    with shop.store.session() as session:
        width = read_series(session, "member", 1, "width_mm")
        margin = read_series(session, "fit", 1, "leaves-groove")
        moisture = read_series(session, "member", 1, "mc_pct")
    assert len(width.p50) == len(margin.p50) == 365
    assert width.at[0] == np.datetime64((AUTUMN + timedelta(days=46)).replace(tzinfo=None))
    assert (width.p10 <= width.p50).all()
    assert (width.p50 <= width.p90).all()
    # The margin of a panel that wanders is its width less what the grooves need: they move together.
    assert np.diff(margin.p50) == pytest.approx(np.diff(width.p50), abs=0.01)
    assert np.ptp(moisture.p50) > 1.0
    assert 0.0 <= margin.detail["chance"] <= 1.0


def test_the_outlook_document_goes_month_by_month(make_shop: Callable[[], Any]):
    shop = steady_home(make_shop(), 40.0)
    Outlooks(shop.store).refresh(AUTUMN + timedelta(days=45))
    document = outlook_document(shop.store, "Walnut cabinet")
    months = document["months"]
    assert [month["month"] for month in months][:2] == ["2025-11", "2025-12"]
    assert len(months) == 13
    for month in months:
        margin = month["fits"]["panel"]["leaves-groove"]["margin_mm"]
        assert margin["p10"] <= margin["p50"] <= margin["p90"]
    assert {limit["limit"] for limit in document["limits"]} >= {"leaves-groove"}
    assert document["climate_known"] is False
    assert "general temperate" in document["known_from"]
    with pytest.raises(BadInput, match="Walnut cabinet"):
        outlook_document(shop.store, "no such piece")


@pytest.mark.slow
def test_an_outlook_is_computed_once_a_day_and_again_when_its_ground_moves(make_shop: Callable[[], Any]):
    shop = steady_home(make_shop(), 40.0)
    now = AUTUMN + timedelta(days=45)
    keeper = Outlooks(shop.store)
    assert keeper.refresh(now) == 1
    assert keeper.refresh(now + timedelta(hours=3)) == 0
    assert Outlooks(shop.store).refresh(now + timedelta(hours=3)) == 0
    before = [(row.quantity, row.p50) for row in shop.rows(Outlook)]
    # A reading of the past that comes late.
    shop.send([(AUTUMN + timedelta(days=30, hours=4, minutes=40), 20.5, 46.0)])
    evaluated(shop, 45)
    assert keeper.refresh(now) == 1
    assert [(row.quantity, row.p50) for row in shop.rows(Outlook)] != before


@pytest.mark.slow
def test_outlooks_in_portions_and_shares_are_those_of_one_call(make_shop: Callable[[], Any]):
    shop = steady_home(make_shop(), 40.0)
    shop.place("lake house", "home")
    shop.sensor("lake", 2, at=AUTUMN)
    shop.send([(row.observed_at, 20.0, 44.0) for row in shop.rows(Reading)], 2)
    shop.piece(PIECE.replace("Walnut", "Second"), at=AUTUMN)
    shop.piece(PIECE.replace("Walnut", "Third"), 2, at=AUTUMN)
    now = AUTUMN + timedelta(days=45)
    evaluated(shop, 45)

    def rows() -> list[Any]:
        return [(r.subject_kind, r.subject_id, r.quantity, r.p50, r.detail) for r in shop.rows(Outlook)]

    assert Outlooks(shop.store).refresh(now) == 3
    at_once = rows()
    shop.change(lambda session: session.execute(delete(Outlook)))
    keeper = Outlooks(shop.store, at_once=1)
    assert [keeper.refresh(now) for _ in range(4)] == [1, 1, 1, 0]
    assert rows() == at_once


@pytest.mark.slow
def test_the_same_readings_give_the_same_outlook_in_any_order(make_shop: Callable[[], Any]):
    rh_pct = lived_in(np.full(40 * 24, 33.0), 4)
    one, other = make_shop(), make_shop()
    evaluated(home(one, rh_pct), 40)
    other.place("flat", "home")
    other.sensor("hall", at=AUTUMN)
    other.piece(PIECE, at=AUTUMN)
    rows = [(AUTUMN + timedelta(hours=k + 0.5), 20.5, float(h)) for k, h in enumerate(rh_pct)]
    order = np.random.default_rng(1).permutation(4)
    for part in order:
        other.send(rows[int(part) * 240 : int(part) * 240 + 240])
        other.evaluate(AUTUMN + timedelta(days=40))
    assert one.computed() == other.computed()
    kept = []
    for shop in (one, other):
        Outlooks(shop.store).refresh(AUTUMN + timedelta(days=40))
        kept.append([(r.subject_kind, r.quantity, r.p10, r.p50, r.p90, r.detail) for r in shop.rows(Outlook)])
    assert kept[0] == kept[1]


def test_air_from_before_a_piece_came_teaches_its_outlook_whenever_it_arrives(make_shop: Callable[[], Any]):
    rh_pct = lived_in(np.concatenate([np.full(30 * 24, 26.0), np.full(20 * 24, 28.0)]), 6)
    rows = [(AUTUMN + timedelta(hours=k + 0.5), 20.5, float(h)) for k, h in enumerate(rh_pct)]
    moved_in = AUTUMN + timedelta(days=30)
    answers = []
    for parts in ((rows,), (rows[30 * 24 :], rows[: 30 * 24])):
        shop = make_shop()
        shop.place("flat", "home")
        shop.sensor("hall", at=AUTUMN)
        shop.piece(PIECE, at=moved_in)
        for part in parts:
            shop.send(part)
            shop.evaluate(AUTUMN + timedelta(days=50))
        answers.append(shop.computed())
    assert answers[0] == answers[1]


@pytest.mark.slow
def test_a_recorded_climate_is_what_a_home_without_history_rests_on(make_shop: Callable[[], Any]):
    # A cold continental winter and a mild one, both with EN 15026's house in them.
    cold = {"temperature_c": [-14, -11, -4, 5, 12, 17, 20, 18, 12, 5, -3, -11], "rh_pct": [75] * 12}
    mild = {"temperature_c": [9, 9, 10, 11, 13, 15, 17, 17, 16, 13, 11, 9], "rh_pct": [80] * 12}
    lowest = []
    for climate in (cold, mild):
        shop = make_shop()
        steady_home(shop, 38.0, 10)
        with shop.store.session() as session:
            places.change_place(session, session.get_one(Place, 1), climate=climate)
        shop.evaluate(AUTUMN + timedelta(days=10))
        Outlooks(shop.store).refresh(AUTUMN + timedelta(days=10))
        with shop.store.session() as session:
            air = read_series(session, "piece", 1, "rh_pct")
        assert air.detail["climate_known"] is True
        lowest.append(float(air.p50.min()))
    assert lowest[0] < lowest[1] - 6.0


DOOR = """
[piece]
name = "Walnut press"
[part.door]
species = "black walnut"
cut = "flat-sawn"
width = "300mm"
mc_pct = 9.5
thickness = "19mm"
finish = { face = "oil-modified urethane varnish", coats = 2 }
[fit.door]
kind = "front-in-opening"
parts = ["door"]
gap = "2.5mm"
"""


@pytest.mark.slow
def test_a_gap_that_was_read_tightens_the_outlook(make_shop: Callable[[], Any]):
    """A reading says where the front stands now; only what comes after it is still unknown."""
    spreads, middles = [], []
    for read in (False, True):
        shop = make_shop()
        shop.place("flat", "home")
        shop.sensor("hall", at=AUTUMN)
        shop.piece(DOOR, at=AUTUMN)
        air = lived_in(np.full(60 * 24, 35.0))
        shop.send([(AUTUMN + timedelta(hours=k + 0.5), 20.5, float(h)) for k, h in enumerate(air)])
        evaluated(shop, 59)
        with shop.store.session() as session:
            body, fit = session.get_one(MemberRow, 1), session.get_one(FitRow, 1)
            foreseen = float(
                book.load_piece(session, fit.piece).fits["door"].gap_now({"door": mc_at(session)})
            )
            if read:
                at = AUTUMN + timedelta(days=58)
                record_measurement(session, body, "gap_mm", foreseen, at, fit=fit, how="gap strip")
        evaluated(shop, 59)
        Outlooks(shop.store).refresh(AUTUMN + timedelta(days=59, hours=1))
        with shop.store.session() as session:
            margin = read_series(session, "fit", 1, "gap-shows")
        spreads.append(margin.p90 - margin.p10)
        middles.append(margin.p50)
    # Within the first weeks the wood goes little further, so that most of what was unknown is known now.
    assert (spreads[1][:14] < 0.7 * spreads[0][:14]).all()
    assert spreads[1].mean() < spreads[0].mean()
    # A reading that says what was foreseen moves nothing but the width of the band.
    assert np.abs(middles[1] - middles[0])[:14].max() < 0.1


def mc_at(session: Any) -> float:
    day = AUTUMN + timedelta(days=58)
    return float(session.get_one(Checkpoint, (1, day)).mc_mean_pct)
