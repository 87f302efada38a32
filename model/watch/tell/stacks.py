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
from numpy.typing import NDArray

from model.records.bulk import Bulk
from model.watch.air.air_hours import HOUR_MS
from model.watch.air.climate import Climate
from model.watch.air.daily import DAY_H, Days
from model.watch.air.places import air_then
from model.watch.questions.ready import (
    CLEAR_BY_PCT,
    StackStanding,
    Target,
    Where,
    Window,
    judged_stack,
    stack_standings,
    stack_values,
    unknown_stack,
    window_of,
)
from model.watch.questions.ready_rule import StackDay, slopes
from model.watch.state import read_back as resume
from model.watch.state.hysteresis import EASY, STANDINGS
from model.watch.state.outlook import DAYS, YEARS, YearScores, look_ahead
from model.watch.state.outlook_request import OutlookRequest
from model.watch.state.roster import Assembly
from model.watch.state.snapshot import emc_ahead
from model.watch.tell.stack_course import StackCourse, chances_of, course_of, rows_of
from model.watch.tell.verdicts import READY_WITHIN_PCT, AirThen, Judged
from model.watch.tell.warnings import Episode
from model.wood.air.sorption import equilibrium_moisture_content
from model.wood.material.instruments import METER_UNCERTAINTY_PCT
from model.wood.reason import Reason

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
    target: Target
    episodes: tuple[Episode, ...]


@dataclass(frozen=True)
class StackAsIs:
    """A stack at its last hour, how it stands, and what it is judged against.

    Attributes
    ----------
    from_hour : int
        The hour that its coming days are counted from.
    course : StackCourse
        Up to then.
    as_learned : Assembly
        The stack as what was measured on it has taught of it up to then.
    """

    day: StackDay
    standing: StackStanding
    target: Target
    place_id: int
    from_hour: int
    course: StackCourse
    as_learned: Assembly


def stack_history(
    bulk: Bulk, owner: Assembly, hour: int, climates: Mapping[int, Climate], days_of: Mapping[int, Days]
) -> StackHistory:
    """The course of a stack up to the last midnight.

    Parameters
    ----------
    days_of : mapping of place id to Days
    """
    (body,) = owner.bodies
    until = hour // DAY_H * DAY_H
    rows = [row for row in rows_of(bulk, body.id, owner.start_hour, until) if row[0] % DAY_H == 0]
    mean_at = {at: mean for at, mean, _, _ in rows}
    *targets, target = _targets(owner, [*(row[0] for row in rows), until], climates, days_of)
    courses = [row[:3] for row in rows]
    sure = chances_of(owner, courses, [wanted.mc_pct for wanted in targets])
    days = tuple(
        StackDay(
            at,
            mean,
            core,
            wanted.mc_pct,
            *_moves(owner, mean_at, at),
            not air_then(owner, at, climates).unknown,
            at < _rest_hour(owner),
            chance,
        )
        for (at, mean, core, _), wanted, chance in zip(rows, targets, sure, strict=True)
    )
    standings = stack_standings(days)
    told = _episodes(owner, days, standings, targets, until)
    return StackHistory(until, days, standings[-1] if standings else None, target, tuple(told))


def _rest_hour(owner: Assembly) -> int:
    return 0 if owner.lumber is None else owner.lumber.rest_hour


def _week(owner: Assembly, mean_at: Mapping[int, float], at: int, days: int = 7) -> NDArray[np.float64]:
    """A stack's mean at midnights up to one, oldest first; NaN before it was metered, which moved no wood."""
    (body,) = owner.bodies
    since = max((metered for metered, _, _ in body.moistures if metered <= at), default=0)
    hours = [at - back * DAY_H for back in range(days, -1, -1)]
    return np.array([mean_at.get(hour, math.nan) if hour >= since else math.nan for hour in hours])


def _moves(owner: Assembly, mean_at: Mapping[int, float], at: int) -> tuple[float, float]:
    """A stack's slope at a midnight [points a week], and its mean a week before [%]; NaN where unknown."""
    week = _week(owner, mean_at, at)
    return float(slopes(week)[-1]), float(week[0])


def stack_as_it_is(
    bulk: Bulk,
    owner: Assembly,
    hour: int,
    climates: Mapping[int, Climate],
    heard: bool,
    history: StackHistory,
) -> StackAsIs | None:
    """A stack at an hour, from its history up to the last midnight; None where nothing is known of it."""
    (body,) = owner.bodies
    place_id = owner.place_at(max(hour - 1, owner.start_hour))
    here = climates.get(place_id) if place_id is not None else None
    target = history.target
    if math.isnan(target.mc_pct) and here is not None:
        target = Target.of_air(here.place.name, here.mean_emc_pct(hour - FIVE_DAYS * DAY_H, hour))
    latest = rows_of(bulk, body.id, history.until, hour)
    if not latest:  # it rests since the air was last heard of
        latest = rows_of(bulk, body.id, owner.start_hour, history.until)[-1:]
    if not latest or math.isnan(target.mc_pct) or place_id is None:
        return None
    at, mean, core, _ = latest[-1]
    mean_at = {day.hour: day.mc_pct for day in history.days}
    metered_since = any(metered > history.until for metered, _, _ in body.moistures)
    moves = (math.nan, math.nan) if metered_since else _moves(owner, mean_at, history.until)
    courses = [(day.hour, day.mc_pct, day.core_pct) for day in history.days if day.hour < at]
    wanted = [*(day.target_pct for day in history.days if day.hour < at), target.mc_pct]
    chance = chances_of(owner, [*courses, (at, mean, core)], wanted)[-1]
    if history.days and not metered_since:
        chance = history.days[-1].chance
    now = StackDay(at, mean, core, target.mc_pct, *moves, heard, at < _rest_hour(owner), chance)
    standing = history.standing
    if standing is None or metered_since:
        (standing,) = stack_standings([now], standing)
    assert standing is not None
    from_hour = at
    if latest[0][0] == history.until and not metered_since:  # the days ahead follow from whole days as well
        from_hour = history.until
    taught = resume.as_learned(owner, from_hour, resume.read_learned(bulk, [owner]))
    rows = rows_of(bulk, body.id, owner.start_hour, from_hour)
    rows = [row for row in rows if row[0] % DAY_H == 0 or row[0] == from_hour]
    return StackAsIs(now, standing, target, place_id, from_hour, course_of(owner, rows), taught)


def stack_windows(
    found: Mapping[int, tuple[Assembly, StackAsIs]], hour: int, climates: Mapping[int, Climate]
) -> dict[int, Window]:
    """When each of some stacks becomes ready where it stands, by its id; none where no air was measured.

    A stack without a destination is held against the air it will stand in then.
    """
    asked = [(owner, one) for owner, one in found.values() if len(climates[one.place_id].air)]
    midnight = hour // DAY_H * DAY_H
    airs = {id_: climate.air for id_, climate in climates.items()}
    requests, weeks = [], []
    for _, one in asked:
        (body,) = one.as_learned.bodies
        scores = YearScores.of(one.as_learned, YEARS)
        profiles, week = one.course.each_year(scores, body)
        weeks.append(week)
        requests.append(
            OutlookRequest(
                one.as_learned, one.from_hour, one.place_id, {body.name: profiles}, airs, each_year=True
            )
        )
    seasons = [climates[one.place_id].season(midnight) for _, one in asked]
    windows = {}
    years = look_ahead(requests, seasons, DAYS, YEARS)
    for (owner, one), week, ahead in zip(asked, weeks, years, strict=True):
        name, here = owner.bodies[0].name, climates[one.place_id]
        air_pct = np.asarray(equilibrium_moisture_content(ahead.air.temperature_c, ahead.air.rh_pct))
        target: NDArray[np.float64] | float = one.target.mc_pct
        if owner.destination_id not in climates:
            known = [
                here.mean_emc_pct(midnight - k * DAY_H, midnight - (k - 1) * DAY_H)
                for k in range(FIVE_DAYS - 1, 0, -1)
            ]
            target = air_pct = emc_ahead(ahead, np.array([pct for pct in known if pct == pct]))
        spell_pct = here.mean_emc_pct(midnight - FIVE_DAYS * DAY_H, max(midnight, here.air.first + 1))
        # Its target is where this wood settles in such air, which may be higher or lower than the equation.
        windows[owner.id] = window_of(
            one.from_hour,
            ahead.mc_pct[name] - ahead.settles_pct,
            ahead.core_pct[name] - ahead.settles_pct,
            target,
            week,
            air_pct,
            spell_pct,
            _rest_hour(owner),
        )
    return windows


def stack_now(
    owner: Assembly,
    found: StackAsIs | None,
    window: Window | None,
    air: AirThen,
    climates: Mapping[int, Climate],
) -> Judged:
    """The verdict of a stack, with its whole answer to whether it is ready."""
    if found is None:
        if air.place is None:
            return unknown_stack(owner.start_hour, Reason("no-place"))
        return unknown_stack(owner.start_hour, Reason("no-air-yet", {"place": air.place}))
    place = climates[found.place_id].place
    lumber, (body,) = owner.lumber, owner.bodies
    assert lumber is not None
    left = math.exp(-max(found.day.hour - body.start_hour, 0) / body.time_constant_h)
    cautions = [*lumber.cautions]
    if lumber.metered and not body.moistures and left * lumber.mc_doubt_pct > METER_UNCERTAINTY_PCT:
        why = lumber.metered.unsure()
        cautions.append(Reason("start-unsure", {"mc_doubt_pct": lumber.mc_doubt_pct, "why": why}))
    where = Where(
        place.name, place.kind, not lumber.stickered, owner.start_hour, lumber.rest_until, tuple(cautions)
    )
    return judged_stack(found.day, found.standing, found.target, where, window, air)


def _targets(
    owner: Assembly, hours: Sequence[int], climates: Mapping[int, Climate], days_of: Mapping[int, Days]
) -> list[Target]:
    """The moisture content a stack is to have, as far as it was known at some midnights.

    What the air of its destination leads to through a year; without a destination that of five days where it
    stands.
    """
    if owner.destination_id in climates:
        assert owner.destination_id is not None
        home = climates[owner.destination_id]
        return [Target.of_home(home.place.name, mean) for mean in home.year_emc_pct(hours)]
    found = []
    for hour in hours:
        place_id = owner.place_at(max(hour - 1, owner.start_hour))
        if place_id is None or place_id not in days_of:
            found.append(Target(math.nan, Reason("no-place")))
            continue
        mean = days_of[place_id].mean_emc_pct(hour // DAY_H - FIVE_DAYS, hour // DAY_H)
        found.append(Target.of_air(climates[place_id].place.name, mean))
    return found


def _episodes(
    owner: Assembly,
    days: Sequence[StackDay],
    standings: Sequence[StackStanding | None],
    targets: Sequence[Target],
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
            reason = Reason("ready", stack_values(day, targets[k]))
            found.append(_episode(owner, "week", before.level, EASY, reason, day, closed))
        if owner.destination_id is None:
            continue  # its target is the very air it follows
        further = abs(day.off_pct) - abs(day.week_ago_pct - day.target_pct)
        is_off = abs(day.off_pct) > READY_WITHIN_PCT
        if drifting is None and day.heard and is_off and further >= DRIFTS_PCT_A_WEEK:
            reason = Reason("drift", {**stack_values(day, targets[k]), "further_pct": further})
            drifting = _episode(owner, "morning", EASY, max(now.level, 1), reason, day, None)
        elif drifting is not None and (further <= 0.0 or abs(day.off_pct) <= READY_WITHIN_PCT - CLEAR_BY_PCT):
            found.append(replace(drifting, closed_ms=day.hour * HOUR_MS))
            drifting = None
    if drifting is not None:
        over = owner.until <= midnight
        found.append(replace(drifting, closed_ms=owner.until * HOUR_MS) if over else drifting)
    return found


def _episode(
    owner: Assembly, tier: str, before: int, after: int, reason: Reason, day: StackDay, closed: int | None
) -> Episode:
    return Episode(
        "stack", owner.id, reason.key, tier, STANDINGS[before], STANDINGS[after],
        {"stack": owner.name, **reason.document()}, day.hour * HOUR_MS,
        closed_ms=None if closed is None else closed * HOUR_MS,
    )  # fmt: skip
