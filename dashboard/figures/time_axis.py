"""What every chart through time shares: its months, its seasons, its gaps, and how it is zoomed."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

import numpy as np

from dashboard import display as say
from dashboard.display import Units
from dashboard.drawing import Shape, shape, ticks
from dashboard.figures.scale import Scale, months
from model.records.types import to_epoch_ms

# Checkpoints are daily: more than two and a half days between two of them is a gap, and is drawn as one.
GAP = np.timedelta64(60 * 60 * 60 * 1000, "ms")


@dataclass(frozen=True)
class Chart:
    """A drawing, what to say under the pointer, and the stretch of time it spans."""

    tree: Shape
    readings: dict[str, Any]
    zoom: dict[str, Any]


def zoom_of(x: Scale) -> dict[str, Any]:
    """The stretch of time a chart spans, and where on it."""
    return {"from": x.low, "to": x.high, "left": x.start, "right": x.end}


def ms_of(at: np.datetime64) -> int:
    """Milliseconds since 1970 of an instant in an array."""
    return int(at.astype("datetime64[ms]").astype(np.int64))


def milliseconds(at: np.ndarray) -> list[int]:
    """Milliseconds since 1970 of an array of instants."""
    found: list[int] = at.astype("datetime64[ms]").astype(np.int64).tolist()
    return found


def broken_path(
    at: np.ndarray, values: np.ndarray, x: Scale, y: Scale, wanted: np.ndarray | None = None
) -> str:
    """The `d` of a line that is broken where a value is missing.

    `wanted` picks the stretches to draw: a stretch is drawn when the value it leads to is wanted.
    """
    if len(at) < 2:
        return ""
    joined = ~np.isnan(values[1:]) & ~np.isnan(values[:-1])
    if wanted is not None:
        joined &= wanted[1:]
    instants = at.astype("datetime64[ms]").astype(np.int64)
    xs = x.start + (instants - x.low) / (x.high - x.low) * (x.end - x.start)
    ys = y.start + (values - y.low) / (y.high - y.low) * (y.end - y.start)
    parts = []
    pen_at = -1
    for index in np.flatnonzero(joined).tolist():
        if pen_at != index:
            parts.append(f"M{xs[index]:.1f} {ys[index]:.1f}")
        parts.append(f"L{xs[index + 1]:.1f} {ys[index + 1]:.1f}")
        pen_at = index + 1
    return "".join(parts)


def month_marks(
    x: Scale, since_at: datetime, until_at: datetime, zone: str, bottom: float, units: Units, wide: bool
) -> list[Shape]:
    """The axis of months, or of days over a short span."""
    found: list[Shape] = [shape("line", x1=x.start, x2=x.end, y1=bottom, y2=bottom, class_="tick")]
    starts = months(since_at, until_at, zone, units, 14 if wide else 6)
    found.append(ticks([(x(to_epoch_ms(at)), bottom, bottom + 6) for at, _ in starts], "tick"))
    for at, says in starts:
        here = min(max(x(to_epoch_ms(at)), x.start + 8), x.end - 8)
        found.append(shape("text", says, x=here, y=bottom + 20, text_anchor="middle", font_size=13))
    return found


def season_bands(
    x: Scale,
    since_at: datetime,
    until_at: datetime,
    zone: str,
    latitude_deg: float | None,
    top: float,
    bottom: float,
) -> list[Shape]:
    """Winters and summers as bands with their names."""
    if until_at - since_at < timedelta(days=75):
        return []
    edges = [since_at, *[at for at, _ in months(since_at, until_at, zone, at_most=400)], until_at]
    spans: list[tuple[str, datetime, datetime]] = []
    for start, end in pairwise(edges):
        name = say.season(start + (end - start) / 2, zone, latitude_deg)
        if spans and spans[-1][0] == name:
            spans[-1] = (name, spans[-1][1], end)
        else:
            spans.append((name, start, end))
    found = []
    for name, start, end in spans:
        left, right = x(to_epoch_ms(start)), x(to_epoch_ms(end))
        if name in ("winter", "summer"):
            box = {"x": left, "y": top, "width": right - left, "height": bottom - top}
            found.append(shape("rect", class_="season", **box))
        if right - left > 8 * len(name):
            middle = (left + right) / 2
            found.append(
                shape(
                    "text",
                    name,
                    x=middle,
                    y=bottom + 37,
                    text_anchor="middle",
                    font_size=13,
                    class_="soft-text",
                )
            )
    return found
