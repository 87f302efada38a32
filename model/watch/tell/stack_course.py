"""The course of a stack through its midnights, and what is unsure of it since it was metered."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.records.bulk import Bulk
from model.watch.air.air_hours import HOUR_MS
from model.watch.air.daily import DAY_H
from model.watch.questions.ready_rule import StackDoubt, chances, stands_at
from model.watch.state.outlook import YearScores, mean_of
from model.watch.state.roster import Assembly, SolverMember

Row = tuple[int, float, float, NDArray[np.float64]]
"""Hour, mean, core and profile [%]."""


@dataclass(frozen=True)
class StackCourse:
    """A stack's midnights since it was metered last, and what was unsure at the first of them.

    Attributes
    ----------
    day : (days,)
        Rising from 0.
    profiles : (days, cells)
        Moisture through the thickness [%].
    """

    day: NDArray[np.float64]
    profiles: NDArray[np.float64]
    doubt: StackDoubt

    def each_year(
        self, scores: YearScores, body: SolverMember
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Profiles now, (years, cells), and the mean at seven midnights up to now, (7, years) [%], counted
        from where each year's wood settles."""
        rate, constant_days = scores.times_as_fast(body), body.time_constant_h / DAY_H
        since, means = self.day[-1], [mean_of(one) for one in self.profiles]
        learned_pct = 0.0 if body.learned is None else body.learned.settles_pct  # the course holds it
        at = stands_at(since, rate, constant_days)
        back = np.arange(6.0, -1.0, -1.0)[:, None]

        def off(day: Any) -> Any:
            return self.doubt.off_by(scores.state, np.exp(-day * rate / constant_days)) - learned_pct

        then = np.interp(np.maximum(at - back * np.minimum(rate, 1.0), 0.0), self.day, means)
        week = np.where(back <= since, then + off(since - back), np.nan)
        low = np.searchsorted(self.day, at, side="right") - 1
        high = np.minimum(low + 1, len(self.day) - 1)
        part = ((at - self.day[low]) / np.maximum(self.day[high] - self.day[low], 1.0))[:, None]
        profiles = self.profiles[low] * (1.0 - part) + self.profiles[high] * part
        return profiles + off(since)[:, None], week


def chances_of(
    owner: Assembly, rows: Sequence[tuple[int, float, float]], targets_pct: Sequence[float]
) -> list[float]:
    """How likely a stack was ready at some of its hours: hour, mean and core, in order."""
    (body,) = owner.bodies
    hours, mean, core = np.array(rows, dtype=np.float64).reshape(-1, 3).T
    found = np.ones(len(rows))
    for span, doubt in _doubts(owner, hours, mean):
        found[span] = chances(
            (hours[span] - hours[span.start]) / DAY_H,
            mean[span],
            core[span],
            np.asarray(targets_pct)[span],
            body.time_constant_h / DAY_H,
            doubt,
        )
    return found.tolist()


def _doubts(
    owner: Assembly, hours: NDArray[np.float64], mean: NDArray[np.float64]
) -> list[tuple[slice, StackDoubt]]:
    """The stretches of a course between meterings, and what was unsure at the first hour of each."""
    (body,) = owner.bodies
    constant_days = body.time_constant_h / DAY_H
    doubt, at = StackDoubt.of(body.start_variance_pct2), float(body.start_hour)
    metered = [one for one in body.moistures if len(hours) and one[0] <= hours[-1]]
    starts = [0, *(int(np.searchsorted(hours, since)) for since, _, _ in metered), len(hours)]
    found = []
    for k, (first, last) in enumerate(pairwise(starts)):
        if k:
            since, read_pct, variance = metered[k - 1]
            doubt, at = doubt.after((since - at) / DAY_H, constant_days), float(since)
            before = mean[first - 1] if first else body.start_mc_pct
            moved = mean[first] - before  # as good as at once: a day moves it little
            doubt = doubt.metered(read_pct - before, variance, moved)
        if first < last:
            doubt, at = doubt.after((hours[first] - at) / DAY_H, constant_days), float(hours[first])
            found.append((slice(first, last), doubt))
    return found


def course_of(owner: Assembly, rows: Sequence[Row]) -> StackCourse:
    hours, mean = np.array([row[0] for row in rows], dtype=np.float64), np.array([row[1] for row in rows])
    span, doubt = _doubts(owner, hours, mean)[-1]
    return StackCourse(
        (hours[span] - hours[span.start]) / DAY_H, np.array([row[3] for row in rows[span]]), doubt
    )


def rows_of(bulk: Bulk, body_id: int, since: int, until: int) -> list[Row]:
    """Hour, mean, core and profile of a body's records from one hour to another, both included."""
    return [
        (int(ms) // HOUR_MS, mean, core, np.frombuffer(profile, dtype="<f8").astype(np.float64))
        for ms, mean, core, profile in bulk.rows(
            f"SELECT {bulk.instant_of('at')}, mc_mean_pct, mc_core_pct, profile_pct FROM checkpoint "
            "WHERE body_id = ? AND at >= ? AND at <= ? ORDER BY at",
            (body_id, bulk.instant(max(since, 0) * HOUR_MS), bulk.instant(until * HOUR_MS)),
        )
    ]
