"""The humidity that keeps a piece from a limit, found by inversion and kept under the condensation ceiling.

A limit lies at a moisture content; the air that leads to it is the humidity to keep above (a shrinking
limit) or under (a swelling one), rounded inward to a whole per cent. That is checked with the solver from
the wood as it is now, and moved inward while the wood would still cross on its way. Nothing outside what a
house should be held at is advised, and nobody is told to damp a room beyond what the coldest window and wall
of the weeks ahead bear (`wood.condensation`): then the lever says what can be held, and what to do besides.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.watch.air.climate_prior import AHEAD_DAYS, Surroundings, recent
from model.watch.state.humidity import AT_OR_ABOVE, AT_OR_UNDER, INSTEAD, INSTEAD_OF_DRYING
from model.watch.state.outlook import batch_of
from model.watch.state.outlook_request import OutlookRequest
from model.watch.state.states import LEAST_MC_PCT
from model.wood.air.condensation import (
    HIGHEST_ROOM_RH_PCT,
    LOWEST_ROOM_RH_PCT,
    Ceiling,
    condensation_ceiling,
)
from model.wood.air.sorption import equilibrium_moisture_content, relative_humidity_for
from model.wood.climate.seasonal_model import Season
from model.wood.design.design_range import limits_of
from model.wood.design.rehearsal import DAY_S, simulate
from model.wood.fits import Fit

Floats = NDArray[np.float64]

LEAST_RH_PCT, MOST_RH_PCT = 5.0, 95.0
INWARD_PCT = 5
"""How many whole per cent inward the solver is asked about."""
CHECK_DAYS = 180
STAYS_DAYS = 180
RECENT_H = 5 * 24
ROOM_C = 20.0


@dataclass(frozen=True)
class Lever:
    """A humidity to hold.

    Attributes
    ----------
    hold : str
        "at or above" or "at or under".
    needed_rh_pct : float or None
        What the limit asks for [%]; None when no humidity of a room would do.
    advised_rh_pct : float or None
        What may be advised [%], within 25 to 60; to hold at or above, at most the ceiling. None when
        nothing may.
    ceiling : Ceiling
        Highest humidity the room bears in the coldest of the days ahead.
    enough : bool
        Whether what is advised keeps the limit.
    """

    hold: str
    needed_rh_pct: float | None
    advised_rh_pct: float | None
    ceiling: Ceiling
    enough: bool

    def document(self) -> dict[str, Any]:
        """As JSON: with what to do instead where humidity is not enough."""
        return {
            "hold": self.hold,
            "needed_rh_pct": self.needed_rh_pct,
            "advised_rh_pct": self.advised_rh_pct,
            "ceiling_rh_pct": float(np.floor(self.ceiling.rh_pct)),
            "enough": self.enough,
            "instead": [] if self.enough else list(self._instead()),
        }

    def _instead(self) -> tuple[str, ...]:
        return INSTEAD_OF_DRYING if self.hold == AT_OR_UNDER else INSTEAD


def lever_for(
    direction: str, needed_rh_pct: float | None, outdoor_coldest_c: float, room_c: float = ROOM_C
) -> Lever:
    """The lever for a humidity that a limit asks for.

    Against swelling the room is to be kept dry enough, which no window minds: only the least that a house
    should be held at bounds it. Against shrinking it is to be kept damp enough, and the ceiling of the
    coldest days ahead bounds that.

    Parameters
    ----------
    direction : str
        swelling or shrinking.
    needed_rh_pct : float or None
        The last whole per cent on the good side of the limit [%].
    """
    ceiling = condensation_ceiling(outdoor_coldest_c, float(np.clip(room_c, 0.0, 40.0)))
    hold = AT_OR_UNDER if direction == "swelling" else AT_OR_ABOVE
    if needed_rh_pct is None:
        return Lever(hold, None, None, ceiling, False)
    advised = float(np.clip(needed_rh_pct, LOWEST_ROOM_RH_PCT, HIGHEST_ROOM_RH_PCT))
    if direction == "swelling":
        return Lever(hold, needed_rh_pct, advised, ceiling, advised <= needed_rh_pct)
    top = float(np.floor(ceiling.rh_pct))
    if top < LOWEST_ROOM_RH_PCT:
        return Lever(hold, needed_rh_pct, None, ceiling, False)
    advised = min(advised, top)
    return Lever(hold, needed_rh_pct, advised, ceiling, advised >= needed_rh_pct)


def lever_of(
    request: OutlookRequest,
    fit: Fit,
    limit_name: str,
    season: Season,
    surroundings: Surroundings,
    from_days: int = 0,
) -> Lever:
    """The humidity that keeps a piece from a limit, from its state now.

    Parameters
    ----------
    from_days : int
        Days until the limit may first be crossed: room and weather are those of the month from then on.
    """
    there = season.middle(from_days + AHEAD_DAYS)
    room = float(np.clip(np.mean(there.temperature_c[from_days:]), 0.0, 40.0))
    coldest = surroundings.coldest_ahead_c(season.day + from_days)
    found = next(at for at in limits_of(fit) if at.limit.name == limit_name)
    direction = found.limit.direction
    needed = None
    if found.mc_at_limit_pct is not None and not found.past_everywhere:
        needed = _humidity_at(found.mc_at_limit_pct, room, direction)
    if needed is not None:
        needed = _checked(request, fit, limit_name, direction, needed, room)
    return lever_for(direction, needed, coldest, room)


def _humidity_at(mc_pct: float, room_c: float, direction: str) -> float | None:
    """The last whole per cent on the good side of a moisture content; None when no room has it."""
    if mc_pct >= equilibrium_moisture_content(room_c, MOST_RH_PCT):
        return MOST_RH_PCT if direction == "swelling" else None
    if mc_pct <= equilibrium_moisture_content(room_c, LEAST_RH_PCT):
        return LEAST_RH_PCT if direction == "shrinking" else None
    humidity = float(relative_humidity_for(room_c, mc_pct))
    return float(np.floor(humidity) if direction == "swelling" else np.ceil(humidity))


def _checked(
    request: OutlookRequest, fit: Fit, limit_name: str, direction: str, needed: float, room_c: float
) -> float | None:
    """The first humidity from there inward at which the wood as it is now never crosses."""
    way = -1.0 if direction == "swelling" else 1.0
    inward = needed + way * np.arange(INWARD_PCT + 1, dtype=np.float64)
    tried: Floats = inward[(inward >= LEAST_RH_PCT) & (inward <= MOST_RH_PCT)].astype(np.float64)
    margins = margins_in(request, fit, limit_name, np.full(len(tried), room_c), tried, CHECK_DAYS)
    good = np.flatnonzero((margins[1:] >= 0.0).all(axis=0) | (margins[-1] > margins[0]))
    return float(tried[good[0]]) if len(good) else None


def margins_in(
    request: OutlookRequest, fit: Fit, limit_name: str, temperature_c: Floats, rh_pct: Floats, days: int
) -> Floats:
    """A limit's margin at the end of each day in steady airs, and now in row 0: (days + 1, airs)."""
    bodies = [body for body in request.owner.bodies if body.name in {m.name for m in fit.members}]
    airs = len(rh_pct)
    higher = np.repeat([0.0 if body.learned is None else body.learned.settles_pct for body in bodies], airs)
    start = np.concatenate([np.repeat(request.profiles[b.name][None, :], airs, axis=0) for b in bodies])
    mc = (
        simulate(
            batch_of(bodies, request.hour, airs),
            (np.broadcast_to(temperature_c, (days, airs)), np.broadcast_to(rh_pct, (days, airs))),
            start if not higher.any() else np.maximum(start - higher[:, None], LEAST_MC_PCT),
            np.tile(np.arange(airs), len(bodies)),
            DAY_S,
        ).mc_mean_pct
        + higher
    )
    flat = {body.name: mc[:, k * airs : (k + 1) * airs].ravel() for k, body in enumerate(bodies)}
    limit = next(limit for limit in fit.limits(flat) if limit.name == limit_name)
    return np.broadcast_to(limit.margin_mm, (days + 1) * airs).reshape(days + 1, airs)


def days_if_it_stays(margin_mm: Floats) -> float:
    """Days until a margin, now in its first entry and daily after, is below zero; infinite when never."""
    below = np.flatnonzero(margin_mm < 0.0)
    if not len(below) or below[0] == 0:
        return float("inf")
    day = int(below[0])
    before, after = float(margin_mm[day - 1]), float(margin_mm[day])
    return day - 1 + before / (before - after)


def stays_document(
    request: OutlookRequest, fit: Fit, limit_name: str, rates: Sequence[float]
) -> Mapping[str, Any] | None:
    """When a limit is crossed if the air stays as it was in the last five days; None if it never is.

    Parameters
    ----------
    rates : (slow, quick)
        Factors on the days: time scales are known to about this.
    """
    temperature_c, rh_pct = recent(request.airs[request.place_id], request.hour, RECENT_H)
    if np.isnan(rh_pct):
        return None
    margins = margins_in(request, fit, limit_name, np.array([temperature_c]), np.array([rh_pct]), STAYS_DAYS)
    days = days_if_it_stays(margins[:, 0])
    if np.isinf(days):
        return None
    return {
        "rh_pct": round(rh_pct, 1),
        "temperature_c": round(temperature_c, 1),
        "days": max(int(days), 1),
        "low_days": max(int(min(rates) * days), 1),
        "high_days": max(int(np.ceil(max(rates) * days)), 1),
    }
