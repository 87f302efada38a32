"""What a rehearsal is asked for, as its address holds it: one design or two, and a year of air."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from dashboard.forms.acts import Act, doing, done
from dashboard.forms.declared import Asked, Form
from dashboard.pages.plans import plan_asked
from dashboard.shell.view import View
from model.answers.annual_range import LEAST_DAYS, recorded_air
from model.records.acts import book
from model.records.schema.tables import PieceRow, Place, Preference
from model.wood.climate.epw import read_epw
from model.wood.climate.indoor import DEFAULT_SCHEME, SCHEMES, scheme_named
from model.wood.climate.outdoor import OutdoorClimate, calendar_year
from model.wood.design.rehearsal import hourly_air, rehearse
from model.wood.errors import BadInput
from model.wood.piece import Piece
from model.wood.units import fahrenheit_to_celsius
from model.words import display as say
from model.words.limits import limit_said

if TYPE_CHECKING:
    import pandas as pd

BUILT, LIVED = "built", "lived"
MONTHS = "months"
FORM = Form(
    "rehearse",
    "Rehearse",
    (
        Asked("first", "Design", "choice", what="a design"),
        Asked("second", "Beside", "choice"),
        Asked("air", "Year of air", "choice", what="a year of air"),
        Asked("begin", "It begins", "choice", options=((BUILT, "as built"), (LIVED, "after a year there"))),
        Asked("scheme", "House, for outdoor air", "choice", "how outdoor air becomes the room's"),
        Asked(
            "months",
            "Monthly means outdoors",
            "temperature",
            "twelve, January first, {degrees}",
            what="monthly means",
        ),
    ),
    is_first=True,
)
MOST_WEATHER_BYTES = 8_000_000
USUAL_RH_PCT = 75.0
"""Outdoors, where only temperatures are typed in; a line like that of EN 15026 does not use it."""


@dataclass(frozen=True)
class Design:
    """Something to rehearse: a recorded piece, or one way to build what is planned."""

    key: str
    name: str
    piece: Piece


@dataclass(frozen=True)
class Year:
    """A year of air, hourly, and what it is called."""

    name: str
    zone: str
    air: "pd.DataFrame"
    says: str


@dataclass(frozen=True)
class Came:
    """How near a limit came: least left, when, and on how many days it was past.

    Attributes
    ----------
    fit, limit, direction, severity, says : str
    least_mm : float
    at : Timestamp
    days_past : float
    """

    fit: str
    limit: str
    direction: str
    severity: str
    says: str
    least_mm: float
    at: "pd.Timestamp"
    days_past: float


@dataclass(frozen=True)
class Ran:
    """A design through a year.

    Attributes
    ----------
    at : DatetimeIndex
    mc_pct, width_mm : mapping of member name to array
    came : tuple of Came
        The tightest first.
    """

    design: Design
    at: "pd.DatetimeIndex"
    mc_pct: Mapping[str, np.ndarray]
    width_mm: Mapping[str, np.ndarray]
    came: tuple[Came, ...]

    @property
    def harms_days(self) -> float:
        """Days on which something was past that harms, of the limit that was past longest."""
        return max((one.days_past for one in self.came if one.severity == "harms"), default=0.0)

    @property
    def shows_days(self) -> float:
        return max((one.days_past for one in self.came if one.severity != "harms"), default=0.0)

    @property
    def verdict(self) -> str:
        """How the year went: past where something harmful was, near where something showed, else clear."""
        return "past" if self.harms_days else "near" if self.shows_days else "clear"

    def day(self, way: str) -> "tuple[pd.Timestamp, float]":
        """The day when its wood was driest or dampest, and its mean moisture content then [%]."""
        mean = np.mean(list(self.mc_pct.values()), axis=0)
        at = int(np.argmin(mean) if way == "dry" else np.argmax(mean))
        return self.at[at], float(mean[at])


# ---------------------------------------------------------------- designs


def design_of(key: str, query: Mapping[str, str], session: Session, view: View) -> Design:
    """The design an address names: ``piece-3``, or ``plan-framed`` with the plan in the same address."""
    kind, _, which = key.partition("-")
    if kind == "plan":
        plan = plan_asked.plan_of(plan_asked.asked_of(query), view, which)
        choice = plan.comparison.choice(which)
        if choice.piece is None:
            raise BadInput("", "a design", "must hold solid wood that moves", choice.title)
        return Design(key, f"{choice.title}, as planned", choice.piece)
    row = session.get(PieceRow, int(which)) if which.isdigit() and len(which) < 10 else None
    if kind != "piece" or row is None:
        raise BadInput("", "a design", "must be a recorded piece or what is planned", key or "nothing")
    return Design(key, row.name, book.load_piece(session, row))


def designs_known(query: Mapping[str, str], session: Session) -> list[tuple[str, str]]:
    """Every design there is to choose: what is planned first, then the recorded pieces."""
    found = []
    if plan_asked.asked_of(query).get("width"):
        words = (("slab", "Solid slab"), ("framed", "Frame and panel"), ("sheet", "Sheet goods"))
        found = [(f"plan-{kind}", f"{name}, as planned") for kind, name in words]
    rows = session.execute(select(PieceRow.id, PieceRow.name).order_by(PieceRow.name))
    return found + [(f"piece-{row.id}", row.name) for row in rows]


# ---------------------------------------------------------------- a year of air


def year_of(query: Mapping[str, str], session: Session, view: View) -> Year:
    """The year an address names: a place's recorded one, a weather file's indoors, or from monthly means."""
    key = query.get("air", "")
    if key == MONTHS:
        scheme = scheme_named(query.get("scheme", DEFAULT_SCHEME))
        climate = OutdoorClimate.from_monthly_means(
            "these months", months_typed(query.get("months", ""), view.units), [USUAL_RH_PCT] * 12
        )
        return _indoors(climate, scheme.name, view)
    if key.startswith("w") and key[1:].isdigit():
        return _indoors(kept_weather(session, int(key[1:])), query.get("scheme", DEFAULT_SCHEME), view)
    place = session.get(Place, int(key)) if key.isdigit() and len(key) < 10 else None
    if place is None:
        raise BadInput("", "a year of air", "must be chosen", key or "nothing")
    air = recorded_air(session, place.id, view.now)
    days = 0.0 if air.empty else (air.index[-1] - air.index[0]).total_seconds() / 86_400.0
    if days < LEAST_DAYS:
        raise BadInput(place.name, "the air recorded there", "must span a week or more", f"{days:.0f} days")
    return Year(place.name, place.zone, air[["temperature_c", "rh_pct"]], f"{days:.0f} days recorded there")


def _indoors(climate: OutdoorClimate, scheme: str, view: View) -> Year:
    way = scheme_named(scheme)
    air = climate.indoors(way, calendar_year(view.now.year))
    says = f"{way.title.lower()}, {way.source.split(',')[0]}; outdoors: {climate.source}"
    return Year(climate.name, view.context.zone, air, says)


def months_typed(text: str, units: str) -> list[float]:
    """Twelve monthly means [°C], as typed on a form of these units or with C or F behind them."""
    words = text.replace(",", " ").replace(";", " ").replace("\u2212", "-").split()
    fahrenheit = units == "inch"
    if words and words[-1].upper() in ("C", "F"):
        fahrenheit = words.pop().upper() == "F"
    try:
        numbers = [float(word) for word in words]
    except ValueError:
        raise BadInput("", "monthly means", "must be twelve numbers", text) from None
    if len(numbers) != 12:
        raise BadInput("", "monthly means", "must be twelve, January to December", len(numbers))
    return [float(fahrenheit_to_celsius(number)) for number in numbers] if fahrenheit else numbers


# ---------------------------------------------------------------- weather files that were read


def read_weather(file: Path, view: View) -> Act:
    """Read a weather file and keep it; the act leads to its key as a year of air.

    Raises
    ------
    BadInput
        For a file that is no weather file, naming its line.
    """
    text = file.read_text("utf-8", errors="replace")
    climate = read_epw(text, file.name)
    # The same file read again is the same file.
    number = int(sha256(text.encode()).hexdigest()[:7], 16)
    with doing(view, "weather file") as (session, revision):
        keep_weather(session, climate, number)
        said = f"The weather of {climate.name} is read."
        return done(revision, said, "The weather file is forgotten.", f"w{number}")


def keep_weather(session: Session, climate: OutdoorClimate, number: int) -> None:
    """Keep a weather file's outdoor year under its number, to a tenth, as the file had it."""
    value = {
        "name": climate.name,
        "source": climate.source,
        "zone_h": climate.zone_h,
        "temperature_c": np.round(climate.temperature_c, 1).tolist(),
        "rh_pct": np.round(climate.rh_pct, 1).tolist(),
    }
    session.merge(Preference(name=f"weather {number}", value=value))


def kept_weather(session: Session, number: int) -> OutdoorClimate:
    """The outdoor year of a weather file that was read."""
    kept = session.get(Preference, f"weather {number}")
    if kept is None:
        raise BadInput("", "weather file", "must be one that was read", number)
    value = kept.value
    return OutdoorClimate(
        str(value["name"]),
        np.array(value["temperature_c"]),
        np.array(value["rh_pct"]),
        float(value["zone_h"]),
        str(value["source"]),
    )


def weathers_known(session: Session) -> list[tuple[str, str]]:
    """Every weather file that was read, to choose from."""
    rows = session.execute(
        select(Preference.name, Preference.value["name"].as_string()).where(Preference.name.like("weather %"))
    )
    return sorted(
        ((f"w{name.split()[1]}", f"weather of {title}") for name, title in rows), key=lambda row: row[1]
    )


# ---------------------------------------------------------------- the run


def run(design: Design, year: Year, begin: str = BUILT) -> Ran:
    """A design through a year, from as it is built or from as it would be after a year there."""
    import pandas as pd

    air = year.air
    if begin == LIVED:
        hours, _ = hourly_air(air)
        # The same year twice: the first lets the wood forget where it began.
        before = hours.set_axis(hours.index - (hours.index[-1] - hours.index[0]) - pd.Timedelta(hours=1))
        air = pd.concat([before, hours])
    ran = rehearse(design.piece, air)
    since = ran.at.searchsorted(year.air.index[0].floor("h")) if begin == LIVED else 0
    at = ran.at[since:]
    mc = {name: table["mc_mean_pct"].to_numpy()[since:] for name, table in ran.members.items()}
    width = {name: table["width_mm"].to_numpy()[since:] for name, table in ran.members.items()}
    came: list[Came] = []
    for name, fit in design.piece.fits.items():
        for limit in fit.limits(mc):
            margins = np.broadcast_to(np.asarray(limit.margin_mm, dtype=np.float64), (len(at),))
            least = int(np.argmin(margins))
            came.append(
                Came(
                    name,
                    limit.name,
                    limit.direction,
                    limit.severity,
                    limit_said(limit),
                    float(margins[least]),
                    at[least],
                    float((margins < 0.0).sum()) / 24.0,
                )
            )
    return Ran(design, at, mc, width, tuple(sorted(came, key=lambda one: (one.least_mm, one.fit))))


def schemes_known(only_lines: bool = False) -> Sequence[tuple[str, str]]:
    """Ways from outdoor to indoor air, to choose from."""
    return [(name, way.title) for name, way in SCHEMES.items() if way.humidity_pct or not only_lines]


def design_words(ran: Ran) -> str:
    """How a design's year went, as a clause."""
    name = ran.design.name
    if ran.verdict == "past":
        worst = max((one for one in ran.came if one.severity == "harms"), key=lambda one: one.days_past)
        return f"{name}: past a limit on {days(worst.days_past)}"
    if ran.verdict == "near":
        return f"{name}: nothing harmful, but something shows on {days(ran.shows_days)}"
    return f"{name}: clear all year"


def days(number: float) -> str:
    """A count of days in words: part of one is one."""
    whole = max(round(number), 1)
    return f"{whole}{say.NBSP}day{'' if whole == 1 else 's'}"
