"""A request for an outlook: a piece or stack at a midnight, and the air of its place."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from model.records.store import Store
from model.watch.air.climate_prior import Surroundings, surroundings_of
from model.watch.air.gap_fill import HourlyAir
from model.watch.run import watch_sql as ledger
from model.watch.state.margins import MoistureThen
from model.watch.state.roster import Assembly
from model.watch.state.roster_reader import read_places


@dataclass(frozen=True)
class OutlookRequest:
    """A piece or stack whose coming days are asked.

    Attributes
    ----------
    owner : Assembly
    hour : int
        Midnight UTC, hours since 1970; nothing of the air from this hour on may be used.
    place_id : int
    profiles : mapping of member name to (cells,) or, with `each_year`, (years, cells) array
        Moisture at that hour [%].
    airs : mapping of place id to HourlyAir
    variances : mapping of member name to float
        Of the mean moisture content at that hour [%²].
    moisture_then : callable
        Mean moisture content of a body (by id) at a kept hour up to that one.
    each_year : bool
        Whether each year begins with a profile of its own, counted from where its wood settles.
    """

    owner: Assembly
    hour: int
    place_id: int
    profiles: Mapping[str, np.ndarray[Any, np.dtype[np.float64]]]
    airs: Mapping[int, HourlyAir]
    variances: Mapping[str, float] = field(default_factory=dict)
    moisture_then: MoistureThen | None = None
    each_year: bool = False


def surroundings_on_book(store: Store) -> dict[int, Surroundings]:
    """The surroundings of every place on the book, by its id."""
    with ledger.reading(store) as bulk:
        return {place.id: surroundings_of(place) for place in read_places(bulk).values()}
