"""The tide chart: a part's width through time between two shores, the limits of its fits.

What was is a line, dotted where its air was bridged; what is ahead opens as a fan and is never one line.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from dashboard.figures import plot
from dashboard.figures.plot import Chart, Stretch, Strip
from dashboard.figures.scale import length_graduations
from model.records.queries.series import Tide
from model.words import display as say
from model.words import times
from model.words.display import Display

# Checkpoints are daily: more than two and a half days between two of them is a gap, and is drawn as one.
GAP = np.timedelta64(60 * 60 * 60 * 1000, "ms")
SPOKEN, AHEAD = 400, 120
MOST_MOISTURES = 10


@dataclass(frozen=True)
class Shore:
    """The width at which a limit is reached; `name` is what it is called where there is no room to say it."""

    name: str
    says: str
    direction: str  # swelling or shrinking
    severity: str  # shows or harms
    width_mm: float


@dataclass(frozen=True)
class Flag:
    """Something that happened, to stand on the chart under its number."""

    at: datetime
    says: str


@dataclass(frozen=True)
class Fan:
    """Widths ahead as a spread; arrays of one length."""

    at: np.ndarray
    p10_mm: np.ndarray
    p50_mm: np.ndarray
    p90_mm: np.ndarray


def tide_chart(
    tide: Tide,
    shores: Sequence[Shore],
    display: Display,
    stretch: Stretch,
    flags: Sequence[Flag] = (),
    moisture_marks: Sequence[tuple[float, float]] = (),
    fan: Fan | None = None,
    now: datetime | None = None,
    name: str = "the part",
) -> Chart:
    """A part's tide as a chart.

    Parameters
    ----------
    tide : Tide
        Its checkpoints; may be empty, and may have gaps.
    shores : sequence of Shore
        Where its limits lie [mm of its width].
    flags : sequence of Flag
        Events, drawn under their numbers from 1 in the order given.
    moisture_marks : sequence of (mc_pct, width_mm)
        Graduations of the edge that shows moisture content.
    fan : Fan, optional
        The months ahead.
    """
    zone = stretch.zone
    low_mm, high_mm = _reach(tide, shores, fan)
    marks = [(mark.value, mark.says) for mark in length_graduations(low_mm, high_mm, display)]
    strips = [Strip(f"Width, {display.length_unit}", low_mm, high_mm, marks=marks)]
    traces = _land(shores, low_mm, high_mm)
    if fan is not None and len(fan.at):
        traces += _fan(fan, zone)
    solid, dotted = ({"name": name, "line": plot.line(width=2.4, dash=dash)} for dash in ("solid", "dot"))
    traces += plot.lines(tide.at, tide.width_mm, tide.estimated, GAP, zone, solid, dotted)
    known = np.flatnonzero(~np.isnan(tide.width_mm))
    if len(known):
        last = {"mode": "markers", "marker": {"color": plot.TIDE, "size": 9}, "name": "the last known"}
        x = plot.wall_ms(tide.at[known[-1:]], zone).tolist()
        traces.append(plot.trace_of(x, [float(tide.width_mm[known[-1]])], **last))
    shapes = [_edge(shore) for shore in shores]
    top = 30
    words = _shore_words(shores, high_mm - low_mm)
    if now is not None and stretch.since_at < now < stretch.until_at:
        here = plot.wall(now, zone)
        shapes.append(plot.upright(here, plot.line(plot.STEEL, 1)))
        words.append(plot.word("now", x=here, y=1, yref="paper", yshift=2))
    for number, flag in enumerate(flags, 1):
        if stretch.since_at <= flag.at <= stretch.until_at:
            here = plot.wall(flag.at, zone)
            shapes.append(plot.upright(here, plot.line(plot.STEEL, 1, "dot")))
            box = {"bordercolor": plot.INK, "bgcolor": plot.PAPER, "borderpad": 2, "hovertext": flag.says}
            words.append(plot.word(f" {number} ", x=here, y=1, yref="paper", yshift=22, **box))
            top = 54
    traces.append(_reader(tide, fan, display, zone))
    nothing = "" if len(tide.at) else "No moisture is worked out for this span yet."
    drawn = plot.figure(traces, strips, stretch, shapes, words, nothing)
    drawn["layout"]["margin"]["t"] = top
    if shown := _moistures(moisture_marks, low_mm, high_mm):
        drawn["layout"]["yaxis2"] = {
            **plot.value_axis(Strip("", low_mm, high_mm, marks=[(mm, f"{pct:g}") for pct, mm in shown])),
            "overlaying": "y",
            "side": "right",
            "showgrid": False,
            "automargin": False,
        }
        drawn["layout"]["margin"]["r"] = 40
        # An axis without a trace isn't drawn.
        drawn["data"][-1]["yaxis"] = "y2"
        edge = {"x": 1, "y": 1, "xref": "paper", "yref": "paper", "xanchor": "left", "xshift": 4, "yshift": 2}
        drawn["layout"]["annotations"].append(plot.word("MC, %", **{**edge, "xanchor": "center"}))
    return Chart(drawn, _message(tide, shores, display, name))


def _reach(tide: Tide, shores: Sequence[Shore], fan: Fan | None) -> tuple[float, float]:
    columns = [tide.width_mm, np.array([shore.width_mm for shore in shores])]
    if fan is not None:
        columns += [fan.p10_mm, fan.p90_mm]
    low, high = plot.reach(columns, 0.0, 0.0)
    # Room beyond the shores, so that they are seen as land and not as the frame.
    pad = max((high - low) * 0.14, 0.25)
    return low - pad, high + pad


def _land(shores: Sequence[Shore], low_mm: float, high_mm: float) -> list[plot.Trace]:
    """Hatched land beyond the nearest limit that harms, on each side."""
    found = []
    for direction, nearest, end in (("swelling", min, high_mm), ("shrinking", max, low_mm)):
        harms = [
            shore.width_mm for shore in shores if (shore.direction, shore.severity) == (direction, "harms")
        ]
        if harms:
            edge, far = nearest(harms), end + (end - nearest(harms))
            box = {"fill": "toself", "fillpattern": plot.hatch(plot.WOOD), "line": plot.line(width=0)}
            # As wide as any stretch of time.
            x = ["1900-01-01", "2200-01-01", "2200-01-01", "1900-01-01"]
            found.append(plot.trace_of(x, [edge, edge, far, far], name=f"{direction} harms", **box))
    return found


def _edge(shore: Shore) -> dict[str, object]:
    drawn = plot.line(plot.WOOD, 1.6) if shore.severity == "harms" else plot.line(plot.WOOD, 1.3, "dash")
    return {
        "type": "line", "xref": "paper", "x0": 0, "x1": 1,
        "y0": shore.width_mm, "y1": shore.width_mm, "line": drawn,
    }  # fmt: skip


def _shore_words(shores: Sequence[Shore], span_mm: float) -> list[dict[str, object]]:
    """What each limit is, on its seaward side, kept clear of the others."""
    found: list[dict[str, object]] = []
    taken: list[float] = []
    row_mm = span_mm / 20.0
    for shore in sorted(shores, key=lambda shore: shore.severity):
        outward = 1 if shore.direction == "swelling" else -1
        at_mm = shore.width_mm
        while any(abs(at_mm - other) < row_mm for other in taken):
            at_mm += outward * row_mm
        taken.append(at_mm)
        where = {"x": 0, "xref": "paper", "xanchor": "left", "y": at_mm, "xshift": 6}
        anchor = "bottom" if outward > 0 else "top"
        # The name of an annotation is what stands there where a phone has no room for the words.
        found.append(
            plot.word(shore.says, name=shore.name, bgcolor=plot.PAPER, **{**where, "yanchor": anchor})
        )
    return found


def _fan(fan: Fan, zone: str) -> list[plot.Trace]:
    x = plot.wall_ms(fan.at, zone).tolist()
    p10, p50, p90 = (np.round(column, 3).tolist() for column in (fan.p10_mm, fan.p50_mm, fan.p90_mm))
    thin = plot.line(width=0.8)
    spread = {"fill": "tonexty", "fillpattern": plot.hatch(plot.TIDE, "\\", 0.12), "line": thin}
    return [
        plot.trace_of(x, p90, name="90th percentile ahead", line=thin),
        plot.trace_of(x, p10, name="10th percentile ahead", **spread),
        plot.trace_of(x, p50, name="the middle ahead", line=plot.line(width=1.6, dash="dash")),
    ]


def _moistures(
    marks: Sequence[tuple[float, float]], low_mm: float, high_mm: float
) -> list[tuple[float, float]]:
    shown = [(mc_pct, width_mm) for mc_pct, width_mm in marks if low_mm <= width_mm <= high_mm]
    return shown[:: 1 + len(shown) // MOST_MOISTURES]


def _reader(tide: Tide, fan: Fan | None, display: Display, zone: str) -> plot.Trace:
    kept = plot.thinned(tide.width_mm, SPOKEN)
    kept = kept[~np.isnan(tide.width_mm[kept])]
    says = [said_of(tide, index, display, zone).replace(": ", "<br>", 1) for index in kept.tolist()]
    x = plot.wall_ms(tide.at[kept], zone).tolist()
    y = np.round(tide.width_mm[kept], 3).tolist()
    if fan is not None and len(fan.at):
        every = slice(None, None, 1 + len(fan.at) // AHEAD)
        ahead = zip(fan.at[every], fan.p10_mm[every], fan.p50_mm[every], fan.p90_mm[every], strict=True)
        for at, p10, p50, p90 in ahead:
            low, middle, high = (display.length(float(mm), finest=64) for mm in (p10, p50, p90))
            says.append(f"{_day(at, display, zone)}<br>likely {low} to {high}<br>most likely {middle}")
        x += plot.wall_ms(fan.at[every], zone).tolist()
        y += np.round(fan.p50_mm[every], 3).tolist()
    return plot.reader(x, y, says)


def _day(at: np.datetime64, display: Display, zone: str) -> str:
    instant = plot.instant_of(at)
    return f"{times.day(instant, zone, display.units)} {instant.astimezone(times.zone_of(zone)).year}"


def said_of(tide: Tide, index: int, display: Display, zone: str) -> str:
    """One checkpoint's width in a sentence."""
    bridged = ", air estimated" if tide.estimated[index] else ""
    return (
        f"{_day(tide.at[index], display, zone)}: "
        f"{display.length(float(tide.width_mm[index]), finest=64)} wide at "
        f"{say.mc(float(tide.mc_mean_pct[index]))} MC{bridged}"
    )


def _message(tide: Tide, shores: Sequence[Shore], display: Display, name: str) -> str:
    known = tide.width_mm[~np.isnan(tide.width_mm)]
    if not len(known):
        return f"Width of {name} through time: nothing is known for this span."
    least, most, last = (display.length(float(mm), finest=64) for mm in (known.min(), known.max(), known[-1]))
    words = f"Width of {name} through time: from {least} to {most}, now {last}."
    for shore in shores:
        words += f" {say.sentence(shore.says)[:-1]} at {display.length(shore.width_mm, finest=64)}."
    return words
