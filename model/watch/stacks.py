"""Stacks now: their course from the checkpoints, whether they are ready, and what is told of them.

A stack is judged by its midnights, so that a day's stove and a night's damp don't make it ready and not ready
by turns, and at once when it was metered since. Two things are told, from the
midnights alone: that it has become ready, this week; and that it drifts away from where it is to be, the
same morning.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from model.watch.air_hours import HOUR_MS
from model.watch.bulk import Bulk
from model.watch.climate import Climate
from model.watch.daily import DAY_H, Days
from model.watch.roster import Owner
from model.watch.stack_verdicts import (
    CLEAR_BY_PCT,
    StackDay,
    StackStanding,
    off_in_words,
    stack_standings,
    verdict_of_stack,
)
from model.watch.standing import EASY, STANDINGS
from model.watch.verdicts import READY_WITHIN_PCT, AirThen, Judged, sentence
from model.watch.warnings import Episode

WEEK_H = 7 * DAY_H
FIVE_DAYS = 5
DRIFTS_PCT_A_WEEK = 0.5
"""Farther from its target by this much than a week before is drifting (common practice, no source)."""
NEWS_FOR_H = WEEK_H
"""That a stack is ready stands open as news for a week."""


@dataclass(frozen=True)
class StackHistory:
    """A stack's midnights up to one, how it stood at the last of them, and what was told."""

    until: int
    days: tuple[StackDay, ...]
    standing: StackStanding | None
    target_pct: float
    target_is: str
    episodes: tuple[Episode, ...]


@dataclass(frozen=True)
class StackAsIs:
    """A stack at its last hour, how it stands, and what it is judged against.

    Attributes
    ----------
    target_is : str
        Whose moisture the target is, in words.
    place_emc_pct : float
        What the air of five days where it stands would bring it to [%].
    """

    day: StackDay
    standing: StackStanding
    target_is: str
    place_emc_pct: float


def stack_history(
    bulk: Bulk, owner: Owner, hour: int, climates: Mapping[int, Climate], days_of: Mapping[int, Days]
) -> StackHistory:
    """The course of a stack up to the last midnight.

    Parameters
    ----------
    days_of : mapping of place id to Days
    """
    (body,) = owner.bodies
    until = hour // DAY_H * DAY_H
    rows = [row for row in _rows(bulk, body.id, owner.start_hour, until) if row[0] % DAY_H == 0]
    mean_at = {at: mean for at, mean, _ in rows}
    *targets, (target, target_is) = _targets(owner, [*(at for at, _, _ in rows), until], climates, days_of)
    days = tuple(
        StackDay(at, mean, core, target, mean_at.get(at - WEEK_H, math.nan), _heard(owner, at, climates))
        for (at, mean, core), (target, _) in zip(rows, targets, strict=True)
    )
    standings = stack_standings(days)
    told = _episodes(owner, days, standings, [is_ for _, is_ in targets], until)
    return StackHistory(until, days, standings[-1] if standings else None, target, target_is, tuple(told))


def stack_as_it_is(
    bulk: Bulk, owner: Owner, hour: int, climates: Mapping[int, Climate], heard: bool, history: StackHistory
) -> StackAsIs | None:
    """A stack at an hour, from its history up to the last midnight; None where nothing is known of it."""
    (body,) = owner.bodies
    place_id = owner.place_at(max(hour - 1, owner.start_hour))
    here = climates.get(place_id) if place_id is not None else None
    emc_pct = here.mean_emc_pct(hour - FIVE_DAYS * DAY_H, hour) if here is not None else math.nan
    target, target_is = history.target_pct, history.target_is
    if math.isnan(target) and here is not None:
        target, target_is = emc_pct, f"the air of {here.place.name} ({emc_pct:.1f} %)"
    latest = _rows(bulk, body.id, history.until, hour)
    if not latest or math.isnan(target):
        return None
    at, mean, core = latest[-1]
    week_ago = next((day.mc_pct for day in history.days if day.hour == history.until - WEEK_H), math.nan)
    now = StackDay(at, mean, core, target, week_ago, heard)
    standing = history.standing
    if standing is None or any(metered > history.until for metered, _, _ in body.moistures):
        (standing,) = stack_standings([now], standing)
    assert standing is not None
    return StackAsIs(now, standing, target_is, emc_pct)


def stack_now(
    bulk: Bulk, owner: Owner, hour: int, climates: Mapping[int, Climate], air: AirThen, history: StackHistory
) -> Judged:
    """The verdict of a stack, from its history up to the last midnight."""
    found = stack_as_it_is(bulk, owner, hour, climates, not air.unknown, history)
    if found is None:
        reason = "No air is known yet to compare it with"
        return Judged("unknown", owner.start_hour, reason, {"key": "no-air"})
    (body,) = owner.bodies
    return verdict_of_stack(
        found.day, found.standing, found.place_emc_pct, body.time_constant_h, found.target_is, air
    )


def _targets(
    owner: Owner, hours: Sequence[int], climates: Mapping[int, Climate], days_of: Mapping[int, Days]
) -> list[tuple[float, str]]:
    """The moisture content a stack is to have, and whose it is, as far as it was known at some midnights.

    What the air of its destination leads to through a year; without a destination that of five days where it
    stands.
    """
    if owner.destination_id in climates:
        assert owner.destination_id is not None
        home = climates[owner.destination_id]
        return [
            (mean, f"{home.place.name} through the year ({mean:.1f} %)") for mean in home.year_emc_pct(hours)
        ]
    found = []
    for hour in hours:
        place_id = owner.place_at(max(hour - 1, owner.start_hour))
        if place_id is None or place_id not in days_of:
            found.append((math.nan, ""))
            continue
        mean = days_of[place_id].mean_emc_pct(hour // DAY_H - FIVE_DAYS, hour // DAY_H)
        found.append((mean, f"the air of {climates[place_id].place.name} ({mean:.1f} %)"))
    return found


def _heard(owner: Owner, hour: int, climates: Mapping[int, Climate]) -> bool:
    place_id = owner.place_at(max(hour - 1, owner.start_hour))
    climate = climates.get(place_id) if place_id is not None else None
    return climate is not None and int(climate.age_h(np.array([hour]))[0]) <= climate.silent_after_h


def _episodes(
    owner: Owner,
    days: Sequence[StackDay],
    standings: Sequence[StackStanding | None],
    targets_are: Sequence[str],
    midnight: int,
) -> list[Episode]:
    """What is told of a stack, from its midnights up to one."""
    found = []
    drifting: Episode | None = None
    for k, (day, now) in enumerate(zip(days, standings, strict=True)):
        before = standings[k - 1] if k else None
        if now is None:
            continue
        if before is not None and now.level == EASY and before.level != EASY:
            left = next((one.since for one in standings[k:] if one and one.level != EASY), math.inf)
            ended = min(left, day.hour + NEWS_FOR_H, owner.until)
            closed = int(ended) if ended <= midnight else None
            reason = f"ready: {off_in_words(day, targets_are[k])}, even and steady"
            found.append(_episode(owner, "ready", "week", before.level, EASY, reason, day, closed))
        if owner.destination_id is None:
            continue  # its target is the very air it follows
        further = abs(day.off_pct) - abs(day.week_ago_pct - day.target_pct)
        off = off_in_words(day, targets_are[k])
        is_off = abs(day.off_pct) > READY_WITHIN_PCT
        if drifting is None and day.heard and is_off and further >= DRIFTS_PCT_A_WEEK:
            reason = f"drifting away: {off}, {further:.1f} more than a week before"
            drifting = _episode(owner, "drift", "morning", EASY, max(now.level, 1), reason, day, None)
        elif drifting is not None and (further <= 0.0 or abs(day.off_pct) <= READY_WITHIN_PCT - CLEAR_BY_PCT):
            found.append(replace(drifting, closed_ms=day.hour * HOUR_MS))
            drifting = None
    if drifting is not None:
        over = owner.until <= midnight
        found.append(replace(drifting, closed_ms=owner.until * HOUR_MS) if over else drifting)
    return found


def _episode(
    owner: Owner,
    limit: str,
    tier: str,
    before: int,
    after: int,
    reason: str,
    day: StackDay,
    closed: int | None,
) -> Episode:
    return Episode(
        "stack", owner.id, limit, tier, STANDINGS[before], STANDINGS[after], sentence(reason),
        {"key": limit, "stack": owner.name, "mc_pct": day.mc_pct, "target_pct": day.target_pct},
        day.hour * HOUR_MS, closed_ms=None if closed is None else closed * HOUR_MS,
    )  # fmt: skip


def _rows(bulk: Bulk, body_id: int, since: int, until: int) -> list[tuple[int, float, float]]:
    """Hour, mean and core of a body's records from one hour to another, both included."""
    return [
        (int(ms) // HOUR_MS, mean, core)
        for ms, mean, core in bulk.rows(
            f"SELECT {bulk.instant_of('at')}, mc_mean_pct, mc_core_pct FROM checkpoint "
            "WHERE body_id = ? AND at >= ? AND at <= ? ORDER BY at",
            (body_id, bulk.instant(max(since, 0) * HOUR_MS), bulk.instant(until * HOUR_MS)),
        )
    ]
