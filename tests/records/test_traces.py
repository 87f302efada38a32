"""What sensors sent through time: a long span by its extremes, a short one whole, doubts apart."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from sqlalchemy import insert

from model.records.queries import traces as module
from model.records.queries.traces import sensor_trace, traces
from model.records.schema.tables import Doubt, Hanging, Place, Reading, Sensor

START = datetime(2026, 1, 1, tzinfo=UTC)
END = START + timedelta(days=90)
EVERY = timedelta(minutes=5)
N = 90 * 288


@pytest.fixture
def sent(session):
    """A quarter of a year, a reading every five minutes, with three outliers and a week of silence."""
    rng = np.random.default_rng(7)
    rh = np.round(45 + 8 * np.sin(np.arange(N) / 900) + rng.normal(0, 0.5, N), 2)
    temperature = np.round(20 + np.sin(np.arange(N) / 288 * 2 * np.pi) + rng.normal(0, 0.1, N), 2)
    rh[4_000], rh[9_001], temperature[20_000] = 2.0, 99.0, -12.0
    kept = np.ones(N, dtype=bool)
    kept[12_000 : 12_000 + 7 * 288] = False
    place, sensor = Place(name="shop", kind="shop", zone="UTC"), Sensor(name="bench", accepted_at=START)
    session.add_all([place, sensor])
    session.flush()
    session.add(Hanging(sensor_id=sensor.id, place_id=place.id, since_at=START))
    session.execute(
        insert(Reading),
        [
            {
                "sensor_id": sensor.id,
                "observed_at": START + k * EVERY,
                "received_at": START + k * EVERY,
                "temperature_c": float(temperature[k]),
                "rh_pct": float(rh[k]) if k % 7 else None,
                "clock": "device",
            }
            for k in np.flatnonzero(kept).tolist()
        ],
    )
    heard = kept & (np.arange(N) % 7 > 0)
    return place.id, sensor.id, np.where(heard, rh, np.nan), np.where(kept, temperature, np.nan)


def by_stretch(at: np.ndarray, values: np.ndarray) -> dict[int, tuple[float, float]]:
    """The lowest and highest of each stretch of a span from START to END."""
    span_ms = round((END - START) / timedelta(milliseconds=1)) + 1
    edges_ms = np.arange(module.STRETCHES) * span_ms // module.STRETCHES
    since_ms = (at - np.datetime64(START.replace(tzinfo=None), "ms")).astype(np.int64)
    number = np.searchsorted(edges_ms, since_ms, side="right") - 1
    return {
        n: (float(np.nanmin(values[number == n])), float(np.nanmax(values[number == n])))
        for n in np.unique(number[~np.isnan(values)]).tolist()
    }


def all_instants() -> np.ndarray:
    return np.datetime64(START.replace(tzinfo=None), "ms") + np.arange(N) * np.timedelta64(300_000, "ms")


@pytest.mark.slow
def test_a_long_span_keeps_the_lowest_and_highest_humidity_of_every_stretch(session, sent):
    place_id, _, rh, _ = sent
    (trace,) = traces(session, place_id, START, END)
    assert trace.step_ms > 0
    assert by_stretch(trace.at, trace.rh_pct) == by_stretch(all_instants(), rh)
    assert len(trace.at) <= 2 * module.STRETCHES
    assert np.all(np.diff(trace.at) >= np.timedelta64(0, "ms"))


@pytest.mark.slow
def test_what_is_kept_of_a_sensor_are_readings_as_they_came_with_every_extreme(session, sent):
    _, sensor_id, rh, temperature = sent
    trace = sensor_trace(session, sensor_id, START, END)
    assert trace.step_ms > 0
    assert by_stretch(trace.at, trace.rh_pct) == by_stretch(all_instants(), rh)
    assert by_stretch(trace.at, trace.temperature_c) == by_stretch(all_instants(), temperature)
    number = np.searchsorted(all_instants(), trace.at)
    assert np.array_equal(all_instants()[number], trace.at)
    assert np.array_equal(rh[number], trace.rh_pct, equal_nan=True)
    assert np.array_equal(temperature[number], trace.temperature_c, equal_nan=True)
    assert len(set(number.tolist())) == len(number) <= 4 * module.STRETCHES


@pytest.mark.slow
def test_silence_is_a_longer_step_than_any_between_neighbours(session, sent):
    place_id, sensor_id, _, _ = sent
    (of_place,) = traces(session, place_id, START, END)
    for trace in (of_place, sensor_trace(session, sensor_id, START, END)):
        steps = np.diff(trace.at).astype(np.int64)
        assert (steps > trace.step_ms).sum() == 1
        assert steps.max() > 6 * 86_400_000


@pytest.mark.slow
def test_a_span_that_is_narrowed_comes_whole(session, sent):
    place_id, sensor_id, rh, _ = sent
    until_at = START + timedelta(days=20)
    (trace,) = traces(session, place_id, START, until_at)
    assert trace.step_ms == 0
    assert np.array_equal(trace.rh_pct, rh[: 20 * 288 + 1], equal_nan=True)
    assert np.array_equal(sensor_trace(session, sensor_id, START, until_at).at, trace.at)


@pytest.mark.slow
def test_no_stretch_lies_across_the_edge_of_a_doubt(session, sent):
    place_id, sensor_id, rh, _ = sent
    since_at, until_at = START + 8_500 * EVERY, START + 9_500 * EVERY
    session.add(
        Doubt(
            sensor_id=sensor_id, kind="jump", since_at=since_at, until_at=until_at, reason="", raised_at=END
        )
    )
    session.flush()
    (trace,) = traces(session, place_id, START, END)
    low, high = (np.datetime64(at.replace(tzinfo=None), "ms") for at in (since_at, until_at))
    doubted = (trace.at >= low) & (trace.at <= high)
    assert trace.rh_pct[doubted].max() == 99.0
    assert trace.rh_pct[doubted].min() == np.nanmin(rh[8_500:9_501])
    others = np.r_[rh[:8_500], rh[9_501:]]
    assert trace.rh_pct[~doubted].max() == np.nanmax(others)
    assert trace.rh_pct[~doubted].min() == np.nanmin(others) == 2.0
