"""Figures of an hour of readings: outlines, how late they came, means; from readings or by the database."""

from collections.abc import Iterable

import numpy as np

from model.watch.air_hours import HOUR_MS
from model.watch.bulk import Bulk
from model.watch.trust.hours import Table
from model.watch.trust.kept import Floats, Readings
from model.wood.air import vapour_pressure

WHOLE = 1 << 20
"""Sums are of whole millionths (2**-20), about: exact in any order, and far below any limit."""

N, N_T, N_RH, N_BOTH, FIRST, LAST, T_LOW, T_HIGH, RH_LOW, RH_HIGH, T_SUM, RH_SUM = range(12)
"""Columns of an outline: counts, instants [ms since 1970], °C, %, and sums of whole 2**-20 of them."""
LAG_N, LAG_SUM, LAG_SQUARES, LAG_ARRIVALS = range(4)
"""Columns of lags: readings with the device's instant, their lag and its square summed [s], the others."""


def corrected_pct(readings: Readings, corrections: Iterable[tuple[int, float, float]]) -> Floats:
    """Humidity with the corrections that hold, each from its instant on [%]."""
    corrected = readings.rh_pct
    for since, intercept, slope in corrections:
        corrected = np.where(
            readings.at_ms >= since, np.clip(intercept + slope * readings.rh_pct, 0.0, 100.0), corrected
        )
    return corrected


def hourly_means(
    at_ms: Floats, temperature_c: Floats, rh_pct: Floats, first: int, until: int
) -> list[tuple[float, float, float]]:
    """Hour, mean temperature and mean vapour pressure of the hours in which both are known."""
    whole = ~np.isnan(temperature_c) & ~np.isnan(rh_pct)
    whole &= (at_ms >= first * HOUR_MS) & (at_ms < until * HOUR_MS)
    if not whole.any():
        return []
    hours, group = np.unique(at_ms[whole] // HOUR_MS, return_inverse=True)
    count = np.bincount(group)
    temperature_c = temperature_c[whole]
    mean_c = np.bincount(group, weights=temperature_c) / count
    mean_pa = np.bincount(group, weights=vapour_pressure(temperature_c, rh_pct[whole])) / count
    return list(zip(hours.tolist(), mean_c.tolist(), mean_pa.tolist(), strict=True))


def outline_of(readings: Readings) -> tuple[float, ...]:
    """The outline of an hour's readings."""
    n = len(readings.at_ms)
    if not n:
        return (0.0,) * 12
    temperature_c = readings.temperature_c[~np.isnan(readings.temperature_c)]
    rh_pct = readings.rh_pct[~np.isnan(readings.rh_pct)]
    both = np.count_nonzero(~np.isnan(readings.temperature_c) & ~np.isnan(readings.rh_pct))
    return (
        n, len(temperature_c), len(rh_pct), float(both), float(readings.at_ms[0]), float(readings.at_ms[-1]),
        *_extremes(temperature_c), *_extremes(rh_pct),
        float(np.trunc(temperature_c * WHOLE).sum()), float(np.trunc(rh_pct * WHOLE).sum()),
    )  # fmt: skip


def _extremes(values: Floats) -> tuple[float, float]:
    return (float(values.min()), float(values.max())) if len(values) else (np.nan, np.nan)


def outlines_of(bulk: Bulk, sensor_id: int, first: int, until: int) -> Table:
    """The same from the database, which goes through readings many times faster than it hands them out."""
    ms = bulk.instant_of

    def total(column: str) -> str:
        whole = f"CAST({column} * {WHOLE} AS INTEGER)" if bulk.is_sqlite else f"TRUNC({column} * {WHOLE})"
        return f"COALESCE(SUM({whole}), 0)"

    rows = bulk.rows(
        f"SELECT {_hour(bulk)} AS hour, COUNT(*), COUNT(temperature_c), COUNT(rh_pct), "
        f"COUNT(temperature_c + rh_pct), {ms('MIN(observed_at)')}, {ms('MAX(observed_at)')}, "
        "MIN(temperature_c), MAX(temperature_c), MIN(rh_pct), MAX(rh_pct), "
        f"{total('temperature_c')}, {total('rh_pct')} {_BETWEEN} GROUP BY 1",
        _between(bulk, sensor_id, first, until),
    )
    return np.array(rows, dtype=np.float64).reshape(-1, 13)


def lags_of(bulk: Bulk, sensor_id: int, first: int, until: int) -> Table:
    """Lags in whole seconds: their squares sum up exactly, in any order, for lags of some days."""
    lag_s = (
        "CAST((received_at - observed_at) / 1000 AS REAL)"
        if bulk.is_sqlite
        else "TRUNC(EXTRACT(EPOCH FROM received_at - observed_at)::double precision)"
    )
    rows = bulk.rows(
        "SELECT hour, SUM(own), SUM(own * lag), SUM(own * lag * lag), SUM(1 - own) FROM ("
        f"SELECT {_hour(bulk)} AS hour, CASE clock WHEN 'device' THEN 1 ELSE 0 END AS own, {lag_s} AS lag "
        f"{_BETWEEN}) AS late GROUP BY hour",
        _between(bulk, sensor_id, first, until),
    )
    return np.array(rows, dtype=np.float64).reshape(-1, 5)


_BETWEEN = "FROM reading WHERE sensor_id = ? AND observed_at >= ? AND observed_at < ?"


def _between(bulk: Bulk, sensor_id: int, first: int, until: int) -> tuple[object, ...]:
    return sensor_id, bulk.instant(max(first, 0) * HOUR_MS), bulk.instant(until * HOUR_MS)


def _hour(bulk: Bulk) -> str:
    """The hour of a reading, since 1970; on PostgreSQL of the truncated instant, which is many times faster
    than arithmetic on each."""
    if bulk.is_sqlite:
        return f"observed_at / {HOUR_MS}"
    return "(EXTRACT(EPOCH FROM date_trunc('hour', observed_at, 'UTC'))::bigint / 3600)"
