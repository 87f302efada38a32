"""Measured against foretold through time: each measurement's mark beside the band it should lie in."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from dashboard.figures import plot
from dashboard.figures.plot import Chart, Stretch, Strip, Trace

APART = 30
"""So many marks fit beside each other in a stretch; of one day they are moved apart as far as that asks."""
MARKS = {
    "in its band": {"symbol": "circle", "color": plot.TIDE},
    "a client's letter in its band": {"symbol": "circle-open", "color": plot.TIDE},
    "out of its band": {"symbol": "square", "color": plot.WOOD},
    "a client's letter out of its band": {"symbol": "square-open", "color": plot.WOOD},
}
"""How a mark is drawn: by shape whether it lies in its band, filled where the shop measured it itself."""


@dataclass(frozen=True)
class Against:
    """One measurement: when, by how much it is more than foretold and how far it may be either way, both in
    the scale's unit, whether a client read it, and its sentence."""

    at: datetime
    more: float
    either_way: float
    is_letter: bool
    says: str

    @property
    def mark(self) -> str:
        """Its key in `MARKS`."""
        where = "in its band" if abs(self.more) <= self.either_way else "out of its band"
        return f"a client's letter {where}" if self.is_letter else where


def compared_chart(found: Sequence[tuple[str, Sequence[Against]]], stretch: Stretch, message: str) -> Chart:
    """A strip for each quantity: the line of what was foretold, the band about it, and the marks.

    Parameters
    ----------
    found : sequence of (title with its unit, measurements)
        At least one quantity, each with at least one measurement.
    message : str
        What it says to those who don't see it.
    """
    strips: list[Strip] = []
    traces: list[Trace] = []
    shapes = []
    read: list[tuple[str, float, str]] = []
    for number, (title, of_quantity) in enumerate(found, 1):
        axis = "y" if number == 1 else f"y{number}"
        ones = sorted(of_quantity, key=lambda one: one.at)
        x = [plot.wall(at, stretch.zone) for at in _moved_apart([one.at for one in ones], stretch)]
        most = max(max(abs(one.more), one.either_way) for one in ones) * 1.2 or 1.0
        strips.append(Strip(title, -most, most))
        traces.append(_bands(x, ones, axis))
        for name, drawn in MARKS.items():
            own = [place for place, one in enumerate(ones) if one.mark == name]
            if own:
                marker = {"size": 9, "line": {"width": 1.8, "color": plot.INK}, **drawn}
                looks = {"mode": "markers", "name": name, "marker": marker, "yaxis": axis}
                y = [round(ones[place].more, 4) for place in own]
                traces.append(plot.trace_of([x[place] for place in own], y, **looks))
        level = {"type": "line", "xref": "paper", "x0": 0, "x1": 1, "yref": axis, "y0": 0, "y1": 0}
        shapes.append({**level, "line": plot.line(plot.INK, 1.2)})
        read += [(at, one.more if number == 1 else 0.0, one.says) for at, one in zip(x, ones, strict=True)]
    read.sort(key=lambda one: one[0])
    traces.append(
        plot.reader([at for at, _, _ in read], [y for _, y, _ in read], [says for *_, says in read])
    )
    return Chart(plot.figure(traces, strips, stretch, shapes), message)


def _bands(x: Sequence[str], ones: Sequence[Against], axis: str) -> Trace:
    """Each measurement's band as an upright bar about the line of what was foretold."""
    at: list[str | None] = []
    y: list[float | None] = []
    for place, one in zip(x, ones, strict=True):
        at += [place, place, None]
        y += [round(-one.either_way, 4), round(one.either_way, 4), None]
    bar = plot.line(plot.STEEL, 9)
    return plot.trace_of(at[:-1], y[:-1], name="band", line=bar, opacity=0.45, yaxis=axis)


def _moved_apart(at: Sequence[datetime], stretch: Stretch) -> list[datetime]:
    """Rising instants, those too near to each other moved apart, none beyond the end."""
    count = max(APART, len(at) + 1)
    room: timedelta = (stretch.until_at - stretch.since_at) / count
    numbers = np.arange(len(at))
    behind = np.array([(one - stretch.since_at) / room for one in at]) - numbers
    places = np.maximum.accumulate(behind) + numbers
    last = count - 1.0 - numbers[::-1]
    return [stretch.since_at + float(place) * room for place in np.minimum(places, last)]
