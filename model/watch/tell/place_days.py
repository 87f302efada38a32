"""What is told of a place from its days: a shop whose air moves, and the start of the heating season.

Both follow from the means of whole days, so that an hour of odd air, or a day of it, says nothing.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from model.watch.air.air_hours import HOUR_MS
from model.watch.air.daily import DAY_H, Days, Floats
from model.watch.state.hysteresis import EASY, NEAR, STANDINGS
from model.watch.state.roster import PlaceOnBook
from model.watch.tell.warnings import Episode

MOVING, SEASON = "moving", "season"

# All common practice, no source: a shop's mean EMC that moves more than a point in three days is worth
# knowing; two days running, so that one day by the stove is not. It is steady again after two days of
# less: the way back from a damp spell is no news of its own.
MOVES_PCT = 1.0
MOVES_CLEAR_PCT = 0.7
MOVES_DAYS = 3
RUNNING_DAYS = 2
STEADY_DAYS = 2

# Heating begins where the mean humidity of a week lies ten points below that of the last summer; it is over
# within five.
FALL_PCT, OVER_PCT = 10.0, 5.0
WEEK_DAYS, LEAST_OF_WEEK = 7, 5
SUMMER, SOUTHERN_SUMMER = (6, 7, 8), (12, 1, 2)
YEAR_DAYS, LEAST_OF_SUMMER = 365, 30
APART_DAYS = 180
NEWS_FOR_DAYS = 28


@dataclass(frozen=True)
class PlaceHistory:
    """A place's days up to a midnight: by how much its air moves, since when, and what was told."""

    until: int
    moved_pct: float
    since: int
    episodes: tuple[Episode, ...]


def place_history(
    place: PlaceOnBook,
    days: Days,
    hour: int,
    is_used: Callable[[int], bool],
    dry_pieces: Callable[[int], list[str]],
) -> PlaceHistory:
    """The days of a place up to the last midnight.

    Parameters
    ----------
    is_used : callable
        Whether anything of wood stood there at an hour.
    dry_pieces : callable
        Names of the pieces there that had less than a point of moisture left at their dry end at a midnight.
    """
    moved_pct, since = 0.0, 0
    episodes: list[Episode] = []
    if place.kind != "home":  # in a home the wood itself is followed, and its air is left alone
        moved_pct, since, episodes = _moving(place, days, is_used)
    episodes += _season(place, days, dry_pieces)
    return PlaceHistory(hour // DAY_H * DAY_H, moved_pct, since, tuple(episodes))


def _moving(
    place: PlaceOnBook, days: Days, is_used: Callable[[int], bool]
) -> tuple[float, int, list[Episode]]:
    emc_pct = days.measured_emc_pct
    change = np.full(len(emc_pct), np.nan)
    change[MOVES_DAYS:] = emc_pct[MOVES_DAYS:] - emc_pct[:-MOVES_DAYS]
    found: list[Episode] = []
    told: Episode | None = None
    moving, since, running, steady = False, 0, 0, 0
    for day, by in enumerate(change.tolist()):
        midnight = (days.first + day + 1) * DAY_H
        if math.isnan(by):
            continue  # nothing is known, so nothing changes
        running = running + 1 if abs(by) > MOVES_PCT else 0
        steady = steady + 1 if abs(by) <= MOVES_CLEAR_PCT else 0
        if not moving and running >= RUNNING_DAYS:
            moving, since = True, midnight
            if is_used(midnight):
                told = _told_moving(place, by, float(emc_pct[day]), midnight)
        elif moving and steady >= STEADY_DAYS:
            moving, since = False, midnight
            if told is not None:
                found.append(_closed(told, midnight))
                told = None
    if told is not None:
        found.append(told)
    known = change[np.isfinite(change)]
    return float(known[-1]) if moving else 0.0, since, found


def _told_moving(place: PlaceOnBook, by: float, emc_pct: float, midnight: int) -> Episode:
    return Episode(
        "place", place.id, MOVING, "morning", STANDINGS[EASY], STANDINGS[NEAR],
        {"key": "moved", "place": place.name, "emc_pct": emc_pct, "emc_change_pct": by},
        midnight * HOUR_MS,
    )  # fmt: skip


def _season(place: PlaceOnBook, days: Days, dry_pieces: Callable[[int], list[str]]) -> list[Episode]:
    rh_pct = days.measured_rh_pct
    latitude = (place.climate or {}).get("latitude_deg")
    southern = isinstance(latitude, int | float) and latitude < 0.0
    is_summer = np.isin(_months(days), SOUTHERN_SUMMER if southern else SUMMER)
    found: list[Episode] = []
    heating, began = False, -(1 << 40)
    for day in np.flatnonzero(~is_summer).tolist():
        now = _mean(rh_pct[max(day + 1 - WEEK_DAYS, 0) : day + 1], LEAST_OF_WEEK)
        year = slice(max(day + 1 - YEAR_DAYS, 0), day + 1)
        summer = _mean(rh_pct[year][is_summer[year]], LEAST_OF_SUMMER)
        midnight = (days.first + day + 1) * DAY_H
        if not heating and now <= summer - FALL_PCT:
            heating = True
            if day - began < APART_DAYS:
                continue
            began = day
            names = dry_pieces(midnight)
            if names:
                found.append(_told_season(place, names, now, summer, midnight))
        elif heating and now >= summer - OVER_PCT:
            heating = False
            if found:
                found[-1] = _closed(found[-1], midnight)
    last = days.end * DAY_H
    return [
        _closed(one, one.opened_ms // HOUR_MS + NEWS_FOR_DAYS * DAY_H)
        if one.opened_ms // HOUR_MS + NEWS_FOR_DAYS * DAY_H <= last
        else one
        for one in found
    ]


def _closed(episode: Episode, hour: int) -> Episode:
    """An episode closed at an hour, or as it was when that was earlier."""
    at_ms = hour * HOUR_MS
    if episode.closed_ms is not None and episode.closed_ms <= at_ms:
        return episode
    return replace(episode, closed_ms=at_ms)


def _told_season(place: PlaceOnBook, names: list[str], week: float, summer: float, midnight: int) -> Episode:
    detail = {
        "key": SEASON, "place": place.name, "pieces": names, "piece_count": len(names), "week_rh_pct": week,
        "summer_rh_pct": summer,
    }  # fmt: skip
    return Episode(
        "place", place.id, SEASON, "season", STANDINGS[EASY], STANDINGS[NEAR], detail,
        midnight * HOUR_MS,
    )  # fmt: skip


def _months(days: Days) -> NDArray[np.int64]:
    """The month of each day, 1 to 12."""
    dates = np.arange(days.first, days.end).astype("datetime64[D]")
    return dates.astype("datetime64[M]").astype(np.int64) % 12 + 1


def _mean(values: Floats, least: int) -> float:
    """The mean of what is known; NaN where that is fewer than `least`."""
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) >= least else math.nan
