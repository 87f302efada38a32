"""What every chart over time shares: a Plotly figure in our own ink, lines with their gaps, and its element.

A figure is plain data as Plotly documents it (`data` and `layout`). Made of Plotly's own classes it takes
forty milliseconds and another 27 MB; the tests read it into them, so that nothing they refuse is sent.
Plotly's axes know no time zones, so a figure's instants are the wall clock of its place.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from dash import html

from dashboard.figures.element import Element
from model.records.schema.types import from_epoch_ms
from model.words import times
from model.words.display import Units

# The day's ink, as in `assets/paper.css`; `assets/chart.js` turns it into the night's or the printer's.
PAPER, SUNK, INK, SOFT, LINE, STEEL = "#f7f3ea", "#efe9dc", "#22201c", "#5d574c", "#cfc6b4", "#8f8878"
TIDE, WOOD = "#2f6c8f", "#8a5a2b"
FONT = "Alegreya Sans, Gill Sans, Trebuchet MS, sans-serif"
SCREEN_POINTS = 500
SEASONS_FROM_DAYS = 75
MOST_SEASONS = 14  # of more in a stretch, their names would run into each other
MS, QUARTER_MS = timedelta(milliseconds=1), 900_000
STRIP_GAP = 0.085

Trace = dict[str, Any]


@dataclass(frozen=True)
class Chart:
    """A Plotly figure, and what it says in a sentence to those who don't see it."""

    figure: dict[str, Any]
    message: str


@dataclass(frozen=True)
class Strip:
    """One scale of a figure: its title, its ends, and its graduations where Plotly's own won't do."""

    title: str
    low: float
    high: float
    share: float = 1.0
    marks: Sequence[tuple[float, str]] | None = None


@dataclass(frozen=True)
class Stretch:
    """The time a figure shows, at which place and for which reader; `asked_at` is an instant to mark."""

    since_at: datetime
    until_at: datetime
    zone: str
    units: Units
    latitude_deg: float | None = None
    asked_at: datetime | None = None


# ---------------------------------------------------------------- time


def wall_ms(at: np.ndarray, zone: str) -> np.ndarray:
    """A place's wall clock at instants (UTC), in milliseconds as Plotly counts them."""
    ms = at.astype("datetime64[ms]").astype(np.int64)
    # A zone changes its offset at a quarter of an hour, if at all: each quarter is asked once.
    quarters, which = np.unique(ms // QUARTER_MS, return_inverse=True)
    local = times.zone_of(zone)
    offsets_s = [
        datetime.fromtimestamp(quarter * QUARTER_MS / 1000, local).utcoffset()
        for quarter in quarters.tolist()
    ]
    return ms + np.array([offset // MS for offset in offsets_s if offset is not None], dtype=np.int64)[which]


def instant_of(at: np.datetime64) -> datetime:
    """An instant of an array, aware UTC."""
    return from_epoch_ms(int(at.astype("datetime64[ms]").astype(np.int64)))


def wall(at: datetime, zone: str) -> str:
    """A place's wall clock at an instant, to the minute."""
    return f"{at.astimezone(times.zone_of(zone)):%Y-%m-%d %H:%M}"


def season_spans(stretch: Stretch) -> list[tuple[str, str, str]]:
    """Each season that a long stretch touches: its name, and its first and last wall-clock instant shown."""
    if (stretch.until_at - stretch.since_at).days < SEASONS_FROM_DAYS:
        return []
    local = times.zone_of(stretch.zone)
    first, last = stretch.since_at.astimezone(local), stretch.until_at.astimezone(local)
    spans: list[tuple[str, str, str]] = []
    month = first.year, first.month
    while month <= (last.year, last.month):
        begin = max(datetime(*month, 1, tzinfo=local), first)
        month = _after(*month)
        end = min(datetime(*month, 1, tzinfo=local), last)
        name = times.season(begin, stretch.zone, stretch.latitude_deg)
        if spans and spans[-1][0] == name:
            spans[-1] = name, spans[-1][1], wall(end, stretch.zone)
        else:
            spans.append((name, wall(begin, stretch.zone), wall(end, stretch.zone)))
    return spans


def _after(year: int, month: int) -> tuple[int, int]:
    return (year, month + 1) if month < 12 else (year + 1, 1)


# ---------------------------------------------------------------- lines


def thinned(values: np.ndarray, points: int = SCREEN_POINTS) -> np.ndarray:
    """Indices worth drawing of a series: each stretch's lowest and highest, both ends, one NaN of every gap.

    Parameters
    ----------
    values : ndarray, shape (n,)
        NaN marks a gap.
    points : int
        How many to keep at most, besides the edges of gaps; all are kept where there are no more.
    """
    if len(values) <= points:
        return np.arange(len(values))
    missing = np.isnan(values)
    known = np.flatnonzero(~missing)
    kept = [np.array([0, len(values) - 1]), np.flatnonzero(missing & ~np.r_[False, missing[:-1]])]
    if len(known) <= points:
        kept.append(known)
    else:
        parts = np.array_split(known, points // 2)
        kept += [np.array([part[pick(values[part])] for part in parts]) for pick in (np.argmin, np.argmax)]
    return np.unique(np.concatenate(kept)).astype(np.intp)


def gapped(
    at: np.ndarray, values: np.ndarray, gap: np.timedelta64, marks: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A series and its marks with a NaN in every stretch longer than `gap`: thinned, it stays a gap."""
    holes = np.flatnonzero(np.diff(at) > gap)
    between = at[holes] + (at[holes + 1] - at[holes]) // 2
    return (
        np.insert(at, holes + 1, between),
        np.insert(values.astype(np.float64), holes + 1, np.nan),
        np.insert(marks.astype(bool), holes + 1, False),
    )


def lines(
    at: np.ndarray,
    values: np.ndarray,
    marked: np.ndarray,
    gap: np.timedelta64,
    zone: str,
    plain: Trace,
    apart: Trace,
    points: int = SCREEN_POINTS,
) -> list[Trace]:
    """A series as one line, broken at its gaps, with the stretches that lead to a marked value as another.

    `plain` and `apart` are what the traces have besides their points (name, line, axis).
    """
    at, values, marked = gapped(at, values, gap, marked)
    kept = thinned(values, points)
    x, y, marked = wall_ms(at[kept], zone), values[kept], marked[kept]
    known = ~np.isnan(y[1:]) & ~np.isnan(y[:-1])
    found = []
    for wanted, trace in ((~marked, plain), (marked, apart)):
        edges = np.flatnonzero(np.diff(np.r_[False, known & wanted[1:], False].astype(np.int8)))
        xs: list[int | None] = []
        ys: list[float | None] = []
        for start, end in edges.reshape(-1, 2).tolist():
            xs += [*x[start : end + 1].tolist(), None]
            ys += [*np.round(y[start : end + 1], 3).tolist(), None]
        if xs:
            found.append(trace_of(xs[:-1], ys[:-1], **trace))
    return found


def trace_of(x: Sequence[Any], y: Sequence[Any], **more: Any) -> Trace:
    """A trace that is looked at and not read: what is read is `reader`."""
    return {"type": "scatter", "mode": "lines", "x": list(x), "y": list(y), "hoverinfo": "skip", **more}


def line(color: str = TIDE, width: float = 2.0, dash: str = "solid") -> dict[str, Any]:
    """How a line is drawn; a dash tells it apart where colour can't."""
    return {"color": color, "width": width, "dash": dash}


def hatch(color: str, shape: str = "/", solidity: float = 0.16) -> dict[str, Any]:
    """An area's hatching: seen on paper and without colour."""
    return {"shape": shape, "fgcolor": color, "bgcolor": "rgba(0,0,0,0)", "size": 7, "solidity": solidity}


def reader(x: Sequence[Any], y: Sequence[Any], says: Sequence[str], **more: Any) -> Trace:
    """What is read under a pointer, a finger or a key: unseen, a text at every point; always the last."""
    hover = {"hoverinfo": "text", "hovertemplate": "%{text}<extra></extra>", "text": list(says)}
    return {**trace_of(x, y, name="read", line=line(width=0)), **hover, **more}


# ---------------------------------------------------------------- the figure


def figure(
    traces: Sequence[Trace],
    strips: Sequence[Strip],
    stretch: Stretch,
    shapes: Sequence[Mapping[str, Any]] = (),
    words: Sequence[Mapping[str, Any]] = (),
    nothing: str = "",
) -> dict[str, Any]:
    """A figure of strips, one under the other, over one axis of time.

    Traces name their strip's axis: `y`, `y2` and on. `nothing` is said where there is nothing to draw.
    """
    seasons = season_spans(stretch)
    font = {"family": FONT, "size": 14, "color": INK}
    layout: dict[str, Any] = {
        "font": font,
        "paper_bgcolor": PAPER,
        "plot_bgcolor": PAPER,
        "colorway": [TIDE],
        "margin": {"l": 48, "r": 14, "t": 30, "b": 68 if seasons else 42},
        "showlegend": False,
        "dragmode": "zoom",
        "hovermode": "x",
        "hoversubplots": "axis",
        "hoverdistance": -1,
        "hoverlabel": {"bgcolor": PAPER, "bordercolor": INK, "align": "left", "font": {**font, "size": 15}},
        "xaxis": _time_axis(stretch, "y" if len(strips) == 1 else f"y{len(strips)}"),
        "shapes": [*_bands(seasons), *shapes],
        "annotations": [*_season_words(seasons), *words],
    }
    if stretch.asked_at is not None:
        layout["shapes"].append(upright(wall(stretch.asked_at, stretch.zone), line(TIDE, 1.6, "dash")))
    top, room = 1.0, 1.0 - STRIP_GAP * (len(strips) - 1)
    for number, strip in enumerate(strips, 1):
        bottom = top - room * strip.share / sum(one.share for one in strips)
        layout["yaxis" if number == 1 else f"yaxis{number}"] = {
            **value_axis(strip),
            "domain": [max(bottom, 0.0), top],
        }
        layout["annotations"].append(
            word(f"<b>{strip.title}</b>", x=0, y=top, xref="paper", yref="paper", xanchor="left", yshift=2)
        )
        top = bottom - STRIP_GAP
    if nothing:
        layout["annotations"].append(word(nothing, x=0.5, y=0.5, xref="paper", yref="paper"))
        # An axis without a trace isn't drawn.
        traces = [trace_of([wall(stretch.since_at, stretch.zone)], [strips[0].low], name="nothing"), *traces]
    return {"data": list(traces), "layout": layout}


def value_axis(strip: Strip) -> dict[str, Any]:
    """A strip's scale: hairlines, and its numbers in the viewer's unit."""
    own: dict[str, Any] = {"nticks": 5, "tickformat": "~g"}
    if strip.marks is not None:
        own = {"tickvals": [at for at, _ in strip.marks], "ticktext": [says for _, says in strip.marks]}
    return {
        **own,
        "range": [round(strip.low, 4), round(strip.high, 4)],
        "fixedrange": True,
        "gridcolor": LINE,
        "zeroline": False,
        "ticks": "outside",
        "ticklen": 4,
        "tickcolor": INK,
        "linecolor": INK,
        "showline": True,
        "automargin": True,
    }


def word(text: str, **where: Any) -> dict[str, Any]:
    """A text on a figure, at its baseline unless `where` says otherwise."""
    return {"text": text, "showarrow": False, "yanchor": "bottom", "font": {"size": 14}, **where}


def upright(x: str, drawn: Mapping[str, Any]) -> dict[str, Any]:
    """A line through all strips at an instant of the wall clock."""
    return {"type": "line", "x0": x, "x1": x, "y0": 0, "y1": 1, "yref": "paper", "line": dict(drawn)}


def _time_axis(stretch: Stretch, anchor: str) -> dict[str, Any]:
    day, clock = ("%b %-d", "%-I %p") if stretch.units == "inch" else ("%-d %b", "%H:%M")
    return {
        "type": "date",
        "range": [wall(stretch.since_at, stretch.zone), wall(stretch.until_at, stretch.zone)],
        "anchor": anchor,
        "showgrid": False,
        "zeroline": False,
        "showline": True,
        "linecolor": INK,
        "ticks": "outside",
        "ticklen": 6,
        "tickcolor": INK,
        "tickangle": 0,
        "nticks": 12,
        "tickformatstops": [
            {"dtickrange": [None, 43_200_000], "value": f"{clock}\n{day}"},
            {"dtickrange": [43_200_000, 1_209_600_000], "value": day},
            {"dtickrange": [1_209_600_000, "M6"], "value": "%b\n%Y"},
            {"dtickrange": ["M12", None], "value": "%Y"},
        ],
        "showspikes": True,
        "spikemode": "across",
        "spikesnap": "hovered data",
        "spikethickness": 1,
        "spikedash": "solid",
        "spikecolor": INK,
    }


def _bands(seasons: Sequence[tuple[str, str, str]]) -> list[dict[str, Any]]:
    box = {"type": "rect", "yref": "paper", "y0": 0, "y1": 1, "fillcolor": SUNK, "line": {"width": 0}}
    return [
        {**box, "x0": begin, "x1": end, "layer": "below"}
        for name, begin, end in seasons
        if name in ("winter", "summer")
    ]


def _season_words(seasons: Sequence[tuple[str, str, str]]) -> list[dict[str, Any]]:
    read = datetime.fromisoformat
    spans = [(name, read(begin), read(end)) for name, begin, end in seasons]
    found = []
    for name, first, last in spans:
        if (last - first).days >= 21 and (last - first) * MOST_SEASONS > spans[-1][2] - spans[0][1]:
            middle = f"{first + (last - first) / 2:%Y-%m-%d %H:%M}"
            where = {"x": middle, "y": 0, "yref": "paper", "yanchor": "top", "yshift": -46}
            # Its name is what stands there on a phone.
            found.append(word(name, name=name[:3], font={"size": 13, "color": SOFT}, **where))
    return found


def reach(columns: Sequence[np.ndarray], pad: float, least: float) -> tuple[float, float]:
    """The ends of a scale that holds every known value with some room, and at least `least` in all."""
    known = [values[~np.isnan(values)] for values in columns]
    known = [values for values in known if len(values)]
    if not known:
        return 0.0, 2.0 * least
    low = float(min(values.min() for values in known)) - pad
    high = float(max(values.max() for values in known)) + pad
    short = max(least - (high - low), 0.0) / 2
    return low - short, high + short


class Plot(Element):
    """The page's element that shows a Plotly figure.

    Parameters
    ----------
    figure : dict
        Its data and layout, in the day's ink.
    href : str
        The page's address: a stretch that is dragged over or pinched becomes its `since` and `until`. Without
        one the figure is narrowed as it stands.
    name : str
        What a saved picture is called.
    csv : str
        The address of its values as a file.
    """

    PROPS = ("figure", "href", "name", "csv")

    def __init__(self, figure: Mapping[str, Any], name: str, href: str = "", csv: str = "") -> None:
        super().__init__(figure=figure, name=name, href=href, csv=csv)


def placed(chart: Chart, name: str, href: str = "", csv: str = "", tall: bool = False) -> html.Figure:
    """A chart on a page, under the sentence that stands for it where it is not seen or not yet drawn."""
    drawn = Plot(chart.figure, name, href, csv)
    return html.Figure(
        [html.Figcaption(chart.message, className="small"), drawn], className="tall" if tall else None
    )
