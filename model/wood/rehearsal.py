"""A piece run through recorded air before it has stood there: widths, moisture and the smallest margins."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from model.wood import moisture
from model.wood.air import relative_humidity_from_pressure, vapour_pressure
from model.wood.errors import BadInput
from model.wood.fits import Limit
from model.wood.piece import Piece
from model.wood.piece import moisture_batch as batch_of

HOUR_S = 3600.0


@dataclass(frozen=True)
class SmallestMargin:
    """How close a limit came, and when."""

    name: str
    direction: str
    severity: str
    margin_mm_min: float
    at: pd.Timestamp


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
    bridged_hours : int
        Hours without a reading, filled in a straight line between their neighbours.
    batch : moisture.Batch
        The constants the solver was given, in the order of `members`.
    """

    at: pd.DatetimeIndex
    members: Mapping[str, pd.DataFrame]
    smallest: Mapping[str, list[SmallestMargin]]
    bridged_hours: int
    batch: moisture.Batch


def hourly_air(air: pd.DataFrame) -> tuple[pd.DataFrame, int]:
    """Readings brought to one row an hour at constant vapour pressure, gaps bridged in a straight line.

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
    bridged = int(spread["rh_pct"].isna().sum())
    if bridged:
        spread = spread.interpolate(method="linear")
    spread["rh_pct"] = spread["rh_pct"].clip(0.0, 100.0)
    return spread, bridged


def rehearse(
    piece: Piece, air: pd.DataFrame, start_mc_pct: float | None = None, every_h: int = 1
) -> Rehearsal:
    """Run every member of a piece through recorded air.

    Parameters
    ----------
    piece : Piece
    air : DataFrame
        Index: aware UTC instants, rising. Columns temperature_c [°C], rh_pct [%].
    start_mc_pct : float, optional
        Moisture content of every member at the first instant, uniform through its thickness;
        else each member's own reference.
    every_h : int
        Hours between the rows returned.
    """
    if every_h < 1:
        raise BadInput("", "every", "must be at least one hour", every_h)
    hours, bridged = hourly_air(air)
    names = list(piece.members)
    batch = batch_of(list(piece.members.values()))
    start = np.array([piece.members[name].mc_pct if start_mc_pct is None else start_mc_pct for name in names])
    profile = moisture.uniform_profile(start)
    faces = np.zeros(len(names), dtype=np.intp)
    first = moisture.summary(profile, batch)
    run = moisture.advance(
        profile,
        batch,
        hours["temperature_c"].to_numpy()[:-1, None],
        hours["rh_pct"].to_numpy()[:-1, None],
        faces,
        faces,
        step_s=HOUR_S,
    )
    traces = {
        key: np.vstack([np.asarray(first_value)[None, :], later])
        for key, first_value, later in zip(
            ("mc_mean_pct", "mc_face_pct", "mc_core_pct", "mc_back_pct"),
            first,
            (run.mc_mean_pct, run.mc_face_pct, run.mc_core_pct, run.mc_back_pct),
            strict=True,
        )
    }
    at = pd.DatetimeIndex(hours.index)
    rows = slice(None, None, every_h)
    members = {}
    for position, name in enumerate(names):
        table = {key: trace[rows, position] for key, trace in traces.items()}
        table["width_mm"] = np.asarray(piece.members[name].width_at(table["mc_mean_pct"]))
        members[name] = pd.DataFrame(table, index=at[rows])
    moisture_by_member = {name: traces["mc_mean_pct"][:, position] for position, name in enumerate(names)}
    smallest = {name: _smallest(fit.limits(moisture_by_member), at) for name, fit in piece.fits.items()}
    return Rehearsal(at[rows], members, smallest, bridged, batch)


def _smallest(limits: Sequence[Limit], at: pd.DatetimeIndex) -> list[SmallestMargin]:
    found = []
    for limit in limits:
        margins = np.broadcast_to(np.asarray(limit.margin_mm, dtype=float), (len(at),))
        where = int(np.argmin(margins))
        found.append(
            SmallestMargin(limit.name, limit.direction, limit.severity, float(margins[where]), at[where])
        )
    return found
