"""A scale, a probe and a gauge on wood, from the bytes of their messages to what the maker is told.

The broker is a real one; messages come late, twice and in any order. The wood is invented.
"""

import json
import random
import threading
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from sqlalchemy import func, select

from ingest.broker.embedded import EmbeddedBroker, mosquitto_program
from ingest.mqtt.subscriber import Subscriber
from ingest.recognise.accept import accept
from ingest.settings import IngestSettings
from model.records.acts import book
from model.records.acts.mounts import BindTo, Ties
from model.records.acts.places import add_place
from model.records.queries import overview
from model.records.schema.tables import HeardMessage, Measurement, Pulse, Reading, WoodReading
from model.records.store import Store
from model.watch.run.evaluation import bring_up_to_date
from model.wood.piece import read_piece
from tests.contract.conftest import publisher_module, until

pytestmark = pytest.mark.broker

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
START = datetime(2026, 1, 5, tzinfo=UTC)
ACCEPTED, END = START + DAY, START + 7 * DAY
CUPBOARD = """
[piece]
name = "Wall cupboard"
[part.door]
species = "black walnut"
cut = "flat-sawn"
width = "200mm"
mc_pct = 8.0
thickness = "20mm"
[part.shelf]
species = "black walnut"
cut = "flat-sawn"
width = "250mm"
mc_pct = 8.0
thickness = "20mm"
[fit.door]
kind = "front-in-opening"
parts = ["door"]
gap = "2mm"
"""
DRY_G = 1_148.0


def scale(at: datetime) -> bytes:
    """A board that was at 8 % and dries by a quarter of a point a day."""
    mc_pct = 8.0 - 0.25 * ((at - START) / DAY)
    return json.dumps({"weight_g": round(DRY_G * (1 + mc_pct / 100), 1), "time": at.isoformat()}).encode()


def probe(at: datetime) -> bytes:
    """Pins in the walnut shelf: 890 MΩ, at 27 °C, are 10 % (James, FPL-GTR-6, table 1; from memory)."""
    return json.dumps({"resistance": "890 MOhm", "temperature": 27.0, "time": at.isoformat()}).encode()


def gauge(at: datetime) -> bytes:
    """The gap over the door opens by a quarter of a millimetre a day."""
    return json.dumps(
        {"gap_mm": round(9.0 + 0.25 * ((at - START) / DAY), 3), "time": at.isoformat()}
    ).encode()


SENDERS = {"stock/scale": scale, "cupboard/pins": probe, "cupboard/gauge": gauge}


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """The book after a week in which all three spoke every half hour, accepted after the first day."""
    if mosquitto_program() is None:
        pytest.skip("the program mosquitto is missing (Debian package mosquitto)")
    folder = tmp_path_factory.mktemp("wood")
    store = Store(f"sqlite:///{folder / 'book.sqlite'}")
    store.bring_up_to_date()
    with store.session() as session:
        place = add_place(session, "Shop", "shop")
        book.add_piece(session, read_piece(CUPBOARD), place, START)
        lumber = {"species": "black walnut", "thickness_mm": 25.4, "mc_pct": 8.0}
        book.add_stack(session, "walnut", lumber, place, START)
    rows = _count(store)
    stop = threading.Event()
    with EmbeddedBroker(folder / "broker", kind="mosquitto") as broker:
        listening = threading.Thread(
            target=Subscriber(store, IngestSettings(port=broker.port), lambda: END).run, args=(stop,)
        )
        listening.start()
        sender = publisher_module.Publisher(broker.port, "wood")
        until(lambda: _hears(store), what="ingest")
        sender.send([("shop/air", _air(START))])
        first = [(topic, of(START + HOUR)) for topic, of in SENDERS.items()]
        sender.send(first)
        until(lambda: len(_topics(store)) == 4, what="the topics")
        accept(store, "shop/air", now=lambda: ACCEPTED, place="Shop")
        weighed = Ties(dry_g=DRY_G)
        accept(store, "stock/scale", now=lambda: ACCEPTED, on=BindTo(stack="walnut", ties=weighed))
        accept(store, "cupboard/pins", now=lambda: ACCEPTED, on=BindTo(part="Wall cupboard/shelf"))
        accept(store, "cupboard/gauge", now=lambda: ACCEPTED, on=BindTo(fit="Wall cupboard/door"))
        sender.send([("shop/air", _air(START + number * HOUR)) for number in range(7 * 24)])
        until(lambda: rows(Reading) == 7 * 24, what="the air")
        bring_up_to_date(store, ACCEPTED + HOUR)
        before = _piece(store, ACCEPTED + HOUR)
        halves = [START + HOUR + number * HOUR / 2 for number in range(2, 2 * 6 * 24)]
        week = [(topic, of(at)) for at in halves for topic, of in SENDERS.items()]
        random.Random(4).shuffle(week)
        sender.send([*week, *week[:40], *first])
        until(lambda: rows(WoodReading) == 3 * (len(halves) + 1), what="the readings")
        sender.close()
        stop.set()
        listening.join(120)
    bring_up_to_date(store, END)
    yield SimpleNamespace(store=store, before=before)
    store.close()


def _air(at: datetime) -> bytes:
    return json.dumps({"temperature": 20.0, "humidity": 25.0, "time": at.isoformat()}).encode()


def _hears(store: Store) -> bool:
    with store.session() as session:
        pulse = session.get(Pulse, "ingest")
        return pulse is not None and bool(pulse.detail.get("broker_connected"))


def _count(store: Store) -> Callable[[Any], int]:
    def rows(kind: Any) -> int:
        with store.session() as session:
            return session.scalar(select(func.count()).select_from(kind)) or 0

    return rows


def _topics(store: Store) -> list[str]:
    with store.session() as session:
        return list(session.scalars(select(HeardMessage.topic).distinct()))


def _piece(store: Store, now: datetime) -> Any:
    with store.session() as session:
        return overview.piece(session, 1, now)


def _measured(store: Store, how: str) -> list[Any]:
    wanted = select(Measurement.at, Measurement.value, Measurement.uncertainty)
    with store.session() as session:
        return list(session.execute(wanted.where(Measurement.how == how).order_by(Measurement.at)))


def test_a_scale_under_the_witness_board_tells_the_stack(shop: Any) -> None:
    found = _measured(shop.store, "the board's scale")
    days = [(one.at - START) / DAY for one in found]
    assert {int(day) for day in days} == {0, 1, 2, 3, 4, 5, 6}
    assert len(found) <= 7 * 2  # a quarter of a point a day, each good to 0.16: not 24 a day
    for one, day in zip(found, days, strict=True):
        assert one.value == pytest.approx(8.0 - 0.25 * day, abs=0.05)
        # Its oven-dry weight to 0.1 points, and twice a gram of 1148.
        assert one.uncertainty == pytest.approx(0.16, abs=0.02)
    with shop.store.session() as session:
        [stack] = overview.stacks(session, END)
    assert stack.moisture.mc_mean_pct == pytest.approx(6.3, abs=0.4)


def test_pins_in_a_part_are_corrected_for_its_wood_and_temperature(shop: Any) -> None:
    found = _measured(shop.store, "resistance probe")
    assert {round(one.value, 2) for one in found} == {10.0}
    assert all(1.0 < one.uncertainty < 1.5 for one in found)
    door, shelf = _piece(shop.store, END).members
    assert door.moisture.mc_mean_pct < 8.0  # the air leads to 5.4 %
    assert shelf.moisture.mc_mean_pct > door.moisture.mc_mean_pct + 0.5


def test_a_gauge_across_the_gap_changes_what_the_maker_is_told(shop: Any) -> None:
    assert shop.before.judgement.verdict == "clear"
    found = _measured(shop.store, "gap gauge")
    assert found[0].value == pytest.approx(2.0, abs=0.02)  # as recorded, when it was tied
    assert found[-1].value == pytest.approx(3.5, abs=0.15)
    assert _piece(shop.store, END).judgement.verdict == "past"
