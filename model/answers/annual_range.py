"""A piece run through the air of a place, and what its wood comes to there over a year."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray
from sqlalchemy.orm import Session

from model.records.queries import overview as queries
from model.records.queries import series
from model.wood.air.sorption import equilibrium_moisture_content
from model.wood.design.construction import HomeRange, PartWanted
from model.wood.design.rehearsal import rehearse
from model.wood.design.setting_out import HOME_MC_PCT
from model.wood.errors import BadInput
from model.wood.piece import Piece
from model.words.limits import limit_said

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]
Start = Mapping[str, float]

LEAST_DAYS, WHOLE_YEAR_DAYS = 7.0, 330.0
"""A record below a week says nothing; one of eleven months has seen the year (common practice, no source)."""


@dataclass(frozen=True)
class Closest:
    """How near a limit came, and after how many days."""

    fit: str
    limit: str
    direction: str
    severity: str
    says: str
    margin_mm: float
    after_days: float


@dataclass(frozen=True)
class YearRun:
    """A piece's members through hours of air: their mean moisture contents, and how near each limit came."""

    mc_pct: Mapping[str, Floats]
    at: "pd.DatetimeIndex"
    profile: Floats
    smallest: tuple[Closest, ...]

    @property
    def end_pct(self) -> dict[str, float]:
        return {name: float(values[-1]) for name, values in self.mc_pct.items()}


def run_through(piece: Piece, start: Start | Floats, air: "pd.DataFrame") -> YearRun:
    """Rehearse a piece, with each limit in words.

    Parameters
    ----------
    piece : Piece
    start : mapping of member name to float, or profiles (members, cells)
        Even moisture contents [%], or the profiles of an earlier run in the piece's order.
    air : DataFrame
        Index of aware UTC instants, rising; columns temperature_c [°C], rh_pct [%]. Gaps are filled.
    """
    if isinstance(start, Mapping):
        start = np.array([start[name] for name in piece.members])
    run = rehearse(piece, air, start)
    smallest = tuple(
        Closest(
            fit,
            one.limit.name,
            one.limit.direction,
            one.limit.severity,
            limit_said(one.limit),
            one.margin_mm,
            (one.at - run.at[0]).total_seconds() / 86_400.0,
        )
        for fit, limits in run.smallest.items()
        for one in limits
    )
    mc_pct = {name: table["mc_mean_pct"].to_numpy() for name, table in run.members.items()}
    return YearRun(mc_pct, run.at, run.profile, smallest)


def constant_air(
    temperature_c: float, rh_pct: float, days: float, since_at: datetime = datetime(2001, 1, 1, tzinfo=UTC)
) -> "pd.DataFrame":
    """Air that holds, hour by hour, for some days."""
    import pandas as pd

    hours = pd.date_range(since_at, periods=max(round(days * 24), 1) + 1, freq="h")
    return pd.DataFrame({"temperature_c": temperature_c, "rh_pct": rh_pct}, index=hours)


def recorded_air(session: Session, place_id: int, until_at: datetime, days: float = 366.0) -> "pd.DataFrame":
    """A place's air hours of the last days, measured and filled; empty where there are none.

    Columns temperature_c, rh_pct and measured (bool).
    """
    import pandas as pd

    air = series.air(session, place_id, until_at - timedelta(days=days), until_at)
    index = pd.DatetimeIndex(air.at).tz_localize("UTC")
    return pd.DataFrame(
        {"temperature_c": air.temperature_c, "rh_pct": air.rh_pct, "measured": ~air.estimated}, index=index
    )


def moisture_now(session: Session, piece_id: int, now: datetime) -> dict[str, float]:
    """Each member's mean moisture content [%]: as followed up to now, else as it was recorded."""
    found = queries.piece(session, piece_id, now)
    if found is None:
        raise BadInput("", "piece", "must be one that is recorded", piece_id)
    return {
        member.name: member.moisture.mc_mean_pct if member.moisture else member.start_mc_pct
        for member in found.members
    }


@dataclass(frozen=True)
class HomeYear:
    """What the members of a piece come to in a home over its year.

    Attributes
    ----------
    place : str
    mc_low_pct, mc_high_pct : mapping of member name to float
        At each member's driest and wettest [%].
    dry_at, wet_at : datetime or None
        When the piece is driest and wettest; none where no record says.
    recorded_days : float
    basis : str
        "recorded" (a whole year), "partly recorded" (joined to what is usual), "usual", "given".
    says : str
    temperature_c : float
        Of the room over the year.
    """

    place: str
    mc_low_pct: Mapping[str, float]
    mc_high_pct: Mapping[str, float]
    dry_at: datetime | None = None
    wet_at: datetime | None = None
    recorded_days: float = 0.0
    basis: Literal["recorded", "partly recorded", "usual", "given"] = "usual"
    says: str = ""
    temperature_c: float = 20.0

    @property
    def ends_pct(self) -> tuple[float, float]:
        """Driest and wettest of all members."""
        return min(self.mc_low_pct.values()), max(self.mc_high_pct.values())


def usual_year(piece: Piece, place: str = "", range_mc_pct: tuple[float, float] = HOME_MC_PCT) -> HomeYear:
    """A home of which nothing is recorded: what wood comes to in most homes."""
    low, high = range_mc_pct
    names = list(piece.members)
    says = f"nothing is recorded there, so this counts on what is usual in homes, {low:g} to {high:g} %"
    return HomeYear(place, dict.fromkeys(names, low), dict.fromkeys(names, high), says=says)


def given_year(
    piece: Piece, rh_low_pct: float, rh_high_pct: float, temperature_c: float = 20.0, place: str = ""
) -> HomeYear:
    """A home whose humidities somebody says: each is taken to hold long enough for wood to settle."""
    if not 0.0 <= rh_low_pct < rh_high_pct <= 95.0:
        raise BadInput(
            place, "rh", "must run from a dry to a damper humidity", f"{rh_low_pct:g}-{rh_high_pct:g}"
        )
    low, high = (
        float(equilibrium_moisture_content(temperature_c, rh_pct)) for rh_pct in (rh_low_pct, rh_high_pct)
    )
    names = list(piece.members)
    says = f"{rh_low_pct:.0f} to {rh_high_pct:.0f} % RH as given, held long enough"
    return HomeYear(
        place, dict.fromkeys(names, low), dict.fromkeys(names, high),
        basis="given", says=says, temperature_c=temperature_c,
    )  # fmt: skip


def home_year(piece: Piece, air: "pd.DataFrame", place: str = "") -> HomeYear:
    """What a piece comes to in recorded air over its year, its own lag counted.

    A record of a year is run twice, so that the piece has forgotten where it began. A shorter one is joined
    to what is usual: it can only widen that.
    """
    if air.empty:
        return usual_year(piece, place)
    span = air.index[-1] - air.index[0]
    days = span.total_seconds() / 86_400.0
    if days < LEAST_DAYS:
        return usual_year(piece, place)
    year = air[["temperature_c", "rh_pct"]]
    begin = year.iloc[: 24 * 30]
    emc = float(np.mean(emc_pct(begin)))
    run = run_through(piece, dict.fromkeys(piece.members, emc), year)
    whole = days >= WHOLE_YEAR_DAYS
    if whole:
        run = run_through(piece, run.profile, year)
    low = {name: float(values.min()) for name, values in run.mc_pct.items()}
    high = {name: float(values.max()) for name, values in run.mc_pct.items()}
    mean = np.mean(list(run.mc_pct.values()), axis=0)
    dry_at, wet_at = (run.at[int(where)].to_pydatetime() for where in (np.argmin(mean), np.argmax(mean)))
    temperature = float(year["temperature_c"].mean())
    if whole:
        says = f"{days:.0f} days of air recorded there"
        return HomeYear(place, low, high, dry_at, wet_at, days, "recorded", says, temperature)
    usual = usual_year(piece, place)
    return HomeYear(
        place,
        {name: min(value, usual.mc_low_pct[name]) for name, value in low.items()},
        {name: max(value, usual.mc_high_pct[name]) for name, value in high.items()},
        recorded_days=days,
        basis="partly recorded",
        says=f"only {days:.0f} days are recorded there, so this counts on what is usual in homes besides",
        temperature_c=temperature,
    )


def emc_pct(air: "pd.DataFrame") -> Floats:
    """What wood would settle to in each hour of air [%]; colder air is taken at the curve's end."""
    temperature = np.clip(air["temperature_c"].to_numpy(dtype=float), -1.0, 55.0)
    return np.asarray(equilibrium_moisture_content(temperature, air["rh_pct"].to_numpy(dtype=float)))


def home_of_part(
    session: Session, part: PartWanted, place_id: int, place: str, now: datetime
) -> tuple[HomeRange, str]:
    """The range that a recorded place brings a part to over its year, and what that is known from.

    The part counts as a slab and as a thin panel: whichever follows the air further.
    """
    thin = part.member("panel", part.width_mm, min(part.panel_thickness_mm, part.thickness_mm))
    slab = replace(thin, name="slab", thickness_mm=part.thickness_mm)
    both = Piece(part.role, {"slab": slab, "panel": thin})
    year = home_year(both, recorded_air(session, place_id, now), place)
    # To a tenth of a per cent, outward: nobody meters finer.
    low, high = math.floor(year.ends_pct[0] * 10.0) / 10.0, math.ceil(year.ends_pct[1] * 10.0) / 10.0
    return HomeRange(low, high, round(year.temperature_c, 1), place), year.says
