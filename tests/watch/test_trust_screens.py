"""What outlines of hours rule out is not there: each detector against the rule that keeps it from running."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from model.watch.air_hours import paired
from model.watch.trust import company, presence, screens, signatures
from model.watch.trust.figures import LAST, N, corrected_pct, outline_of
from model.watch.trust.findings import HOUR_MS
from model.watch.trust.kept import Readings
from model.watch.trust.series import Beside, SensorSeries

FIRST = 500_000
HOURS = 60


def outlines(readings: Readings) -> np.ndarray:
    table = np.full((HOURS, 12), np.nan)
    for hour in range(HOURS):
        own = readings.part((FIRST + hour) * HOUR_MS, (FIRST + hour + 1) * HOUR_MS)
        if len(own.at_ms):
            table[hour] = outline_of(own)
    return table


def series(name: str, readings: Readings) -> SensorSeries:
    return SensorSeries(
        name,
        readings.at_ms.astype(np.int64),
        paired(readings.at_ms, readings.temperature_c, ~np.isnan(readings.rh_pct)),
        readings.rh_pct,
        corrected_pct(readings, ()),
        readings.temperature_c,
    )


SPELL = st.tuples(
    st.integers(0, HOURS - 1),  # first hour
    st.integers(1, 20),  # how long
    st.sampled_from(
        ["rest", "rest warm", "step", "spike", "wild", "damp", "hot", "dry", "gone", "alone", "sun"]
    ),
)


@st.composite
def days(draw: st.DrawFn) -> Readings:
    """Two and a half days of one sensor, near the limits of the detectors."""
    interval_ms = draw(st.sampled_from([60_000, 300_000, 900_000, 3_000_000, 4_000_000]))
    rng = np.random.default_rng(draw(st.integers(0, 1000)))
    at = np.arange(FIRST * HOUR_MS, (FIRST + HOURS) * HOUR_MS, interval_ms) + int(
        rng.integers(0, interval_ms)
    )
    at = at[at < (FIRST + HOURS) * HOUR_MS].astype(np.float64)
    swing = np.sin(at / HOUR_MS * 2.0 * np.pi / 24.0)
    temperature = np.round(20.0 + 2.0 * swing + 0.1 * rng.standard_normal(len(at)), 1)
    rh = np.round(45.0 - 4.0 * swing + 0.3 * rng.standard_normal(len(at)), 1)
    keep = np.ones(len(at), dtype=bool)
    for first, length, kind in draw(st.lists(SPELL, max_size=4)):
        begin = (FIRST + first + rng.random()) * HOUR_MS
        here = (at >= begin) & (at < begin + length * HOUR_MS)
        if not here.any():
            continue
        if kind == "rest":
            rh[here] = 47.3
        elif kind == "rest warm":
            temperature[here] = 21.0
        elif kind == "step":
            temperature[at >= begin] += rng.choice([-4.1, -3.9, 3.9, 4.1])
        elif kind == "spike":
            rh[np.flatnonzero(here)[0]] += rng.choice([19.9, 20.1, -20.1])
        elif kind == "wild":
            temperature[np.flatnonzero(here)[0]] += rng.choice([9.8, 10.6, -10.6])
        elif kind == "damp":
            rh[here] = rng.choice([98.9, 99.0, 99.7])
        elif kind == "hot":
            temperature[here] = 45.1
        elif kind == "dry":
            rh[here] = 4.9
        elif kind == "gone":
            keep &= ~here
        elif kind == "alone":
            temperature[here & (np.arange(len(at)) % 2 == 0)] = np.nan
            rh[here & (np.arange(len(at)) % 2 == 1)] = np.nan
        elif kind == "sun":
            temperature[here] += 4.0
            rh[here] *= 0.78
    rh = np.clip(rh, 0.0, 100.0)
    keep &= ~(np.isnan(temperature) & np.isnan(rh))
    return Readings(at[keep], temperature[keep], rh[keep])


@settings(max_examples=150)
@given(own=days(), others=st.lists(days(), max_size=2), later_h=st.integers(0, 3))
def test_no_detector_finds_what_the_outlines_rule_out(
    own: Readings, others: list[Readings], later_h: int
) -> None:
    now_ms = (FIRST + HOURS + later_h) * HOUR_MS
    table, coolest = outlines(own), np.full(HOURS, np.nan)
    for other in others:
        coolest = np.fmin(coolest, screens.lowest(outlines(other)))
    unclear = screens.unclear(table, coolest, now_ms, to_the_last=True)
    one = series("bench", own)
    beside = Beside([series(f"rack {k}", other) for k, other in enumerate(others) if len(other.at_ms)])
    found = {
        "out-of-range": signatures.out_of_range(one),
        "jump": signatures.jumps(one, beside),
        "stuck": signatures.stuck(one, beside),
        "pegged": signatures.pegged(one, beside),
        "warm": company.warm(one, beside),
        "moved": signatures.moved(one, beside),
        "silent": presence.silences(one.at_ms, [(0, 1 << 60)], now_ms),
    }
    assert {kind for kind, findings in found.items() if findings} <= unclear


def test_quiet_air_once_a_second_is_ruled_out_whole() -> None:
    at = np.arange(FIRST * HOUR_MS, (FIRST + HOURS) * HOUR_MS, 10_000).astype(np.float64)
    swing = np.sin(at / HOUR_MS * 2.0 * np.pi / 24.0)
    rng = np.random.default_rng(1)
    quiet = Readings(
        at,
        np.round(20.0 + swing + 0.1 * rng.standard_normal(len(at)), 1),
        np.round(45.0 - 4.0 * swing + 0.3 * rng.standard_normal(len(at)), 1),
    )
    table = outlines(quiet)
    assert (table[:, N] == 360).all()
    assert (np.diff(table[:, LAST]) == HOUR_MS).all()
    assert screens.unclear(table, screens.lowest(table), (FIRST + HOURS) * HOUR_MS, True) == set()
