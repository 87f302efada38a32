"""A place's air through time: humidity, what wood settles at in it, and temperature with the dew point.

Three strips over one axis of time. The line is the hour's air; what each sensor sent is drawn thin behind
it, and what is not believed of that is dotted and counts for nothing. Another place, or the year before, can
be laid over it in dashes.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from dashboard.figures import plot
from dashboard.figures.plot import Chart, Stretch, Strip
from dashboard.figures.plot import Trace as Line
from model.records.queries.series import AirSeries
from model.records.queries.traces import Doubted, Trace
from model.records.schema.types import to_epoch_ms
from model.wood.air.psychrometrics import dew_point
from model.wood.air.sorption import equilibrium_moisture_content
from model.words import display as say
from model.words import times
from model.words.display import Display

GAP_STEPS = 1.5
RAW_GAP_MS = 3 * 3_600_000
RAW_POINTS, SPOKEN = 400, 300
NEAR_MS = 2 * 3_600_000


@dataclass(frozen=True)
class OverlaidAir:
    """Air laid over a place's own: whose it is, and how far it is moved to stand under the same dates."""

    name: str
    air: AirSeries
    moved: timedelta = timedelta(0)
    zone: str | None = None


def air_chart(
    air: AirSeries,
    traces: Sequence[Trace],
    display: Display,
    stretch: Stretch,
    name: str = "the place",
    marked_is: str = "estimated",
    beside: OverlaidAir | None = None,
) -> Chart:
    """A place's air as a chart; `air` and `traces` may be empty and may have gaps.

    Parameters
    ----------
    air : AirSeries
        The hours of the span.
    traces : sequence of Trace
        What each sensor that hung there sent; drawn behind the humidity.
    marked_is : str
        The word for what is drawn dotted.
    beside : OverlaidAir, optional
        Other air to compare it with.
    """
    zone = stretch.zone
    emc_pct, dew_c = worked_out(air)
    columns = [air.rh_pct, emc_pct, display.temperature_values(air.temperature_c)]
    dew = display.temperature_values(dew_c)
    other = [] if beside is None else _columns(beside.air, display)
    reached = [[column, *other[index : index + 1]] for index, column in enumerate(columns)]
    reached[0] += [trace.rh_pct for trace in traces]
    reached[2].append(dew)
    titles = (
        "Relative humidity, %",
        "Wood settles at (EMC), %",
        f"Temperature, {display.temperature_unit} (dew point dashed)",
    )
    strips = [
        Strip(title, *plot.reach(values, pad, least), share=share)
        for title, values, pad, least, share in zip(
            titles, reached, (4, 0.6, 3), (12, 2.5, 12), (1.5, 1, 1), strict=True
        )
    ]
    drawn: list[Line] = [one for trace in traces for one in _raw(trace, zone)]
    gap = np.timedelta64(int(GAP_STEPS * air.step_ms), "ms")
    never = np.zeros(len(air.at), dtype=bool)
    dashed = {"name": "dew point", "yaxis": "y3", "line": plot.line(plot.SOFT, 1.3, "dash")}
    drawn += plot.lines(air.at, dew, never, gap, zone, dashed, dashed)
    for axis, values in zip(("y", "y2", "y3"), columns, strict=True):
        whole = {"name": "air", "yaxis": axis, "line": plot.line()}
        marked = {"name": marked_is, "yaxis": axis, "line": plot.line(dash="dot")}
        drawn += plot.lines(air.at, values, air.estimated, gap, zone, whole, marked)
    if beside is not None:
        drawn += _beside(beside, other, zone)
    drawn.append(_reader(air, columns[0], emc_pct, display, stretch, marked_is, beside))
    nothing = (
        "" if len(air.at) or any(len(trace.at) for trace in traces) else "No air is known for this span."
    )
    return Chart(plot.figure(drawn, strips, stretch, nothing=nothing), _message(air, emc_pct, display, name))


def _columns(air: AirSeries, display: Display) -> list[np.ndarray]:
    return [air.rh_pct, worked_out(air)[0], display.temperature_values(air.temperature_c)]


def _beside(beside: OverlaidAir, columns: Sequence[np.ndarray], zone: str) -> list[Line]:
    """Another air in dashes, of wood's colour."""
    air, moved = beside.air, np.timedelta64(round(beside.moved.total_seconds() * 1000), "ms")
    gap = np.timedelta64(int(GAP_STEPS * air.step_ms), "ms")
    found = []
    for axis, values in zip(("y", "y2", "y3"), columns, strict=True):
        drawn = {"name": beside.name, "yaxis": axis, "line": plot.line(plot.WOOD, 1.6, "7px,3px")}
        found += plot.lines(
            air.at + moved, values, air.estimated, gap, beside.zone or zone, drawn, drawn, points=300
        )
    return found


def _raw(trace: Trace, zone: str) -> list[Line]:
    """What a sensor sent, as it came: trusted and doubted apart."""
    gap = np.timedelta64(max(RAW_GAP_MS, trace.step_ms), "ms")
    trusted = {"name": f"{trace.sensor}, as sent", "line": plot.line(plot.STEEL, 0.9)}
    doubted = {"name": f"{trace.sensor}, doubted", "line": plot.line(plot.INK, 1.0, "dot")}
    return plot.lines(
        trace.at, trace.rh_pct, doubted_in(trace), gap, zone, trusted, doubted, points=RAW_POINTS
    )


def doubted_in(trace: Trace) -> np.ndarray:
    """Which of a trace's readings are doubted: bool, as many as there are readings."""
    return doubted_among(trace.at, trace.doubts)


def doubted_among(at: np.ndarray, doubts: Doubted) -> np.ndarray:
    """Which of some instants lie within doubts: bool, as many as there are instants."""
    found = np.zeros(len(at), dtype=bool)
    for since_at, until_at, _reason in doubts:
        later = at >= np.datetime64(to_epoch_ms(since_at), "ms")
        found |= later & (at <= np.datetime64(to_epoch_ms(until_at), "ms")) if until_at else later
    return found


def worked_out(air: AirSeries) -> tuple[np.ndarray, np.ndarray]:
    """Each hour's EMC [%] and dew point [°C]."""
    if not len(air.at):
        return air.rh_pct, air.temperature_c
    return (
        np.asarray(equilibrium_moisture_content(air.temperature_c, air.rh_pct)),
        np.asarray(dew_point(air.temperature_c, air.rh_pct)),
    )


def _reader(
    air: AirSeries,
    rh_pct: np.ndarray,
    emc_pct: np.ndarray,
    display: Display,
    stretch: Stretch,
    marked_is: str,
    beside: OverlaidAir | None,
) -> Line:
    """What is read at an hour, and beside it where other air is known at the same hour."""
    kept = plot.thinned(rh_pct, SPOKEN)
    kept = kept[~np.isnan(rh_pct[kept])]
    x = plot.wall_ms(air.at[kept], stretch.zone)
    says = []
    for index in kept.tolist():
        at = plot.instant_of(air.at[index])
        marked = f"<br>{marked_is}" if air.estimated[index] else ""
        says.append(
            f"<b>{times.moment(at, stretch.zone, display.units)}</b><br>{say.rh(float(rh_pct[index]))} at "
            f"{display.temperature(float(air.temperature_c[index]))}"
            f"<br>wood settles at {say.mc(float(emc_pct[index]))}{marked}"
        )
    if beside is not None and len(beside.air.at):
        moved = np.timedelta64(round(beside.moved.total_seconds() * 1000), "ms")
        theirs = plot.wall_ms(beside.air.at + moved, beside.zone or stretch.zone)
        after = np.clip(np.searchsorted(theirs, x), 0, len(theirs) - 1)
        before = np.maximum(after - 1, 0)
        nearest = np.where(np.abs(theirs[before] - x) < np.abs(theirs[after] - x), before, after)
        for number, place in enumerate(nearest.tolist()):
            if abs(theirs[place] - x[number]) <= NEAR_MS:
                says[number] += f"<br>{beside.name}: {say.rh(float(beside.air.rh_pct[place]))}"
    return plot.reader(x.tolist(), np.round(rh_pct[kept], 2).tolist(), says)


def said_of(air: AirSeries, index: int, display: Display, zone: str, marked_is: str = "estimated") -> str:
    """One hour's air in a sentence."""
    at = plot.instant_of(air.at[index])
    temperature_c, rh_pct = float(air.temperature_c[index]), float(air.rh_pct[index])
    emc_pct = float(equilibrium_moisture_content(temperature_c, rh_pct))
    marked = f", {marked_is}" if air.estimated[index] else ""
    return (
        f"{times.moment(at, zone, display.units)}: {say.rh(rh_pct)} at {display.temperature(temperature_c)}, "
        f"wood settles at {say.mc(emc_pct)}{marked}"
    )


def _message(air: AirSeries, emc_pct: np.ndarray, display: Display, name: str) -> str:
    if not len(air.at):
        return f"Air at {name} through time: nothing is known for this span."
    return (
        f"Air at {name} through time: {say.rh(float(np.nanmin(air.rh_pct)))} to "
        f"{say.rh(float(np.nanmax(air.rh_pct)))} relative humidity, "
        f"{display.temperature(float(np.nanmin(air.temperature_c)))} to "
        f"{display.temperature(float(np.nanmax(air.temperature_c)))}; "
        f"wood settles at {say.mc(float(np.nanmin(emc_pct)))} to {say.mc(float(np.nanmax(emc_pct)))}."
    )
