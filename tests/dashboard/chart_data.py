"""Days of moisture and hours of air to draw."""

from datetime import UTC, datetime, timedelta

import numpy as np

from dashboard.figures.air import OverlaidAir, air_chart
from dashboard.figures.compared import Against, compared_chart
from dashboard.figures.moisture import moisture_chart
from dashboard.figures.plot import Stretch
from dashboard.figures.tide import Fan, Flag, Shore, tide_chart
from model.records.queries.overview import Event
from model.records.queries.series import AirSeries, Tide
from model.records.queries.traces import Trace
from model.words.display import Display

INCH, METRIC = Display("inch"), Display("metric")
START = datetime(2025, 6, 1, tzinfo=UTC)
END = datetime(2026, 6, 1, tzinfo=UTC)
YEAR = Stretch(START, END, "UTC", "inch")
TWO_DAYS = Stretch(START, START + timedelta(days=2), "UTC", "inch")
SHORES = [
    Shore("groove bottom", "the tongue bottoms", "swelling", "harms", 372.0),
    Shore("bare line", "bare wood shows", "shrinking", "shows", 366.0),
]


def instants(days):
    start = np.datetime64(START.replace(tzinfo=None), "ms")
    return np.array(
        [start + np.timedelta64(int(day * 86_400_000), "ms") for day in days], dtype="datetime64[ms]"
    )


def a_tide(days, estimated=None):
    n = len(days)
    width = np.array([368.0 + np.sin(day / 58.0) for day in days])
    moist = np.full(n, 8.0)
    return Tide(
        instants(days), moist, moist - 0.2, moist + 0.2, width, np.array(estimated or [False] * n, dtype=bool)
    )


def an_air(hours):
    n = len(hours)
    humid = np.array([45.0 + 5 * np.sin(hour / 24) for hour in hours])
    return AirSeries(
        instants([hour / 24 for hour in hours]), np.full(n, 20.0), humid, np.zeros(n, dtype=bool)
    )


def a_trace(days, values, doubts=(), step_ms=0):
    return Trace(
        1,
        "bench",
        instants(days),
        np.full(len(days), 20.0),
        np.asarray(values, float),
        doubts,
        step_ms=step_ms,
    )


def named(chart, name):
    return [trace for trace in chart.figure["data"] if trace["name"] == name]


def breaks(trace):
    return sum(value is None for value in trace["y"])


def written(chart):
    return [words["text"] for words in chart.figure["layout"]["annotations"]]


def read(chart):
    return chart.figure["data"][-1]


CHARTS = {
    "air": lambda: air_chart(an_air(range(48)), [a_trace([0, 1], [40, 50])], INCH, TWO_DAYS),
    "air beside": lambda: air_chart(
        an_air(range(48)),
        [],
        INCH,
        TWO_DAYS,
        beside=OverlaidAir("Lake house", an_air(range(48)), timedelta(0), "UTC"),
    ),
    "no air": lambda: air_chart(an_air([]), [], INCH, YEAR),
    "tide": lambda: tide_chart(
        a_tide(list(range(60)), [day % 7 == 0 for day in range(60)]),
        SHORES,
        INCH,
        YEAR,
        [Flag(START + timedelta(days=3), "moved to Lake house")],
        [(float(pct), 360.0 + pct) for pct in range(1, 20)],
        Fan(instants([300, 330, 360]), np.full(3, 367.0), np.full(3, 368.0), np.full(3, 370.0)),
        START + timedelta(days=59),
    ),
    "no tide": lambda: tide_chart(a_tide([]), SHORES, INCH, YEAR),
    "moisture": lambda: moisture_chart(
        a_tide([0, 1, 2, 9, 10]),
        INCH,
        YEAR,
        8.0,
        [Event(START + timedelta(days=2), "mc_pct", "pin meter", 9.0)],
    ),
    "compared": lambda: compared_chart(
        [
            (
                "Gaps, in wider than the forecast",
                [
                    Against(START, 0.01, 0.02, True, "back"),
                    Against(START, -0.05, 0.02, False, "front"),
                ],
            )
        ],
        YEAR,
        "One of two.",
    ),
}
