"""A stack's moisture through time: mean, face and core, what it is meant for, and what the meter said."""

from collections.abc import Sequence
from datetime import datetime

import numpy as np

from dashboard import display as say
from dashboard.display import Display
from dashboard.drawing import Shape, picture, shape
from dashboard.figures.scale import Scale
from dashboard.figures.thin import gapped, thinned
from dashboard.figures.time_axis import GAP, Chart, broken_path, month_marks, ms_of, season_bands, zoom_of
from model.records.queries import Event
from model.records.series import Tide
from model.records.types import from_epoch_ms, to_epoch_ms

READY_WITHIN_PCT = (
    1.0  # how far from its target a stack may be and still be ready (common practice, no source)
)


def moisture_chart(
    tide: Tide,
    display: Display,
    zone: str,
    since_at: datetime,
    until_at: datetime,
    target_pct: float | None = None,
    measured: Sequence[Event] = (),
    width: int = 960,
    name: str = "the stack",
) -> Chart:
    """A body's moisture content as a drawing; `tide` may be empty and may have gaps.

    Parameters
    ----------
    target_pct : float or None
        What it should have [%]; a band of a point either side is drawn.
    measured : sequence of Event
        Metered moisture contents, drawn as crosses.
    """
    wide = width >= 500
    left, right, top, bottom = (46 if wide else 36), width - 12, 24, (260 if wide else 230)
    x = Scale(to_epoch_ms(since_at), to_epoch_ms(until_at), left, right)
    values = [tide.mc_mean_pct, tide.mc_face_pct, tide.mc_core_pct]
    known = np.concatenate([column[~np.isnan(column)] for column in values])
    ends = known.tolist() + [event.value for event in measured if event.value is not None]
    if target_pct is not None:
        ends += [target_pct - READY_WITHIN_PCT, target_pct + READY_WITHIN_PCT]
    low, high = (min(ends) - 0.5, max(ends) + 0.5) if ends else (5.0, 12.0)
    y = Scale(low, high, bottom, top)
    drawn: list[Shape] = season_bands(x, since_at, until_at, zone, None, top, bottom)
    if target_pct is not None:
        band = {"x": left, "width": right - left, "y": y(target_pct + READY_WITHIN_PCT)}
        height = y(target_pct - READY_WITHIN_PCT) - y(target_pct + READY_WITHIN_PCT)
        drawn.append(shape("rect", height=height, class_="bracket-fill", **band))
        words = f"ready within a point of {say.mc(target_pct)}"
        drawn.append(shape("text", words, x=left + 8, y=y(target_pct) + 4, font_size=13.5, class_="on-land"))
    drawn += _axis(y, left, right)
    for column, class_ in (
        (tide.mc_face_pct, "raw"),
        (tide.mc_core_pct, "dew"),
        (tide.mc_mean_pct, "tide-line"),
    ):
        at, held, bridged = gapped(tide.at, column, GAP, tide.estimated.astype(np.float64))
        kept = thinned(held)
        at, held, is_bridged = at[kept], held[kept], bridged[kept] == 1.0
        for wanted, kind in ((~is_bridged, class_), (is_bridged, f"{class_} bridged")):
            d = broken_path(at, held, x, y, wanted)
            if d:
                drawn.append(shape("path", d=d, class_=kind))
    for event in measured:
        if event.value is not None and since_at <= event.at <= until_at:
            here, there = x(to_epoch_ms(event.at)), y(event.value)
            drawn.append(shape("path", d=f"M{here - 5:.1f} {there:.1f}h10m-5 -5v10", class_="cross"))
    drawn += month_marks(x, since_at, until_at, zone, bottom, display.units, wide)
    if not len(tide.at):
        text = "No moisture is worked out for this span yet."
        middle = (left + right) / 2
        drawn.append(
            shape(
                "text",
                text,
                x=middle,
                y=(top + bottom) / 2,
                text_anchor="middle",
                font_size=15,
                class_="words",
            )
        )
    kept = thinned(tide.mc_mean_pct, 400)
    says = [
        f"{say.day(from_epoch_ms(ms_of(tide.at[index])), zone, display.units)}: mean "
        f"{say.mc(float(tide.mc_mean_pct[index]))}, face {say.mc(float(tide.mc_face_pct[index]))}, "
        f"core {say.mc(float(tide.mc_core_pct[index]))}"
        for index in kept.tolist()
    ]
    mean = tide.mc_mean_pct[~np.isnan(tide.mc_mean_pct)]
    label = f"Moisture of {name} through time: nothing is known for this span."
    if len(mean):
        label = (
            f"Moisture of {name} through time: from {say.mc(float(mean[0]))} to {say.mc(float(mean[-1]))}."
        )
    return Chart(
        picture(width, bottom + 46, *drawn, label=label, class_="moisture"),
        {
            "x": [round(x(ms_of(tide.at[index])), 1) for index in kept.tolist()],
            "says": says,
            "top": top,
            "bottom": bottom,
        },
        zoom_of(x),
    )


def _axis(y: Scale, left: float, right: float) -> list[Shape]:
    found = [
        shape("text", "MC, %", x=left, y=y.end - 8, font_size=13.5, class_="strong"),
        shape("line", x1=left, x2=left, y1=y.end, y2=y.start, class_="tick"),
    ]
    step = 1 if y.high - y.low <= 10 else 2
    for whole in range(int(np.ceil(y.low / step)), int(np.floor(y.high / step)) + 1):
        at = y(whole * step)
        found.append(shape("line", x1=left, x2=right, y1=at, y2=at, class_="axis"))
        found.append(
            shape("text", str(whole * step), x=left - 7, y=at + 4.5, text_anchor="end", font_size=13)
        )
    return found
