"""Made series of a sensor, and the doubts they raise."""

import numpy as np

from model.watch.trust.findings import DAY_MS, HOUR_MS
from model.watch.trust.series import Nearby, SensorSeries

T0 = 20_000 * DAY_MS


ALONE = Nearby()


def series_of(name, at_ms, temperature_c, rh_pct):
    """A series without a correction."""
    rh, temperature = np.asarray(rh_pct, dtype=np.float64), np.asarray(temperature_c, dtype=np.float64)
    return SensorSeries(name, np.asarray(at_ms, dtype=np.int64), temperature, rh, rh, temperature)


def quarter_hours(hours, temperature_c=20.0, rh_pct=45.0, name="bench", seed=1, first=0.0, step_h=0.25):
    """Readings every quarter of an hour, with the small unrest every working sensor shows."""
    n = round(hours / step_h)
    rng = np.random.default_rng(seed)
    at = T0 + np.round((first + step_h * np.arange(n)) * HOUR_MS).astype(np.int64)
    temperature = np.broadcast_to(temperature_c, n) + 0.1 * rng.standard_normal(n)
    rh = np.broadcast_to(rh_pct, n) + 0.3 * rng.standard_normal(n)
    return series_of(name, at, np.round(temperature, 1), np.round(np.clip(rh, 1.0, 100.0), 1))


def with_values(series, rows, rh_pct=None, temperature_c=None):
    rh, temperature = series.rh_pct.copy(), series.temperature_c.copy()
    if rh_pct is not None:
        rh[rows] = rh_pct
    if temperature_c is not None:
        temperature[rows] = temperature_c
    return series_of(series.name, series.at_ms, temperature, rh)


def doubts(findings):
    return [f for f in findings if f.reason is not None]
