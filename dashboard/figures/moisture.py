"""A stack's moisture through time: mean, face and core, what it is meant for, and what the meter said."""

from collections.abc import Sequence

import numpy as np

from dashboard.figures import plot
from dashboard.figures.plot import Chart, Stretch, Strip
from dashboard.figures.tide import GAP
from model.records.queries.overview import Event
from model.records.queries.series import Tide
from model.words import display as say
from model.words import times
from model.words.display import Display

READY_WITHIN_PCT = (
    1.0  # how far from its target a stack may be and still be ready (common practice, no source)
)
SPOKEN = 400


def moisture_chart(
    tide: Tide,
    display: Display,
    stretch: Stretch,
    target_pct: float | None = None,
    measured: Sequence[Event] = (),
    name: str = "the stack",
) -> Chart:
    """A body's moisture content as a chart; `tide` may be empty and may have gaps.

    Parameters
    ----------
    target_pct : float or None
        What it should have [%]; a band of a point either side is drawn.
    measured : sequence of Event
        Metered moisture contents, drawn as crosses.
    """
    zone = stretch.zone
    ends = [event.value for event in measured if event.value is not None]
    shapes, words = [], []
    if target_pct is not None:
        low_pct, high_pct = target_pct - READY_WITHIN_PCT, target_pct + READY_WITHIN_PCT
        ends += [low_pct, high_pct]
        band = {"type": "rect", "xref": "paper", "x0": 0, "x1": 1, "y0": low_pct, "y1": high_pct}
        edge = {"layer": "below", "fillcolor": plot.SUNK, "line": plot.line(plot.WOOD, 1, "dot")}
        shapes.append({**band, **edge})
        told = f"ready within a point of {say.mc(target_pct)}"
        words.append(plot.word(told, x=0, xref="paper", xanchor="left", y=low_pct, xshift=6, yshift=2))
    columns = [tide.mc_mean_pct, tide.mc_face_pct, tide.mc_core_pct, np.array(ends, dtype=np.float64)]
    traces = []
    for mc_pct, part, drawn in (
        (tide.mc_face_pct, "face", plot.line(plot.STEEL, 1.2)),
        (tide.mc_core_pct, "core", plot.line(plot.SOFT, 1.4, "dash")),
        (tide.mc_mean_pct, "mean", plot.line(width=2.4)),
    ):
        solid, dotted = {"name": part, "line": drawn}, {"name": part, "line": {**drawn, "dash": "dot"}}
        traces += plot.lines(tide.at, mc_pct, tide.estimated, GAP, zone, solid, dotted)
    shown = [
        event
        for event in measured
        if event.value is not None and stretch.since_at <= event.at <= stretch.until_at
    ]
    if shown:
        cross = {"symbol": "cross-thin", "size": 11, "line": {"width": 2, "color": plot.INK}}
        x = [plot.wall(event.at, zone) for event in shown]
        marks = {"mode": "markers", "marker": cross, "name": "metered"}
        traces.append(plot.trace_of(x, [event.value for event in shown], **marks))
    kept = plot.thinned(tide.mc_mean_pct, SPOKEN)
    traces.append(
        plot.reader(
            plot.wall_ms(tide.at[kept], zone).tolist(),
            np.round(tide.mc_mean_pct[kept], 2).tolist(),
            [said_of(tide, index, display, zone).replace(": ", "<br>", 1) for index in kept.tolist()],
        )
    )
    nothing = "" if len(tide.at) else "No moisture is worked out for this span yet."
    strips = [Strip("MC, %", *plot.reach(columns, 0.5, 3.0))]
    return Chart(plot.figure(traces, strips, stretch, shapes, words, nothing), _message(tide, name))


def said_of(tide: Tide, index: int, display: Display, zone: str) -> str:
    """One checkpoint's moisture in a sentence."""
    at = plot.instant_of(tide.at[index])
    mean, face, core = (
        say.mc(float(column[index])) for column in (tide.mc_mean_pct, tide.mc_face_pct, tide.mc_core_pct)
    )
    bridged = ", air estimated" if tide.estimated[index] else ""
    return f"{times.day(at, zone, display.units)}: mean {mean}, face {face}, core {core}{bridged}"


def _message(tide: Tide, name: str) -> str:
    mean = tide.mc_mean_pct[~np.isnan(tide.mc_mean_pct)]
    if not len(mean):
        return f"Moisture of {name} through time: nothing is known for this span."
    return f"Moisture of {name} through time: from {say.mc(float(mean[0]))} to {say.mc(float(mean[-1]))}."
