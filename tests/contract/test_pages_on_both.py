"""What pages count on, on both databases: extremes of long spans, and pages kept until somebody writes."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from sqlalchemy import delete

from dashboard.shell import page_cache as fresh_module
from dashboard.shell.page_cache import Fresh
from model.records.queries import traces as traces_module
from model.records.schema.tables import Doubt, Hanging, Place, Preference, Reading, Sensor
from model.records.store import Store

START = datetime(2026, 1, 20, tzinfo=UTC)  # over the end of a month, where PostgreSQL parts its readings
EVERY, N = timedelta(hours=1), 600


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def either(request: pytest.FixtureRequest) -> Store:
    """A book on each of the two databases."""
    book: Store = request.getfixturevalue("store" if request.param == "sqlite" else "postgres_store")
    return book


@pytest.fixture
def unhurried(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages are kept for longer than any test: only a write makes them anew."""
    monkeypatch.setattr(fresh_module, "KEPT_S", 3600.0)


def test_a_rendering_is_kept_while_nobody_writes_and_made_anew_after(either: Store, unhurried: None) -> None:
    made: list[int] = []

    def make() -> int:
        # As a page does: a unit of work of its own that reads.
        with either.session() as session:
            session.get(Preference, "quiet")
        made.append(len(made))
        return made[-1]

    fresh = Fresh(either)
    assert [fresh.of("today", make) for _ in range(3)] == [0, 0, 0]
    with either.session() as session:
        session.add(Preference(name="quiet", value={}))
    assert [fresh.of("today", make) for _ in range(2)] == [1, 1]
    with either.session() as session:
        session.get_one(Preference, "quiet").value = {"from": 22}
    assert [fresh.of("today", make) for _ in range(2)] == [2, 2]
    with either.session() as session:
        session.execute(delete(Preference))
    assert [fresh.of("today", make) for _ in range(2)] == [3, 3]


def test_a_rendering_made_while_somebody_writes_is_not_kept(either: Store, unhurried: None) -> None:
    seen: list[str] = []
    fresh = Fresh(either)

    def make() -> str:
        with either.session() as session:
            found = session.get(Preference, "quiet")
        seen.append("quiet" if found else "loud")
        return seen[-1]

    with either.session() as writing:
        writing.add(Preference(name="quiet", value={}))
        writing.flush()
        # Written but not committed: nobody else sees it, and what is made now must not outlast the commit.
        assert fresh.of("today", make) == "loud"
    assert fresh.of("today", make) == "quiet"


def test_a_database_that_went_away_is_asked_again(either: Store, unhurried: None) -> None:
    made: list[int] = []
    fresh = Fresh(either)
    fresh.of("today", lambda: made.append(1))
    assert fresh._connection is not None
    raw = fresh._connection.connection.dbapi_connection
    assert raw is not None
    raw.close()
    # Without a mark it is made and not kept; with a new connection's first mark it is made and kept.
    for count in (2, 3, 3):
        fresh.of("today", lambda: made.append(1))
        assert len(made) == count


@pytest.fixture
def sent(either: Store, monkeypatch: pytest.MonkeyPatch) -> tuple[int, int, np.ndarray, np.ndarray]:
    """600 hours of a sensor's, some without humidity, a doubt in the middle; too many to be read singly."""
    monkeypatch.setattr(traces_module, "MANY", 100)
    monkeypatch.setattr(traces_module, "STRETCHES", 30)
    rng = np.random.default_rng(11)
    rh, temperature = np.round(rng.uniform(20, 80, N), 1), np.round(rng.uniform(5, 30, N), 1)
    rh[::9] = np.nan
    with either.session() as session:
        place = Place(name="shop", kind="shop", zone="UTC")
        sensor = Sensor(name="bench", accepted_at=START)
        session.add_all([place, sensor])
        session.flush()
        session.add(Hanging(sensor_id=sensor.id, place_id=place.id, since_at=START))
        session.add(
            Doubt(
                sensor_id=sensor.id,
                kind="jump",
                since_at=START + 205 * EVERY,
                until_at=START + 333 * EVERY,
                reason="it jumped",
                raised_at=START,
            )
        )
        session.add_all(
            Reading(
                sensor_id=sensor.id,
                observed_at=START + k * EVERY,
                received_at=START + k * EVERY,
                temperature_c=float(temperature[k]),
                rh_pct=None if np.isnan(rh[k]) else float(rh[k]),
            )
            for k in range(N)
        )
        return place.id, sensor.id, rh, temperature


def test_a_long_span_loses_no_extreme(either: Store, sent: tuple[int, int, np.ndarray, np.ndarray]) -> None:
    place_id, sensor_id, rh, temperature = sent
    until_at = START + (N - 1) * EVERY
    with either.session() as session:
        (of_place,) = traces_module.traces(session, place_id, START, until_at)
        whole = traces_module.sensor_trace(session, sensor_id, START, until_at)
    assert of_place.step_ms == whole.step_ms > 0
    assert len(of_place.at) <= 2 * 32
    instants = np.datetime64(START.replace(tzinfo=None), "ms") + np.arange(N) * np.timedelta64(
        3_600_000, "ms"
    )
    edges = np.unique(
        np.r_[np.arange(30) * ((N - 1) * 3_600_000 + 1) // 30, 205 * 3_600_000, 333 * 3_600_000 + 1]
    )

    def extremes(at: np.ndarray, values: np.ndarray) -> list[tuple[float, float]]:
        number = np.searchsorted(edges, (at - instants[0]).astype(np.int64), side="right") - 1
        parts = (values[(number == n) & ~np.isnan(values)] for n in range(len(edges)))
        return [(part.min(), part.max()) for part in parts if len(part)]

    assert extremes(of_place.at, of_place.rh_pct) == extremes(instants, rh)
    assert extremes(whole.at, whole.rh_pct) == extremes(instants, rh)
    assert extremes(whole.at, whole.temperature_c) == extremes(instants, temperature)
    number = np.searchsorted(instants, whole.at)
    assert np.array_equal(instants[number], whole.at)
    assert np.array_equal(rh[number], whole.rh_pct, equal_nan=True)
    assert np.array_equal(temperature[number], whole.temperature_c)
