"""What the watch asks of the outlook each day: which limits will be crossed within a month.

`Foresight` is the `OutlookProvider` of `evaluation`. It first runs every piece through the middle of the air
to come; where that stays well clear of a limit nothing else is asked. Otherwise the plausible years decide:
a limit is foreseen when the 50th percentile of its margin is below zero within `HORIZON_DAYS`.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.records.store import Store
from model.watch import ledger
from model.watch.bridge import NO_AIR
from model.watch.foreseeing import OutlookRequest
from model.watch.lever import lever_of, stays_document
from model.watch.outlook import (
    DAY_S,
    YEARS,
    Ahead,
    batch_of,
    crossing_document,
    fits_then,
    look_ahead,
    mean_of,
)
from model.watch.plausible_air import Surroundings, seasons_of, surroundings_of
from model.watch.roster import PlaceOnBook
from model.watch.verdicts import LATER, SOONER
from model.wood import moisture
from model.wood import season as season_air
from model.wood.season import Season

Floats = NDArray[np.float64]
Crossings = Mapping[tuple[str, str], Mapping[str, Any]]

HORIZON_DAYS = 30
LOOK_DAYS = 90
"""How far the years are run where a crossing is near, so that its 90th percentile is found too."""
CLEAR_PCT = 0.75
"""A piece whose middle path stays this many points of moisture from a limit does not cross it by the middle
of its years either: the middle path is their middle, but for the bend of the sorption curve."""
AT_ONCE = 2000
"""Requests screened at a time: a month of a few thousand members is some megabytes."""


class Foresight:
    """Foresees crossings for the watch of one book.

    Parameters
    ----------
    store : Store
        Read for the climates of places.
    years : int
        Plausible years, even, at least 50 for figures that people read.
    """

    def __init__(self, store: Store, years: int = YEARS) -> None:
        self._store, self._years = store, years

    def __call__(self, requests: Sequence[OutlookRequest]) -> list[Crossings]:
        """Crossings within a month for each request, by fit and limit name."""
        if not requests:
            return []
        surroundings = surroundings_on_book(self._store)
        seasons = seasons_for(requests, surroundings)
        found: list[Crossings] = [{} for _ in requests]
        asked: list[int] = []
        suspects: list[set[tuple[str, str]]] = []
        for start in range(0, len(requests), AT_ONCE):
            part = slice(start, start + AT_ONCE)
            for offset, names in enumerate(_suspects(requests[part], seasons[part])):
                if names:
                    asked.append(start + offset)
                    suspects.append(names)
        years = look_ahead([requests[k] for k in asked], [seasons[k] for k in asked], LOOK_DAYS, self._years)
        for position, names, ahead in zip(asked, suspects, years, strict=True):
            around = surroundings[requests[position].place_id]
            found[position] = _foreseen(ahead, names, around)
        return found


def surroundings_on_book(store: Store) -> dict[int, Surroundings]:
    """The surroundings of every place on the book, by its id."""
    with ledger.reading(store) as bulk:
        return {place.id: surroundings_of(place) for place in PlaceOnBook.all(bulk).values()}


def seasons_for(requests: Sequence[OutlookRequest], surroundings: Mapping[int, Surroundings]) -> list[Season]:
    """What is known of each request's place at its hour."""
    hours: defaultdict[int, set[int]] = defaultdict(set)
    airs = {}
    for request in requests:
        hours[request.place_id].add(request.hour)
        airs[request.place_id] = request.airs.get(request.place_id, NO_AIR)
    known: dict[tuple[int, int], Season] = {}
    for place_id, asked in hours.items():
        rising = sorted(asked)
        seasons = seasons_of(surroundings[place_id], airs[place_id], rising)
        known.update({(place_id, hour): one for hour, one in zip(rising, seasons, strict=True)})
    return [known[request.place_id, request.hour] for request in requests]


def _suspects(requests: Sequence[OutlookRequest], seasons: Sequence[Season]) -> list[set[tuple[str, str]]]:
    """Limits that the middle path comes near to within the horizon, and that are not past now."""
    columns: dict[tuple[int, int], int] = {}
    airs: list[season_air.Air] = []
    bodies, hours, profiles, air_of = [], [], [], []
    for request, season in zip(requests, seasons, strict=True):
        key = request.place_id, request.hour
        if key not in columns:
            columns[key] = len(airs)
            airs.append(season.middle(HORIZON_DAYS))
        for body in request.owner.bodies:
            if body.name in request.profiles:
                bodies.append(body)
                hours.append(request.hour)
                profiles.append(request.profiles[body.name])
                air_of.append(columns[key])
    paths = moisture.advance(
        np.array(profiles),
        batch_of(bodies, hours, [np.ones(1)] * len(bodies)),
        np.column_stack([air.temperature_c for air in airs]),
        np.column_stack([air.rh_pct for air in airs]),
        air_of,
        air_of,
        DAY_S,
    ).mc_mean_pct
    found = []
    row = 0
    for request in requests:
        there = [body.name for body in request.owner.bodies if body.name in request.profiles]
        mc = {name: paths[:, row + k] for k, name in enumerate(there)}
        row += len(there)
        found.append(_near(request, mc))
    return found


def _near(request: OutlookRequest, mc: Mapping[str, Floats]) -> set[tuple[str, str]]:
    names = set()
    for name, fit in fits_then(request).items():
        asked = {}
        for member in fit.members:
            path = mc[member.name]
            now = [mean_of(request.profiles[member.name])]
            asked[member.name] = np.concatenate([now, path + CLEAR_PCT, np.maximum(path - CLEAR_PCT, 0.0)])
        for limit in fit.limits(asked):
            margin = np.broadcast_to(limit.margin_mm, 2 * HORIZON_DAYS + 1)
            if margin[0] >= 0.0 and margin[1:].min() < 0.0:
                names.add((name, limit.name))
    return names


def _foreseen(ahead: Ahead, suspects: set[tuple[str, str]], surroundings: Surroundings) -> Crossings:
    found = {}
    for limit in ahead.limits:
        key = limit.fit, limit.limit.name
        if key not in suspects or limit.middle_crosses_days() > HORIZON_DAYS:
            continue
        fit = ahead.fits[limit.fit]
        request = ahead.request
        document = crossing_document(limit)
        document["if_it_stays"] = stays_document(request, fit, limit.limit.name, (SOONER, LATER))
        document["lever"] = lever_of(request, fit, limit.limit.name, ahead.season, surroundings).document()
        found[key] = document
    return found
