"""A small shop to watch: made, fed with readings in any order, evaluated, and read back whole."""

from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sqlalchemy import select, text
from sqlalchemy.dialects.sqlite import insert
from sqlalchemy.orm import Session

from model.records.acts import book, hangings, places
from model.records.acts.revisions import recorded, take_back
from model.records.schema.tables import (
    AirHour,
    Checkpoint,
    LearnedRow,
    Margin,
    PieceRow,
    Place,
    Reading,
    Record,
    Sensor,
    Verdict,
    Warning,
)
from model.records.store import Store
from model.watch.run.evaluation import Evaluation, Watch
from model.watch.tell import stacks
from model.wood.piece import Piece as WoodPiece
from model.wood.piece import read_piece

START = datetime(2026, 1, 5, tzinfo=UTC)
HOUR = timedelta(hours=1)
COMPUTED = (AirHour, Checkpoint, LearnedRow, Margin, Verdict, Warning)

# A bare quarter-inch back is quick, a varnished slab is slow, and both have limits within a winter's reach.
CABINET = """
[piece]
name = "Wall cabinet"
[part.back]
species = "white ash"
cut = "flat-sawn"
width = "300mm"
mc_pct = 8.0
thickness = "6mm"
[part.front]
species = "hard maple"
cut = "flat-sawn"
width = "220mm"
mc_pct = 8.0
thickness = "19mm"
finish = { face = "oil-modified urethane varnish", coats = 2 }
[fit.back]
kind = "panel-in-groove"
part = "back"
held = "free"
sight_width = "290mm"
groove_depth = "7mm"
finished = "before assembly"
[fit.front]
kind = "front-in-opening"
parts = "front"
gap = "1.2mm"
"""

MARK = text(
    "INSERT INTO stale_hour (sensor_id, hour_at, revision) VALUES (:sensor, :hour, 1) "
    "ON CONFLICT (sensor_id, hour_at) DO UPDATE SET revision = stale_hour.revision + 1"
)

Row = tuple[datetime, float, float]


def hour(number: float) -> datetime:
    """An instant so many hours after the start."""
    return START + number * HOUR


def hourly(
    hours: int, temperature_c: float | np.ndarray, rh_pct: float | np.ndarray, first: int = 0
) -> list[Row]:
    """One reading in the middle of each hour, of air that breathes a little, as a sensor that works shows."""
    numbers = first + np.arange(hours)
    temperature_c = np.broadcast_to(temperature_c, hours) + 0.2 * np.sin(1.9 * numbers)
    rh_pct = np.clip(np.broadcast_to(rh_pct, hours) + 0.4 * np.sin(2.3 * numbers), 0.0, 100.0)
    return [
        (hour(number + 0.5), float(t), float(h))
        for number, t, h in zip(numbers.tolist(), temperature_c, rh_pct, strict=True)
    ]


class Shop:
    """A book with a watch on it."""

    cabinet = CABINET
    hour = staticmethod(hour)
    hourly = staticmethod(hourly)

    def __init__(self, store: Store) -> None:
        self.store = store
        self.watch = Watch(store)

    def place(self, name: str = "shop", kind: str = "shop", **more: Any) -> int:
        with self.store.session() as session:
            return places.add_place(session, name, kind, **more).id

    def sensor(self, name: str = "bench", place: int = 1, at: datetime = START) -> int:
        with self.store.session() as session:
            sensor = Sensor(name=name, accepted_at=at)
            session.add(sensor)
            session.flush()
            hangings.hang_sensor(session, sensor, session.get_one(Place, place), at)
            return sensor.id

    def piece(self, text_: str | WoodPiece = CABINET, place: int = 1, at: datetime = START) -> int:
        piece = read_piece(text_) if isinstance(text_, str) else text_
        with self.store.session() as session:
            return book.add_piece(session, piece, session.get_one(Place, place), at).id

    def stack(
        self,
        name: str = "maple",
        place: int = 1,
        at: datetime = START,
        destination: int | None = None,
        **document: Any,
    ) -> int:
        document = {"species": "hard maple", "thickness_mm": 25.4, "mc_pct": 11.0, **document}
        with self.store.session() as session:
            home = None if destination is None else session.get_one(Place, destination)
            return book.add_stack(session, name, document, session.get_one(Place, place), at, home).id

    def change(self, change: Callable[[Session], Any]) -> Any:
        with self.store.session() as session:
            return change(session)

    def act(self, change: Callable[[Session], Any], kind: str = "change", of: int | None = None) -> int:
        """A change as a person makes it; the number it is taken back by."""
        with self.store.session() as session, recorded(session, kind, START, of) as revision:
            change(session)
            return revision.id

    def take_back(self, number: int) -> str:
        with self.store.session() as session:
            return take_back(session, number, START).says

    def send(self, rows: Iterable[tuple[Any, ...]], sensor: int = 1) -> None:
        """Readings as ingest stores them: each once, and a mark on its hour."""
        came = list(rows)
        if not came:
            return
        with self.store.session() as session:
            session.execute(
                insert(Reading).on_conflict_do_nothing(),
                [
                    {
                        "sensor_id": sensor,
                        "observed_at": at,
                        "received_at": at,
                        "temperature_c": temperature_c,
                        "rh_pct": rh_pct,
                        "clock": "device",
                    }
                    for at, temperature_c, rh_pct in came
                ],
            )
            session.execute(
                MARK,
                [{"sensor": sensor, "hour": int(at.timestamp()) // 3600 * 3_600_000} for at, *_ in came],
            )

    def evaluate(self, at: datetime) -> Evaluation:
        return self.watch.bring_up_to_date(at)

    def verdict(self, kind: str, subject: int) -> Verdict:
        with self.store.session() as session:
            verdict = session.get_one(Verdict, (kind, subject))
            session.expunge_all()
            return verdict

    def fit_verdicts(self) -> dict[str, Verdict]:
        """Verdicts of all fits, by fit name."""
        with self.store.session() as session:
            names = {fit.id: fit.name for piece in session.scalars(select(PieceRow)) for fit in piece.fits}
            found = list(session.scalars(select(Verdict).where(Verdict.subject_kind == "fit")))
            session.expunge_all()
            return {names[verdict.subject_id]: verdict for verdict in found}

    def warnings(self, kind: str = "fit") -> list[Warning]:
        with self.store.session() as session:
            rows = select(Warning).where(Warning.subject_kind == kind)
            found = list(session.scalars(rows.order_by(Warning.opened_at, Warning.limit_name)))
            session.expunge_all()
            return found

    def rows(self, table: type[Record]) -> list[Any]:
        with self.store.session() as session:
            found = list(session.scalars(select(table).order_by(*table.__table__.primary_key.columns)))
            session.expunge_all()
            return found

    def computed(self) -> dict[str, list[tuple[Any, ...]]]:
        """Everything computed, to the last bit, apart from row numbers."""
        found = {}
        for table in COMPUTED:
            columns = [column for column in table.__table__.columns if column.name != "id"]
            with self.store.session() as session:
                rows = session.execute(select(*columns)).all()
            found[table.__tablename__] = sorted(repr(tuple(row)) for row in rows)
        return found


@pytest.fixture(scope="session")
def shop_of() -> Callable[[Store], Shop]:
    """Makes a shop of a book that is there."""
    return Shop


@pytest.fixture
def make_shop(new_book: Callable[[Path], Store], tmp_path: Path) -> Iterator[Callable[[], Shop]]:
    """Makes empty shops, each in a file of its own."""
    opened: list[Store] = []

    def make() -> Shop:
        store = new_book(tmp_path / f"book-{len(opened)}.sqlite")
        opened.append(store)
        return Shop(store)

    yield make
    for store in opened:
        store.close()


@pytest.fixture
def shop(make_shop: Callable[[], Shop]) -> Shop:
    """A shop with one sensor, and the wall cabinet standing in it."""
    made = make_shop()
    made.place()
    made.sensor()
    made.piece()
    return made


@pytest.fixture
def few_years(monkeypatch: pytest.MonkeyPatch) -> None:
    """Stacks look two months ahead through four plausible years: for tests that ask little of those."""
    monkeypatch.setattr(stacks, "YEARS", 4)
    monkeypatch.setattr(stacks, "DAYS", 60)
