"""What an outlook is asked of: a piece or stack as it is at a midnight, and the air known where it stands."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from model.records.store import Store
from model.watch import ledger
from model.watch.bridge import NO_AIR, Air
from model.watch.margins import MoistureThen
from model.watch.plausible_air import Surroundings, seasons_of, surroundings_of
from model.watch.roster import Owner, PlaceOnBook
from model.wood.season import Season


@dataclass(frozen=True)
class OutlookRequest:
    """A piece or stack whose coming days are asked.

    Attributes
    ----------
    owner : Owner
    hour : int
        Midnight UTC, hours since 1970; nothing of the air from this hour on may be used.
    place_id : int
    profiles : mapping of member name to (cells,) array
        Moisture at that hour [%].
    airs : mapping of place id to Air
    variances : mapping of member name to float
        Of the mean moisture content at that hour [%²].
    moisture_then : callable
        Mean moisture content of a body (by id) at a kept hour up to that one.
    """

    owner: Owner
    hour: int
    place_id: int
    profiles: Mapping[str, np.ndarray[Any, np.dtype[np.float64]]]
    airs: Mapping[int, Air]
    variances: Mapping[str, float] = field(default_factory=dict)
    moisture_then: MoistureThen | None = None


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
