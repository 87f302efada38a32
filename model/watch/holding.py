"""What one of several watches holds of the book, and where it borders on what others hold.

Air is closed within a share: sensors, places and what is told of them need nothing from outside. Wood is not:

* A piece needs the air of every place it ever stood in. When past air changes, the watch that holds the place
  takes back what was computed from it, whoever's piece it is, and moves the piece's share on.
* A stack is measured by its destination's days: they move its share on when a day becomes another.
* What is told of a place names the pieces that stood there: they move its share on when they are computed
  over that time.

A piece waits while the air it needs from elsewhere has not been computed.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from model.watch.bridge import NO_AIR, Air
from model.watch.roster import Owner, Roster
from model.watch.shares import Shares
from model.watch.tasks import earliest_change

DAY_H = 24
Hours = NDArray[np.int64]


@dataclass(frozen=True)
class Holding:
    """The part of a roster that is in some shares.

    Attributes
    ----------
    held : frozenset of int
    places : frozenset of int
        Those held.
    owners : tuple of Owner
        Those held.
    sources : frozenset of int
        Places of others whose air the held owners need.
    """

    held: frozenset[int]
    shares: Shares
    places: frozenset[int]
    owners: tuple[Owner, ...]
    sources: frozenset[int]
    _came_from: Mapping[int, list[Owner]] = field(repr=False)
    _bound_for: Mapping[int, list[Owner]] = field(repr=False)

    @classmethod
    def of(cls, roster: Roster, shares: Shares, held: frozenset[int]) -> "Holding":
        """What some shares have of a roster."""
        places = frozenset(place for place in roster.places if shares.of_place[place] in held)
        owners = []
        sources: set[int] = set()
        came_from: dict[int, list[Owner]] = {}
        bound_for: dict[int, list[Owner]] = {}
        for owner in roster.owners:
            needed = {stay.place_id for stay in owner.stays}
            if shares.of_owner(owner) in held:
                owners.append(owner)
                sources |= needed | {owner.destination_id or 0}
                continue
            for place in needed & places:
                came_from.setdefault(place, []).append(owner)
            if owner.destination_id in places:
                assert owner.destination_id is not None
                bound_for.setdefault(owner.destination_id, []).append(owner)
        elsewhere = frozenset(place for place in sources if place in roster.places) - places
        return cls(held, shares, places, tuple(owners), elsewhere, came_from, bound_for)

    def has_sensor(self, sensor_id: int) -> bool:
        return self.shares.of_sensor(sensor_id) in self.held

    def resting_on(
        self, place_id: int, hours: Hours, hour: int, with_past: bool
    ) -> tuple[list[tuple[Owner, int | None]], set[int]]:
        """What others hold that rests on some hours of a held place's air.

        Returns
        -------
        list of (Owner, hour)
            Owners, and the first hour at which their state is no longer right.
        set of int
            Shares to move on.
        """
        rewinds: list[tuple[Owner, int | None]] = []
        others: set[int] = set()
        for owner in self._came_from.get(place_id, ()):
            at = earliest_change(owner, {place_id: hours}, with_past)
            if at is not None:
                rewinds.append((owner, at + 1))
                others.add(self.shares.of_owner(owner))
        # The last hour of a day counts with the days before, should clocks differ a little.
        if len(hours) and int(hours[0]) < (hour + 1) // DAY_H * DAY_H:
            others |= {self.shares.of_owner(owner) for owner in self._bound_for.get(place_id, ())}
        return rewinds, others

    def stood_since(self, owner: Owner, hour: int) -> set[int]:
        """Shares of others in whose places a held owner stood from an hour on."""
        found = {self.shares.of_place[stay.place_id] for stay in owner.stays if stay.until >= hour}
        return found - self.held

    def waits(
        self, owner: Owner, begin: int, hour: int, airs: Mapping[int, Air], unsettled: Mapping[int, int]
    ) -> bool:
        """Whether an owner can't be taken from an hour to another yet, for want of air from elsewhere.

        Parameters
        ----------
        unsettled : mapping of share to hour
            The first hour in it whose air waits to be computed, where one does.
        """
        needed = [
            (stay.place_id, min(stay.until, hour))
            for stay in owner.stays
            if stay.since < hour and stay.until > begin
        ]
        if owner.destination_id is not None:
            needed.append((owner.destination_id, hour // DAY_H * DAY_H))
        for place, until in needed:
            if place in self.sources:
                air = airs.get(place, NO_AIR)
                first = unsettled.get(self.shares.of_place[place], until)
                if first < until or (len(air) and air.end < until):
                    return True
        return False
