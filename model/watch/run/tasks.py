"""The tasks of an evaluation: assemblies to compute, the hour each goes on from, and portions of them."""

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from model.watch.state.margins import Resumed
from model.watch.state.roster import Assembly, LearnedStep
from model.watch.state.states import States

Hours = NDArray[np.int64]

BODY_HOURS_AT_ONCE = 250_000
"""Hours of bodies computed before they are written: some seconds, between two signs of life."""


@dataclass
class Known:
    """Where an owner is: its states, how its limits stand and what was learned of it, at one hour.

    `is_last` where this watch has written that hour itself, so that nothing later can be on record;
    `judged_hour` is the hour it was judged for then.
    """

    hour: int
    states: States
    resumed: dict[int, Resumed]
    learned: Mapping[int, LearnedStep] = field(default_factory=dict)
    is_last: bool = False
    judged_hour: int = -1


@dataclass
class Task:
    """An owner to take from somewhere to an hour; nothing known means from its start."""

    owner: Assembly
    known: Known | None
    end: int

    @property
    def hour(self) -> int | None:
        return None if self.known is None else self.known.hour

    @property
    def begin(self) -> int:
        return self.owner.start_hour if self.known is None else self.known.hour

    @property
    def rests(self) -> bool:
        """Whether it is there already: the air has not been heard of since."""
        return self.known is not None and self.known.hour == self.end

    @property
    def goes_back(self) -> bool:
        """Whether rows after the hour it goes on from may be on record."""
        return self.known is None or not self.known.is_last

    def rewind_hour(self) -> int | None:
        """The first hour whose rows are taken back: what follows, and a latest row that is not to stay.

        None where nothing is. Rows of midnights and of kept hours stay.
        """
        if self.known is None:
            return 0
        hour = self.known.hour
        if not (self.rests or hour % 24 == 0 or hour in self.owner.kept_hours):
            return hour
        return hour + 1 if self.goes_back else None


@dataclass
class Tally:
    """What an evaluation did so far, and how long each part of it took."""

    counts: dict[str, int] = field(default_factory=dict)
    durations_s: dict[str, float] = field(default_factory=dict)

    def add(self, name: str, count: int) -> None:
        self.counts[name] = self.counts.get(name, 0) + count

    def took(self, name: str, since: float) -> float:
        now = time.perf_counter()
        self.durations_s[name] = self.durations_s.get(name, 0.0) + now - since
        return now


def earliest_change(owner: Assembly, changed: Mapping[int, Hours]) -> int | None:
    """The first hour an owner spent in air that changed.

    Parameters
    ----------
    changed : mapping of place id to rising hours
    """
    found = []
    for stay in owner.stays:
        hours = changed.get(stay.place_id)
        if hours is None:
            continue
        since = max(stay.since, owner.start_hour)
        position = int(np.searchsorted(hours, since))
        if position < len(hours) and hours[position] < stay.until:
            found.append(int(hours[position]))
    return min(found, default=None)


def portions(tasks: Sequence[Task]) -> list[list[Task]]:
    """Tasks in portions whose hours fit in memory, those that begin together in one; what rests is apart."""
    resting = [task for task in tasks if task.rests]
    found: list[list[Task]] = []
    bodies = begin = end = 0
    for task in (task for task in tasks if not task.rests):
        own = len(task.owner.bodies)
        bodies, begin, end = bodies + own, min(begin, task.begin), max(end, task.end)
        if not found or bodies * (end - begin + 1) > BODY_HOURS_AT_ONCE:
            found.append([])
            bodies, begin, end = own, task.begin, task.end
        found[-1].append(task)
    return [resting, *found] if resting else found
