"""A place's air as a calendar: each day with its mean humidity, hatched by how dry or damp it was."""

import calendar
from datetime import datetime, timedelta

import numpy as np
from dash import html

from dashboard.figures import plot
from dashboard.shell.spans import between
from model.records.queries.series import AirSeries
from model.words import display as say
from model.words import times
from model.words.display import Display

# Mean humidity of a day [%] below which it is very dry or dry, and above which it is damp or very damp.
DRY2, DRY1, DAMP1, DAMP2 = 30.0, 40.0, 55.0, 65.0
KEY = (
    f"Each day's mean humidity. Brown hatching: under {say.rh(DRY1)}, closer under {say.rh(DRY2)}. "
    f"Blue hatching, the other way: over {say.rh(DAMP1)}, closer over {say.rh(DAMP2)}. "
    "Slanted figures: estimated. A day opens when it is pressed."
)


def year_of_days(air: AirSeries, display: Display, zone: str, href: str) -> html.Div:
    """The months of a year of air, a cell for each day; a day leads to that day's chart at `href`."""
    import pandas as pd

    at = pd.DatetimeIndex(plot.wall_ms(air.at, zone).astype("datetime64[ms]"))
    table = pd.DataFrame({"day": at.date, "rh_pct": air.rh_pct, "estimated": air.estimated})
    by_day = table.groupby("day")
    rh = by_day["rh_pct"].agg(["mean", "min", "max"]).to_numpy(dtype=np.float64)
    days = dict(
        zip(
            sorted(set(at.date.tolist())),
            zip(rh.tolist(), by_day["estimated"].mean() > 0.5, strict=True),
            strict=True,
        )
    )
    weeks = calendar.Calendar(firstweekday=6 if display.units == "inch" else 0)
    months = []
    for year, month in sorted({(day.year, day.month) for day in days}):
        rows = []
        for week in weeks.monthdatescalendar(year, month):
            cells = []
            for day in week:
                if day.month != month or day not in days:
                    cells.append(html.Td())
                    continue
                (mean, low, high), guessed = days[day]
                begin = datetime(day.year, day.month, day.day, tzinfo=times.zone_of(zone))
                told = f"{times.day(begin, zone, display.units)}: {say.rh(low)} to {say.rh(high)}"
                link = html.A(f"{mean:.0f}", href=between(href, begin, begin + timedelta(days=1)), title=told)
                cells.append(html.Td(link, className=f"{level(mean)} {'guessed' if guessed else ''}".strip()))
            rows.append(html.Tr(cells))
        names = [calendar.day_abbr[number][:2] for number in weeks.iterweekdays()]
        head = html.Tr([html.Th(name, scope="col") for name in names])
        caption = html.Caption(f"{calendar.month_name[month]} {year}")
        months.append(html.Table([caption, html.Thead(head), html.Tbody(rows)]))
    return html.Div(months, className="year")


def level(mean_rh_pct: float) -> str:
    """The class of a day's cell; none where it was neither dry nor damp."""
    if mean_rh_pct < DRY1:
        return "dry2" if mean_rh_pct < DRY2 else "dry1"
    if mean_rh_pct > DAMP1:
        return "damp2" if mean_rh_pct > DAMP2 else "damp1"
    return ""
