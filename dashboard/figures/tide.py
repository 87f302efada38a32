"""The tide chart: a member's width through time between two shores, the limits of its fits.

What was is a line, dashed where its air was bridged; what is ahead opens as a fan and is never one line.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from dashboard import display as say
from dashboard.display import Display
from dashboard.drawing import Shape, end_grain, picture, shape
from dashboard.figures.scale import Scale, length_graduations
from dashboard.figures.thin import gapped, thinned
from dashboard.figures.time_axis import (
    GAP,
    Chart,
    broken_path,
    milliseconds,
    month_marks,
    ms_of,
    season_bands,
    zoom_of,
)
from model.records.series import Tide
from model.records.types import from_epoch_ms, to_epoch_ms

CHARACTER = 6.6  # how wide a letter of a shore's words is, in the drawing's units


SPOKEN = 400
Spoken = tuple[list[int], list[str]]


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
    zone: str,
    since_at: datetime,
    until_at: datetime,
    flags: Sequence[Flag] = (),
    moisture_marks: Sequence[tuple[float, float]] = (),
    fan: Fan | None = None,
    now: datetime | None = None,
    latitude_deg: float | None = None,
    width: int = 760,
    uid: str = "tide",
    name: str = "the member",
    said: Spoken | None = None,
) -> Chart:
    """A member's tide as a drawing.

    Parameters
    ----------
    tide : Tide
        Its checkpoints; may be empty, and may have gaps.
    shores : sequence of Shore
        Where its limits lie [mm of its width].
    zone : str
        The place's time zone.
    since_at, until_at : datetime
        The span drawn, aware UTC.
    flags : sequence of Flag
        Events, drawn under their numbers from 1 in the order given.
    moisture_marks : sequence of (mc_pct, width_mm)
        Graduations of the edge that shows moisture content.
    fan : Fan, optional
        The months ahead.
    width : int
        Width of the drawing in its own units; a phone's is 360.
    said : optional
        What `spoken` gave, where it was asked already.
    """
    instants, says = spoken(tide, display, zone) if said is None else said
    wide = width >= 500
    height = 360 if wide else 330
    left, right, top, bottom = (66 if wide else 58), (width - (40 if wide else 32)), 30, height - 46
    x = Scale(to_epoch_ms(since_at), to_epoch_ms(until_at), left, right)
    low_mm, high_mm = _reach(tide, shores, fan)
    y = Scale(low_mm, high_mm, bottom, top)
    drawn: list[Shape] = [
        end_grain(uid),
        *season_bands(x, since_at, until_at, zone, latitude_deg, top, bottom),
        *month_marks(x, since_at, until_at, zone, bottom, display.units, wide),
        *_shores(shores, y, left, right, top, bottom, uid),
        *_widths(low_mm, high_mm, y, left, right, display),
        *_moistures(moisture_marks, y, low_mm, high_mm, right),
    ]
    if fan is not None and len(fan.at):
        drawn += _fan(fan, x, y)
    drawn += _lines(tide, x, y)
    if now is not None and since_at < now < until_at:
        here = x(to_epoch_ms(now))
        drawn.append(shape("line", x1=here, x2=here, y1=top, y2=bottom, class_="tick-small"))
        drawn.append(shape("text", "now", x=here, y=top - 6, text_anchor="middle", font_size=13))
    drawn += _flags(flags, x, since_at, until_at, top, bottom)
    if not len(tide.at):
        middle = (left + right) / 2
        drawn.append(
            shape(
                "text",
                "No moisture is worked out for this span yet.",
                x=middle,
                y=(top + bottom) / 2,
                text_anchor="middle",
                font_size=15,
                class_="words",
            )
        )
    label = _label(tide, shores, display, zone, name)
    return Chart(
        picture(width, height, *drawn, label=label, class_="tide"),
        {"x": [round(x(ms), 1) for ms in instants], "says": says, "top": top, "bottom": bottom},
        zoom_of(x),
    )


def _reach(tide: Tide, shores: Sequence[Shore], fan: Fan | None) -> tuple[float, float]:
    values = [shore.width_mm for shore in shores]
    known = tide.width_mm[~np.isnan(tide.width_mm)]
    if len(known):
        values += [float(known.min()), float(known.max())]
    if fan is not None and len(fan.at):
        values += [float(np.nanmin(fan.p10_mm)), float(np.nanmax(fan.p90_mm))]
    if not values:
        return 0.0, 1.0
    low, high = min(values), max(values)
    # Room beyond the shores, so that they are seen as land and not as the frame.
    pad = max((high - low) * 0.14, 0.25)
    return low - pad, high + pad


def _lines(tide: Tide, x: Scale, y: Scale) -> list[Shape]:
    """The tide itself: one path for what was measured, one for what was bridged."""
    at, width_mm, estimated = gapped(tide.at, tide.width_mm, GAP, tide.estimated.astype(np.float64))
    kept = thinned(width_mm)
    at, width_mm, bridged = at[kept], width_mm[kept], estimated[kept] == 1.0
    paths = {
        "tide-line": broken_path(at, width_mm, x, y, ~bridged),
        "tide-line bridged": broken_path(at, width_mm, x, y, bridged),
    }
    found = [shape("path", d=d, class_=kind) for kind, d in paths.items() if d]
    known = np.flatnonzero(~np.isnan(tide.width_mm))
    if len(known):
        last = known[-1]
        found.append(
            shape("circle", cx=x(ms_of(tide.at[last])), cy=y(tide.width_mm[last]), r=4.5, class_="index-fill")
        )
    return found


def _shores(
    shores: Sequence[Shore], y: Scale, left: float, right: float, top: float, bottom: float, uid: str
) -> list[Shape]:
    """Land beyond the harm limits, and a dashed line where something begins to show."""
    found: list[Shape] = []
    for direction, outward in (("swelling", max), ("shrinking", min)):
        harms = [shore for shore in shores if shore.direction == direction and shore.severity == "harms"]
        nearest = min if outward is max else max
        if harms:
            edge = y(nearest(shore.width_mm for shore in harms))
            box = (top, edge) if direction == "swelling" else (edge, bottom)
            found.append(
                shape(
                    "rect",
                    x=left,
                    y=box[0],
                    width=right - left,
                    height=max(box[1] - box[0], 0),
                    fill=f"url(#{uid})",
                )
            )
    for shore in shores:
        at = y(shore.width_mm)
        class_ = "shore" if shore.severity == "harms" else "shore-shows"
        found.append(shape("line", x1=left, x2=right, y1=at, y2=at, class_=class_))
    taken: list[float] = []
    for shore in sorted(shores, key=lambda shore: shore.severity):
        text_y = y(shore.width_mm) + (-6 if shore.direction == "swelling" else 15)
        while any(abs(text_y - other) < 15 for other in taken):
            text_y += -15 if shore.direction == "swelling" else 15
        taken.append(text_y)
        words = shore.says if len(shore.says) * CHARACTER < right - left - 12 else shore.name
        found.append(shape("text", words, x=left + 8, y=text_y, font_size=13.5, class_="on-land"))
    return found


def _fan(fan: Fan, x: Scale, y: Scale) -> list[Shape]:
    at = [x(ms) for ms in milliseconds(fan.at)]
    edges = [
        [f"{here:.1f} {y(value):.1f}" for here, value in zip(at, column.tolist(), strict=True)]
        for column in (fan.p90_mm, fan.p10_mm, fan.p50_mm)
    ]
    return [
        shape("path", d="M" + "L".join(edges[0] + edges[1][::-1]) + "Z", class_="fan-outer"),
        shape("path", d="M" + "L".join(edges[2]), class_="fan-middle"),
    ]


def _widths(
    low_mm: float, high_mm: float, y: Scale, left: float, right: float, display: Display
) -> list[Shape]:
    found: list[Shape] = [shape("line", x1=left, x2=left, y1=y.end, y2=y.start, class_="tick")]
    for mark in length_graduations(low_mm, high_mm, display):
        at = y(mark.value)
        found.append(shape("line", x1=left - 6, x2=left, y1=at, y2=at, class_="tick"))
        found.append(shape("text", mark.says, x=left - 9, y=at + 4.5, text_anchor="end", font_size=13))
    found.append(
        shape("text", display.length_unit, x=left - 9, y=y.end - 10, text_anchor="end", font_size=13)
    )
    return found


def _moistures(
    marks: Sequence[tuple[float, float]], y: Scale, low_mm: float, high_mm: float, right: float
) -> list[Shape]:
    shown = [(mc_pct, width_mm) for mc_pct, width_mm in marks if low_mm <= width_mm <= high_mm]
    if not shown:
        return []
    found: list[Shape] = [shape("text", "MC", x=right + 6, y=y.end - 10, font_size=13)]
    last = None
    for mc_pct, width_mm in shown:
        at = y(width_mm)
        found.append(shape("line", x1=right, x2=right + 5, y1=at, y2=at, class_="tick"))
        if last is None or abs(at - last) >= 15:
            found.append(shape("text", f"{mc_pct:g}", x=right + 8, y=at + 4.5, font_size=13))
            last = at
    return found


def _flags(
    flags: Sequence[Flag], x: Scale, since_at: datetime, until_at: datetime, top: float, bottom: float
) -> list[Shape]:
    found = []
    for number, flag in enumerate(flags, 1):
        if not since_at <= flag.at <= until_at:
            continue
        at = x(to_epoch_ms(flag.at))
        following = flags[number].at if number < len(flags) else None
        # A flag flies to the other side where the next one would cover it.
        crowded = following is not None and 0 <= x(to_epoch_ms(following)) - at < 20
        fly = -1 if crowded and at - x.start > 18 else 1
        found += [
            shape("line", x1=at, x2=at, y1=top - 14, y2=bottom, class_="flag-pole"),
            shape(
                "path",
                d=f"M{at:.1f} {top - 24}h{17 * fly}l{-4 * fly} 7l{4 * fly} 7h{-17 * fly}z",
                class_="flag",
            ),
            shape("text", str(number), x=at + 6.5 * fly, y=top - 12.5, text_anchor="middle", font_size=12),
        ]
    return found


def spoken(tide: Tide, display: Display, zone: str) -> Spoken:
    """What is said under the pointer, and at which instants: the same for a wide drawing and a narrow one."""
    kept = thinned(tide.width_mm, SPOKEN)
    kept = kept[~np.isnan(tide.width_mm[kept])] if len(kept) else kept
    instants = milliseconds(tide.at[kept])
    local = say.zone_of(zone)
    says = []
    for ms, width_mm, mc_pct, bridged in zip(
        instants,
        tide.width_mm[kept].tolist(),
        tide.mc_mean_pct[kept].tolist(),
        tide.estimated[kept].tolist(),
        strict=True,
    ):
        at = from_epoch_ms(ms)
        words = f"{say.day(at, zone, display.units)} {at.astimezone(local).year}: "
        words += f"{display.length(width_mm, finest=64)} wide at {say.mc(mc_pct)} MC"
        says.append(f"{words}, air estimated" if bridged else words)
    return instants, says


def _label(tide: Tide, shores: Sequence[Shore], display: Display, zone: str, name: str) -> str:
    known = tide.width_mm[~np.isnan(tide.width_mm)]
    if not len(known):
        return f"Width of {name} through time: nothing is known for this span."
    least, most, last = (display.length(float(mm), finest=64) for mm in (known.min(), known.max(), known[-1]))
    words = f"Width of {name} through time: from {least} to {most}, now {last}."
    for shore in shores:
        words += f" {say.sentence(shore.says)[:-1]} at {display.length(shore.width_mm, finest=64)}."
    return words
