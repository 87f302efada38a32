"""What each of several watches takes on: places in shares, with all that hangs and stands there.

Places that ever had a sensor in common are judged and measured together, so they are one share's. Wood
belongs to the share of the place where it stands now, or stood last; it may have come from another, whose
air it then needs. Who takes which share is agreed in `division`; that nobody writes for another's share from
an old view is made sure of in `ledger`. Which share something belongs to follows from the book alone.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from model.watch.air_hours import Hung, read_hangings
from model.watch.bulk import Bulk
from model.watch.roster import Owner

SHARES = 24
"""Shares there are: so many watches find work, and two, three, four, six, eight or twelve equal parts."""
ALL = frozenset(range(SHARES))


@dataclass(frozen=True)
class Shares:
    """To which share everything on the book belongs.

    Attributes
    ----------
    of_place, hung : mapping of id to int
        Of every place, and of every sensor that ever hung somewhere.
    """

    of_place: Mapping[int, int]
    hung: Mapping[int, int]

    @classmethod
    def read(cls, bulk: Bulk, places: Iterable[int]) -> "Shares":
        """As the book is now."""
        return cls.of(places, read_hangings(bulk))

    @classmethod
    def of(cls, places: Iterable[int], hangings: Iterable[Hung]) -> "Shares":
        """Shares of places that are joined by the sensors that hung in them."""
        first = {place: place for place in places}  # toward the first place of those joined

        def root(place: int) -> int:
            while first[place] != place:
                first[place] = first[first[place]]
                place = first[place]
            return place

        hung_at: dict[int, int] = {}
        for hung in hangings:
            here = root(hung.place_id)
            there = root(hung_at.setdefault(hung.sensor_id, here))
            first[max(here, there)] = min(here, there)
        return cls(
            {place: _spread(root(place)) for place in first},
            {sensor: _spread(root(place)) for sensor, place in hung_at.items()},
        )

    def of_sensor(self, sensor_id: int) -> int:
        return self.hung.get(sensor_id, _spread(sensor_id))

    def of_owner(self, owner: Owner) -> int:
        """By where it stands at the end of what is recorded: the clock must not move it."""
        return self.of_place[owner.stays[-1].place_id] if owner.stays else _spread(owner.id)


def _spread(id_: int) -> int:
    """The share of an id, such that those that follow each other are not of shares that do: few places, too,
    are divided when each watch holds shares in a row."""
    return id_ * 7 % SHARES
