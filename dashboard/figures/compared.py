"""Foretold against measured through time: how far off each forecast was, about the line of no error."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from dashboard.figures import plot
from dashboard.figures.plot import Chart, Stretch, Strip


@dataclass(frozen=True)
class Off:
    """One forecast: when it was measured, by how much it was off in the scale's unit, and its sentence."""

    at: datetime
    value: float
    says: str


def compared_chart(offs: Sequence[tuple[str, Sequence[Off]]], stretch: Stretch, message: str) -> Chart:
    """A strip for each quantity with its forecasts as rings, above the line where they were too large.

    Parameters
    ----------
    offs : sequence of (title with its unit, forecasts)
        At least one quantity, each with at least one forecast.
    message : str
        What it says to those who don't see it.
    """
    strips, traces, shapes, words = [], [], [], []
    ring = {"symbol": "circle-open", "size": 11, "color": plot.TIDE, "line": {"width": 2.2}}
    for number, (title, found) in enumerate(offs, 1):
        axis = "y" if number == 1 else f"y{number}"
        values = np.array([off.value for off in found])
        most = float(np.abs(values).max()) * 1.3 or 1.0
        strips.append(Strip(title, -most, most))
        x = [plot.wall(off.at, stretch.zone) for off in found]
        drawn = {"mode": "markers", "marker": ring, "yaxis": axis}
        traces.append(plot.reader(x, values.round(4).tolist(), [off.says for off in found], **drawn))
        level = {"type": "line", "xref": "paper", "x0": 0, "x1": 1, "yref": axis, "y0": 0, "y1": 0}
        shapes.append({**level, "line": plot.line(plot.INK, 1.2)})
        words.append(plot.word("as measured", x=0, xref="paper", xanchor="left", y=0, yref=axis, xshift=6))
    return Chart(plot.figure(traces, strips, stretch, shapes, words), message)
