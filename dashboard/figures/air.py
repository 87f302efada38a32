"""A place's air through time: humidity, what wood tends to in it, and temperature with the dew point.

Three strips over one axis of time. The line is the hour's air; what each sensor sent is drawn thin behind
it, and what is not believed of that is dotted and counts for nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from dashboard import display as say
from dashboard.display import Display
from dashboard.drawing import Shape, picture, shape
from dashboard.figures.scale import Scale
from dashboard.figures.thin import gapped, thinned
from dashboard.figures.time_axis import Chart, broken_path, milliseconds, month_marks, season_bands, zoom_of
from model.records.series import AirSeries
from model.records.traces import Trace
from model.records.types import from_epoch_ms, to_epoch_ms
from model.wood.air import dew_point
from model.wood.sorption import equilibrium_moisture_content

GAP_STEPS = 1.5
RAW_GAP_MS = 3 * 3_600_000
LINE = 12  # a number needs as much room in height
STRIP_POINTS, RAW_POINTS, SPOKEN = 500, 400, 300
Spoken = tuple[list[int], list[str]]
Worked = tuple[np.ndarray, np.ndarray]


@dataclass(frozen=True)
class _Strip:
    title: str
    unit: str
    values: np.ndarray
    step: float
    pad: float
    second: np.ndarray | None = None


def air_chart(
    air: AirSeries,
    traces: Sequence[Trace],
    display: Display,
    zone: str,
    since_at: datetime,
    until_at: datetime,
    latitude_deg: float | None = None,
    width: int = 960,
    name: str = "the place",
    said: Spoken | None = None,
    worked: Worked | None = None,
) -> Chart:
    """A place's air as a drawing; `air` and `traces` may be empty and may have gaps.

    Parameters
    ----------
    air : AirSeries
        The hours of the span.
    traces : sequence of Trace
        What each sensor that hung there sent; drawn behind the humidity.
    zone : str
        The place's time zone.
    width : int
        Width of the drawing in its own units; a phone's is 360.
    said, worked : optional
        What `spoken` and `worked_out` gave, where they were asked already.
    """
    instants, says = spoken(air, display, zone) if said is None else said
    wide = width >= 500
    left, right = (52 if wide else 40), width - 12
    heights = (150, 96, 96) if wide else (130, 92, 92)
    top, between = 26, 34
    bottom = top + sum(heights) + 2 * between
    x = Scale(to_epoch_ms(since_at), to_epoch_ms(until_at), left, right)
    emc_pct, dew_c = worked_out(air) if worked is None else worked
    warm, dew = (display.temperature_values(column) for column in (air.temperature_c, dew_c))
    strips = (
        _Strip("Relative humidity", "%", air.rh_pct, 10, 4),
        _Strip("Wood tends to (EMC)", "%", emc_pct, 2, 0.6),
        _Strip("Temperature (dew point dashed)", display.temperature_unit, warm, 10 if wide else 20, 3, dew),
    )
    drawn: list[Shape] = season_bands(x, since_at, until_at, zone, latitude_deg, top, bottom)
    y_top = float(top)
    for index, (strip, height) in enumerate(zip(strips, heights, strict=True)):
        raw = [trace.rh_pct for trace in traces] if index == 0 else []
        y = _reach(strip, raw, y_top + height, y_top)
        drawn += _frame(strip, y, left, right)
        if index == 0:
            drawn += [mark for trace in traces for mark in _raw(trace, x, y)]
        drawn += _lines(air, strip, x, y)
        y_top += height + between
    drawn += month_marks(x, since_at, until_at, zone, bottom, display.units, wide)
    if not len(air.at):
        middle = (left + right) / 2
        text = "No air is known for this span."
        drawn.append(
            shape("text", text, x=middle, y=top + 80, text_anchor="middle", font_size=15, class_="words")
        )
    return Chart(
        picture(width, bottom + 46, *drawn, label=_label(air, emc_pct, display, name), class_="air"),
        {"x": [round(x(ms), 1) for ms in instants], "says": says, "top": top, "bottom": bottom},
        zoom_of(x),
    )


def _reach(strip: _Strip, raw: Sequence[np.ndarray], start: float, end: float) -> Scale:
    known = [values[~np.isnan(values)] for values in (strip.values, *raw)]
    if strip.second is not None:
        known.append(strip.second[~np.isnan(strip.second)])
    lows = [float(values.min()) for values in known if len(values)]
    highs = [float(values.max()) for values in known if len(values)]
    low, high = (min(lows) - strip.pad, max(highs) + strip.pad) if lows else (0.0, strip.step * 2)
    if high - low < strip.step:
        middle = (low + high) / 2
        low, high = middle - strip.step * 0.6, middle + strip.step * 0.6
    return Scale(low, high, start, end)


def _frame(strip: _Strip, y: Scale, left: float, right: float) -> list[Shape]:
    found = [
        shape("text", f"{strip.title}, {strip.unit}", x=left, y=y.end - 8, font_size=13.5, class_="strong"),
        shape("line", x1=left, x2=left, y1=y.end, y2=y.start, class_="tick"),
    ]
    step = strip.step
    # Three lines at least: a strip with one number has no scale.
    while (y.high - y.low) / step < 3 and step > 0.2:
        step /= 2
    # Its numbers must not run into each other either.
    while (y.high - y.low) / step * LINE > y.start - y.end:
        step *= 2
    for number in range(int(np.ceil(y.low / step)), int(np.floor(y.high / step)) + 1):
        at = y(number * step)
        text = f"{number * step:g}"
        found.append(shape("line", x1=left, x2=right, y1=at, y2=at, class_="axis"))
        found.append(shape("text", text, x=left - 7, y=at + 4.5, text_anchor="end", font_size=13))
    return found


def _lines(air: AirSeries, strip: _Strip, x: Scale, y: Scale) -> list[Shape]:
    found = []
    gap = np.timedelta64(int(GAP_STEPS * air.step_ms), "ms")
    for values, class_ in ((strip.second, "dew"), (strip.values, "tide-line")):
        if values is None or not len(values):
            continue
        at, held, estimated = gapped(air.at, values, gap, air.estimated.astype(np.float64))
        kept = thinned(held, STRIP_POINTS)
        at, held, bridged = at[kept], held[kept], estimated[kept] == 1.0
        if class_ == "dew":
            found.append(shape("path", d=broken_path(at, held, x, y) or "M0 0", class_=class_))
            continue
        for wanted, name in ((~bridged, class_), (bridged, f"{class_} bridged")):
            d = broken_path(at, held, x, y, wanted)
            if d:
                found.append(shape("path", d=d, class_=f"{name} thin"))
    return found


def _raw(trace: Trace, x: Scale, y: Scale) -> list[Shape]:
    """What a sensor sent, as it came: trusted and doubted apart."""
    if not len(trace.at):
        return []
    doubted = doubted_in(trace).astype(np.float64)
    gap = np.timedelta64(max(RAW_GAP_MS, trace.step_ms), "ms")
    at, values, marks = gapped(trace.at, trace.rh_pct, gap, doubted)
    kept = thinned(values, RAW_POINTS)
    at, values, is_doubted = at[kept], values[kept], marks[kept] == 1.0
    return [
        shape("path", d=d, class_=class_)
        for d, class_ in (
            (broken_path(at, values, x, y, ~is_doubted), "raw"),
            (broken_path(at, values, x, y, is_doubted), "doubted"),
        )
        if d
    ]


def doubted_in(trace: Trace) -> np.ndarray:
    """Which of a trace's readings are doubted: bool, as many as there are readings."""
    found = np.zeros(len(trace.at), dtype=bool)
    for since_at, until_at, _reason in trace.doubts:
        later = trace.at >= np.datetime64(to_epoch_ms(since_at), "ms")
        found |= later & (trace.at <= np.datetime64(to_epoch_ms(until_at), "ms")) if until_at else later
    return found


def worked_out(air: AirSeries) -> Worked:
    """Each hour's EMC [%] and dew point [°C]: the same for a wide drawing and a narrow one."""
    emc_pct = np.asarray(equilibrium_moisture_content(air.temperature_c, air.rh_pct))
    dew_c = np.asarray(dew_point(air.temperature_c, air.rh_pct)) if len(air.at) else air.temperature_c
    return emc_pct, dew_c


def spoken(air: AirSeries, display: Display, zone: str, bridged_are: str = "estimated") -> Spoken:
    """What is said under the pointer, and at which instants: the same for a wide drawing and a narrow one.

    `bridged_are` is the word for what is drawn dotted.
    """
    kept = thinned(air.rh_pct, SPOKEN)
    emc_pct = np.asarray(equilibrium_moisture_content(air.temperature_c[kept], air.rh_pct[kept]))
    instants = milliseconds(air.at[kept])
    says = []
    for ms, temperature_c, rh_pct, tends_pct, bridged in zip(
        instants,
        air.temperature_c[kept].tolist(),
        air.rh_pct[kept].tolist(),
        emc_pct.tolist(),
        air.estimated[kept].tolist(),
        strict=True,
    ):
        words = f"{say.moment(from_epoch_ms(ms), zone, display.units)}: {say.rh(rh_pct)} at "
        words += f"{display.temperature(temperature_c)}, wood tends to {say.mc(tends_pct)}"
        says.append(f"{words}, {bridged_are}" if bridged else words)
    return instants, says


def _label(air: AirSeries, emc_pct: np.ndarray, display: Display, name: str) -> str:
    if not len(air.at):
        return f"Air at {name} through time: nothing is known for this span."
    return (
        f"Air at {name} through time: {say.rh(float(np.nanmin(air.rh_pct)))} to "
        f"{say.rh(float(np.nanmax(air.rh_pct)))} relative humidity, "
        f"{display.temperature(float(np.nanmin(air.temperature_c)))} to "
        f"{display.temperature(float(np.nanmax(air.temperature_c)))}; "
        f"wood tends to {say.mc(float(np.nanmin(emc_pct)))} to {say.mc(float(np.nanmax(emc_pct)))}."
    )
