"""Wood run through air, and a piece run through recorded air before it has stood there."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from model.wood.air.psychrometrics import relative_humidity_from_pressure, vapour_pressure
from model.wood.errors import BadInput
from model.wood.fits import Limit
from model.wood.moisture import solver as moisture
from model.wood.piece import Piece, moisture_batch

if TYPE_CHECKING:
    import pandas as pd

HOUR_S, DAY_S = 3600.0, 86_400.0

Floats = NDArray[np.float64]


class Simulation(NamedTuple):
    """What air did to n members: moisture contents [%] of shape (steps + 1, n), the start in row 0.

    `profile` is the state at the end, (n, cells).
    """

    profile: Floats
    mc_mean_pct: Floats
    mc_face_pct: Floats
    mc_core_pct: Floats
    mc_back_pct: Floats


def simulate(
    members: moisture.Batch,
    air: tuple[ArrayLike, ArrayLike],
    start: ArrayLike,
    air_of: ArrayLike = 0,
    step_s: float = HOUR_S,
) -> Simulation:
    """Run wood through air: the one way to do so. Both faces of a member meet the same air.

    Parameters
    ----------
    members : Batch
    air : (temperature_c, rh_pct)
        Each (steps,) or (steps, airs); row k holds from its instant until `step_s` later.
    start : (n,) or (n, cells)
        Moisture contents, even through the thickness, or whole profiles [%].
    air_of : (n,) or one number
        Each member's column of the air.
    step_s : float
        Length of a step [s], as in `moisture.advance`.

    Raises
    ------
    BadInput
        For air or moisture outside its range.
    """
    profile = np.asarray(start, dtype=np.float64)
    if profile.ndim < 2:
        profile = moisture.uniform_profile(profile)
    temperature_c, rh_pct = (np.asarray(values, dtype=np.float64) for values in air)
    if temperature_c.ndim == 1:
        temperature_c, rh_pct = temperature_c[:, None], rh_pct[:, None]
    first = moisture.summary(profile)
    done = moisture.advance(profile, members, temperature_c, rh_pct, air_of, air_of, step_s)
    means, faces, cores, backs = (
        np.concatenate([at_start[None, :], later])
        for at_start, later in zip(
            first, (done.mc_mean_pct, done.mc_face_pct, done.mc_core_pct, done.mc_back_pct), strict=True
        )
    )
    return Simulation(done.profile, means, faces, cores, backs)


@dataclass(frozen=True)
class SmallestMargin:
    """How close a limit came [mm], and when."""

    limit: Limit
    margin_mm: float
    at: "pd.Timestamp"


@dataclass(frozen=True)
class Rehearsal:
    """What a piece did in the air it was given.

    Attributes
    ----------
    at : DatetimeIndex
        Instants of the rows, aware UTC, one an hour or one every so many hours.
    members : mapping of member name to DataFrame
        Columns mc_mean_pct, mc_face_pct, mc_core_pct, mc_back_pct, width_mm, one row an instant.
    smallest : mapping of fit name to list of SmallestMargin
        Over every hour, whatever the spacing of the rows.
    filled_hours : int
        Hours without a reading, filled in a straight line between their neighbours.
    batch : moisture.Batch
        The constants the solver was given, in the order of `members`.
    profile : (members, cells)
        Moisture through the thickness at the end [%].
    """

    at: "pd.DatetimeIndex"
    members: "Mapping[str, pd.DataFrame]"
    smallest: Mapping[str, list[SmallestMargin]]
    filled_hours: int
    batch: moisture.Batch
    profile: Floats


def hourly_air(air: "pd.DataFrame") -> "tuple[pd.DataFrame, int]":
    """Readings brought to one row an hour at constant vapour pressure, gaps filled in a straight line.

    Parameters
    ----------
    air : DataFrame
        Index: aware UTC instants, rising. Columns temperature_c, rh_pct.

    Returns
    -------
    DataFrame, int
        Hourly temperature_c and rh_pct, each row holding for the hour that begins at it, and how many
        hours had no reading. Where every reading falls on a full hour the values are kept as they are.
    """
    import pandas as pd

    if len(air) == 0:
        raise BadInput("", "air", "must hold at least one reading", "none")
    instants = pd.DatetimeIndex(air.index)
    on_the_hour = bool((instants == instants.floor("h")).all()) and instants.is_unique
    if on_the_hour:
        hours = air
    else:
        pressure = pd.Series(
            vapour_pressure(air["temperature_c"].to_numpy(), air["rh_pct"].to_numpy()), index=air.index
        )
        means = pd.DataFrame({"temperature_c": air["temperature_c"], "pressure_pa": pressure})
        means = means.groupby(instants.floor("h")).mean()
        hours = pd.DataFrame(
            {
                "temperature_c": means["temperature_c"],
                "rh_pct": relative_humidity_from_pressure(
                    means["temperature_c"].to_numpy(), means["pressure_pa"].to_numpy()
                ),
            }
        )
    whole = pd.date_range(hours.index[0], hours.index[-1], freq="h")
    spread = hours.reindex(whole)
    filled = int(spread["rh_pct"].isna().sum())
    if filled:
        spread = spread.interpolate(method="linear")
    spread["rh_pct"] = spread["rh_pct"].clip(0.0, 100.0)
    return spread, filled


def rehearse(
    piece: Piece, air: "pd.DataFrame", start: float | ArrayLike | None = None, every_h: int = 1
) -> Rehearsal:
    """Run every member of a piece through recorded air.

    Parameters
    ----------
    piece : Piece
    air : DataFrame
        Index: aware UTC instants, rising. Columns temperature_c [°C], rh_pct [%].
    start : optional
        At the first instant [%]: one moisture content for all, one a member, or profiles (members, cells);
        else each member's own reference.
    every_h : int
        Hours between the rows returned.
    """
    import pandas as pd

    if every_h < 1:
        raise BadInput("", "every", "must be at least one hour", every_h)
    hours, filled = hourly_air(air)
    members = list(piece.members.values())
    batch = moisture_batch(members)
    if start is None:
        start = [member.mc_pct for member in members]
    elif np.ndim(start) == 0:
        start = np.full(len(members), start)
    temperature_c, rh_pct = (hours[name].to_numpy()[:-1] for name in ("temperature_c", "rh_pct"))
    run = simulate(batch, (temperature_c, rh_pct), start)
    at = pd.DatetimeIndex(hours.index)
    rows = slice(None, None, every_h)
    tables = {}
    for position, member in enumerate(members):
        table = {name: getattr(run, name)[rows, position] for name in Simulation._fields[1:]}
        table["width_mm"] = np.asarray(member.width_at(table["mc_mean_pct"]))
        tables[member.name] = pd.DataFrame(table, index=at[rows])
    mc = {member.name: run.mc_mean_pct[:, position] for position, member in enumerate(members)}
    smallest = {name: [_smallest(one, at) for one in fit.limits(mc)] for name, fit in piece.fits.items()}
    return Rehearsal(at[rows], tables, smallest, filled, batch, run.profile)


def _smallest(limit: Limit, at: "pd.DatetimeIndex") -> SmallestMargin:
    margins = np.broadcast_to(np.asarray(limit.margin_mm, dtype=float), (len(at),))
    where = int(np.argmin(margins))
    return SmallestMargin(limit, float(margins[where]), at[where])
