"""Counts, sums and delays of each hour of a sensor's readings, by the database.

The database goes through readings many times faster than it hands them out. Sums are of whole numbers below
2**53, so they are exact in any order and on both databases.
"""

import numpy as np
from numpy.typing import NDArray

from model.records.bulk import Bulk
from model.watch.air.air_hours import HOUR_MS

Table = NDArray[np.float64]

WHOLE = 1 << 20
"""Temperatures and humidities are summed in whole 2**-20 of their unit: about millionths."""

N, N_T, N_RH, T_SUM, RH_SUM, LAG_N, LAG_SUM, LAG_SQUARES, LAG_ARRIVALS = range(9)
"""Columns: readings, those with a temperature, those with a humidity, their sums; readings with the device's
instant, their delay and its square summed [s]; readings that go by their arrival."""


def hourly_stats(bulk: Bulk, sensor_id: int, first: int, until: int) -> Table:
    """Statistics of hours since 1970, one row each, (hours, 9); NaN where there is no reading."""
    lag_s = (
        "CAST((received_at - observed_at) / 1000 AS REAL)"
        if bulk.is_sqlite
        else "TRUNC(EXTRACT(EPOCH FROM received_at - observed_at)::double precision)"
    )
    # On PostgreSQL of the truncated instant: many times faster than arithmetic on each.
    hour = (
        f"observed_at / {HOUR_MS}"
        if bulk.is_sqlite
        else "(EXTRACT(EPOCH FROM date_trunc('hour', observed_at, 'UTC'))::bigint / 3600)"
    )

    def total(column: str) -> str:
        whole = f"CAST({column} * {WHOLE} AS INTEGER)" if bulk.is_sqlite else f"TRUNC({column} * {WHOLE})"
        return f"COALESCE(SUM({whole}), 0)"

    rows = bulk.rows(
        f"SELECT hour, COUNT(*), COUNT(temperature_c), COUNT(rh_pct), {total('temperature_c')}, "
        f"{total('rh_pct')}, SUM(own), SUM(own * lag), SUM(own * lag * lag), SUM(1 - own) FROM ("
        f"SELECT {hour} AS hour, temperature_c, rh_pct, CASE clock WHEN 'device' THEN 1 ELSE 0 END AS own, "
        f"{lag_s} AS lag FROM reading WHERE sensor_id = ? AND observed_at >= ? AND observed_at < ?) AS own "
        "GROUP BY hour",
        (sensor_id, bulk.instant(max(first, 0) * HOUR_MS), bulk.instant(until * HOUR_MS)),
    )
    table = np.full((until - first, LAG_ARRIVALS + 1), np.nan)
    if rows:
        found = np.array(rows, dtype=np.float64)
        table[found[:, 0].astype(np.int64) - first] = found[:, 1:]
    return table
