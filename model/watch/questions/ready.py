"""Whether a stack is ready for where it goes, and when it will be: the one answer. Pure functions of numbers.

The watch computes it and stores it with the stack's verdict; every page, command and glue-up reads it there.
A stack is ready when its mean lies within a point of its target and moves less than 0.3 a week, and its core
lies within a point of its face (common practice, no source). When it becomes so is asked of plausible years
by the same rule (`ready_rule`). It isn't called ready before that has two chances in three, for what is not
known of the wood: panels cut too early crack, those cut late cost days (`deploy/docs/science.md`).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.records.schema.types import from_epoch_ms
from model.watch.air.air_hours import HOUR_MS
from model.watch.questions.ready_rule import StackDay, fulfils, slopes, uneven_pct
from model.watch.state.hysteresis import EASY, NEAR, PAST, STANDINGS
from model.watch.tell.verdicts import (
    READY_WITHIN_PCT,
    STEADY_PCT_A_WEEK,
    UNKNOWN,
    USABLE_WITHIN_PCT,
    AirThen,
    Judged,
    air_reason,
    known_age_h,
)
from model.wood.air.sorption import SETTLES_SD_PCT
from model.wood.reason import Reason

Floats = NDArray[np.float64]

CLEAR_BY_PCT = 0.3
"""By how much clearer than it is entered a verdict is left."""
CASEWORK_MOST_PCT = 9.0
"""Casework is built at no more: a house that is damp now may be heated later (common practice, no source)."""
WIDE_FACTOR, WIDE_DAYS = 3.0, 42
"""A window whose end is so many times its beginning, and so many days away, is no date."""
NEVER, LIKELY = 0.1, 0.5
"""In fewer of the plausible years than this it never gets there, or more likely not than so."""
SURE = 0.65
"""The chance from which on a stack is called ready: about two in three, so little below that a second reading
that agrees with the first is enough."""


class Target(NamedTuple):
    """The moisture content a stack should have.

    Attributes
    ----------
    mc_pct : float
        NaN where it isn't known [%].
    whose : Reason
        For where.
    cap : Reason or None
        Of a target that was capped.
    """

    mc_pct: float
    whose: Reason
    cap: Reason | None = None

    @classmethod
    def of_home(cls, place: str, year_pct: float) -> "Target":
        """The mean of a destination's year, not above what casework is built at."""
        if year_pct > CASEWORK_MOST_PCT:
            cap = Reason("cap", {"place": place, "year_pct": year_pct})
            return cls(CASEWORK_MOST_PCT, Reason("target-casework", {"target_pct": CASEWORK_MOST_PCT}), cap)
        return cls(year_pct, Reason("target-home", {"place": place, "target_pct": year_pct}))

    @classmethod
    def of_air(cls, place: str, emc_pct: float) -> "Target":
        """The air a stack stands in, where no destination is recorded."""
        return cls(emc_pct, Reason("target-air", {"place": place, "target_pct": emc_pct}))


# ---------------------------------------------------------------- now


class StackStanding(NamedTuple):
    """How a stack stands, and since which hour."""

    level: int
    since: int


def stack_standings(
    days: Sequence[StackDay], before: StackStanding | None = None
) -> list[StackStanding | None]:
    """How a stack stands at each of some instants, from how it stood before; none while it is not known.

    Easy is ready; near is off by no more than a maker can use with care. Ready is left when clearly off;
    while the air is unknown nothing changes.
    """
    found: list[StackStanding | None] = []
    now = before
    for day in days:
        if not math.isnan(day.target_pct) and (now is None or day.heard):
            level = _level(day, None if now is None else now.level)
            if now is None or level != now.level:
                now = StackStanding(level, day.hour)
        found.append(now)
    return found


def _level(day: StackDay, before: int | None) -> int:
    slack = CLEAR_BY_PCT if before == EASY else 0.0
    sure = before == EASY or day.chance >= SURE
    if sure and not day.resting and day.fulfils(slack):
        return EASY
    usable = USABLE_WITHIN_PCT - (CLEAR_BY_PCT if before == PAST else 0.0)
    return NEAR if abs(day.off_pct) <= usable else PAST


# ---------------------------------------------------------------- when


@dataclass(frozen=True)
class Window:
    """When a stack becomes ready where it stands, over plausible years.

    Attributes
    ----------
    from_hour : int
        From which the days count.
    share : float
        Of the years, those in which it does within the days looked at.
    low_days, high_days : int or None
        To the 10th and 90th percentile of all years; None where fewer ever do.
    air_off_pct : float
        What the air of the coming year would bring wood to, less the target [points].
    spell_off_pct : float
        The same of the last five days' air.
    """

    from_hour: int
    share: float
    low_days: int | None
    high_days: int | None
    air_off_pct: float
    spell_off_pct: float

    @property
    def likely(self) -> bool:
        """Whether it becomes ready in more years than not."""
        return self.share >= LIKELY and self.low_days is not None

    @property
    def wide(self) -> bool:
        """Whether the window is too wide to be a date."""
        if self.high_days is None:
            return True
        return self.high_days > WIDE_DAYS and self.high_days > WIDE_FACTOR * (self.low_days or 0)


def window_of(
    from_hour: int,
    mc_pct: Floats,
    core_pct: Floats,
    target_pct: Floats | float,
    week_before: Floats,
    air_pct: Floats,
    spell_pct: float,
    rest_hour: int = 0,
) -> Window:
    """When the rule is met first, in each of some plausible years.

    Parameters
    ----------
    mc_pct, core_pct, air_pct : (days, years)
        Mean and core, and the EMC of the air, at the end of each day [%].
    target_pct : float or (days, years)
    week_before : (7, years)
        The mean at each of the seven midnights up to `from_hour`, oldest first [%]; NaN where not known.
    spell_pct : float
        EMC of the last five days [%].
    rest_hour : int
        It isn't ready before.
    """
    slope = slopes(np.concatenate([week_before, mc_pct]))[7:]
    good = fulfils(mc_pct - target_pct, slope, uneven_pct(mc_pct, core_pct))
    good[: max(-(-(rest_hour - from_hour) // 24) - 1, 0)] = False
    first = np.sort(np.where(good.any(axis=0), np.argmax(good, axis=0) + 1.0, np.inf))
    low, high = (float(first[math.ceil(part * len(first)) - 1]) for part in (0.1, 0.9))
    target_then = target_pct if isinstance(target_pct, float) else float(np.mean(target_pct[0]))
    return Window(
        from_hour,
        float(np.isfinite(first).mean()),
        None if math.isinf(low) else int(low),
        None if math.isinf(high) else int(high),
        float(np.mean(air_pct - target_pct)),
        spell_pct - target_then,
    )


# ---------------------------------------------------------------- the answer


@dataclass(frozen=True)
class Where:
    """Where a stack stands and how it is piled: what an answer says beside its numbers.

    Attributes
    ----------
    rest_until : str
        The day its rest is over, as 2026-03-12.
    cautions : tuple of Reason
        What a maker has to know of its boards, ready or not.
    """

    place: str
    kind: str
    dead_piled: bool
    since_hour: int
    rest_until: str = ""
    cautions: tuple[Reason, ...] = ()


def judged_stack(
    last: StackDay, standing: StackStanding, target: Target, where: Where, window: Window | None, air: AirThen
) -> Judged:
    """Whether a stack is ready, from how it stands, with the whole answer as the reason's `ready`.

    Steady alone is not ready. `window` is None where nothing can be said of the days to come.
    """
    is_ready = standing.level == EASY and not air.unknown
    why = Reason("ready", stack_values(last, target)) if standing.level == EASY else why_not(last, target)
    also: list[Reason] = []
    if last.resting:
        rests = Reason("rests", {**stack_values(last, target), "until_day": where.rest_until})
        if why.key == "not-a-day-yet":
            why = rests
        else:
            also.append(rests)
    never_here, days = False, None
    if air.unknown:
        also.append(Reason("last-known", {"was": why}))
        why = air_reason(air)
    elif not is_ready and window is not None:
        never_here = not window.likely and abs(window.air_off_pct) > READY_WITHIN_PCT
        days = (window.low_days, window.high_days) if window.likely else None
        also.append(when_ready(last, where, window, never_here))
        if days is not None:
            also.append(Reason("settles-off", {"settles_pct": SETTLES_SD_PCT}))
    if standing.level != EASY and where.dead_piled:
        also.append(Reason("dead-piled"))
    if target.cap:
        also.append(target.cap)
    also += where.cautions
    from_at, until_at = (
        None if days is None or window is None or day is None else _instant(window.from_hour, day)
        for day in days or (None, None)
    )
    values: dict[str, Any] = {
        **stack_values(last, target),
        **why.values,
        "age_h": known_age_h(air),
        "also": tuple(also),
        "ready": ready_document(is_ready, never_here, from_at, until_at, last.target_pct),
    }
    if air.unknown:
        values["last_verdict"] = STANDINGS[standing.level]
        return Judged(UNKNOWN, max(air.unknown_since, where.since_hour), Reason(why.key, values))
    return Judged(STANDINGS[standing.level], standing.since, Reason(why.key, values))


def unknown_stack(since_hour: int, reason: Reason) -> Judged:
    """A stack of which nothing can be said yet, and why."""
    ready = ready_document(False, False, None, None, None)
    return Judged(UNKNOWN, since_hour, Reason(reason.key, {**reason.values, "ready": ready}))


def ready_document(
    is_ready: bool, never_here: bool, from_at: str | None, until_at: str | None, target_mc_pct: float | None
) -> dict[str, Any]:
    """The answer as it is stored; instants as text."""
    return {
        "is_ready": is_ready,
        "never_here": never_here,
        "from_at": from_at,
        "until_at": until_at,
        "target_mc_pct": None if target_mc_pct is None else round(target_mc_pct, 2),
    }


def stack_values(day: StackDay, target: Target) -> dict[str, Any]:
    """The numbers of a stack that its reasons speak of."""
    return {
        "mc_pct": day.mc_pct,
        "target_pct": day.target_pct,
        "off_pct": day.off_pct,
        "slope_pct_a_week": None if math.isnan(day.slope_pct_a_week) else day.slope_pct_a_week,
        "core_to_face_pct": day.uneven_pct,
        "chance_pct": 100.0 * day.chance,
        "target": target.whose,
    }


def why_not(day: StackDay, target: Target) -> Reason:
    """Why a stack is not ready."""
    if abs(day.off_pct) > READY_WITHIN_PCT:
        key = "off-target"
    elif day.uneven_pct > READY_WITHIN_PCT:
        key = "uneven-core"
    elif day.fulfils() and day.chance < SURE:
        key = "not-sure-yet"
    else:
        key = "still-moving" if abs(day.slope_pct_a_week) >= STEADY_PCT_A_WEEK else "not-a-day-yet"
    return Reason(key, stack_values(day, target))


def when_ready(day: StackDay, where: Where, window: Window, never_here: bool) -> Reason:
    """When a stack that isn't ready will be, or why no date is given."""
    if never_here:
        damp = window.air_off_pct > 0.0
        far = abs(day.off_pct) > READY_WITHIN_PCT and (day.off_pct > 0.0) != damp
        will, does = "never" if window.share < NEVER else "hardly", "stays" if far else "gets"
        return Reason(f"{will}-{does}-there", {"air_off_pct": window.air_off_pct, "kind": where.kind})
    if not window.likely:
        return Reason("not-within-a-year", {"kind": where.kind})
    low = window.low_days or 1
    if not window.wide:
        return Reason("ready-when", {"low_days": low, "high_days": window.high_days})
    turns = abs(window.spell_off_pct) > READY_WITHIN_PCT
    decides = Reason(
        "air-must-turn" if turns else "air-decides",
        {"place": where.place, "spell_off_pct": window.spell_off_pct},
    )
    return Reason(
        "ready-perhaps-soon" if low < 7 else "ready-not-before", {"from_days": low, "decides": decides}
    )


def _instant(hour: int, days: int) -> str:
    return from_epoch_ms((hour + 24 * days) * HOUR_MS).isoformat()
