"""Whether a stack is ready for where it goes, and when it will be: the one answer. Pure functions of numbers.

The watch computes it and stores it with the stack's verdict; every page, command and glue-up reads it there.
A stack is ready when its mean lies within a point of its target and moves less than 0.3 a week, and its core
lies within a point of its face (common practice, no source). When it becomes so is asked of plausible years
by the same rule.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from model.records.types import from_epoch_ms
from model.watch.air_hours import HOUR_MS
from model.watch.answer import counted, days_said
from model.watch.standing import EASY, NEAR, PAST, STANDINGS
from model.watch.verdicts import (
    READY_WITHIN_PCT,
    STEADY_PCT_A_WEEK,
    UNKNOWN,
    USABLE_WITHIN_PCT,
    AirThen,
    Detail,
    Judged,
    air_reason,
    sentence,
)

Floats = NDArray[np.float64]

CLEAR_BY_PCT = 0.3
"""By how much clearer than it is entered a verdict is left."""
CASEWORK_MOST_PCT = 9.0
"""Casework is built at no more: a house that is damp now may be heated later (common practice, no source)."""
LEAST_SLOPE_DAYS = 2
WIDE_FACTOR, WIDE_DAYS = 3.0, 42
"""A window whose end is so many times its beginning, and so many days away, is no date."""
NEVER, LIKELY = 0.1, 0.5
"""In fewer of the plausible years than this it never gets there, or more likely not than so."""
HERE = {"shop": "this shop", "storage": "this store", "home": "this house"}


class Target(NamedTuple):
    """The moisture content a stack should have.

    Attributes
    ----------
    mc_pct : float
        NaN where it isn't known [%].
    whose : str
        For where, in words.
    note : str
        A sentence on a target that was capped; else empty.
    """

    mc_pct: float
    whose: str
    note: str = ""

    @classmethod
    def of_home(cls, place: str, year_pct: float) -> "Target":
        """The mean of a destination's year, not above what casework is built at."""
        if year_pct > CASEWORK_MOST_PCT:
            averages = f"{place} averages {year_pct:.1f} % through its year"
            note = f"{averages}: build at 8 to 9 % and leave room to swell"
            return cls(CASEWORK_MOST_PCT, f"casework ({CASEWORK_MOST_PCT:g} %)", note)
        return cls(year_pct, f"{place} ({year_pct:.1f} % through its year)")

    @classmethod
    def of_air(cls, place: str, emc_pct: float) -> "Target":
        """The air a stack stands in, where no destination is recorded."""
        return cls(emc_pct, f"the air of {place} ({emc_pct:.1f} %)")


@dataclass(frozen=True)
class StackDay:
    """A stack at an instant.

    Attributes
    ----------
    mc_pct, core_pct : float
        Mean and core [%].
    target_pct : float
        What it should have, as far as it was known then [%]; NaN where nothing was.
    slope_pct_a_week : float
        How its mean moves [points a week]; NaN in its first days.
    week_ago_pct : float
        Its mean a week before [%]; NaN where it wasn't followed then, or was metered since.
    heard : bool
        Whether the air where it stands was known.
    """

    hour: int
    mc_pct: float
    core_pct: float
    target_pct: float
    slope_pct_a_week: float = math.nan
    week_ago_pct: float = math.nan
    heard: bool = True

    @property
    def off_pct(self) -> float:
        return self.mc_pct - self.target_pct

    @property
    def uneven_pct(self) -> float:
        return float(uneven_pct(self.mc_pct, self.core_pct))


def uneven_pct(mc_pct: Any, core_pct: Any) -> Any:
    """Core to face, for a profile as drying makes it: a parabola, whose mean lies a third below its core.

    The face itself follows each day's stove and each night's damp, which says nothing of the stack.
    """
    return 3.0 * np.abs(core_pct - mc_pct)


def fulfils(off_pct: Any, slope_pct_a_week: Any, uneven: Any, slack_pct: float = 0.0) -> Any:
    """Whether level, slope and core to face are what a maker accepts; an unknown slope decides nothing."""
    steady = np.isnan(slope_pct_a_week) | (np.abs(slope_pct_a_week) < STEADY_PCT_A_WEEK + slack_pct)
    level = np.abs(off_pct) <= READY_WITHIN_PCT + slack_pct
    return level & steady & (uneven <= READY_WITHIN_PCT + slack_pct)


def slopes(mc_pct: Floats) -> Floats:
    """How a mean moves at each midnight, over the week before or as much of it as is known [points a week].

    Parameters
    ----------
    mc_pct : (midnights, ...)
        NaN before it was known; NaN comes back where fewer than `LEAST_SLOPE_DAYS` days lie before.
    """
    found = np.full_like(mc_pct, np.nan)
    for back in range(LEAST_SLOPE_DAYS, 8):  # the longest stretch that is known counts
        change = (mc_pct[back:] - mc_pct[:-back]) * 7.0 / back
        found[back:] = np.where(np.isfinite(change), change, found[back:])
    return found


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
    if fulfils(day.off_pct, day.slope_pct_a_week, day.uneven_pct, slack):
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
    week_before: Sequence[float],
    air_pct: Floats,
    spell_pct: float,
) -> Window:
    """When the rule is met first, in each of some plausible years.

    Parameters
    ----------
    mc_pct, core_pct, air_pct : (days, years)
        Mean and core, and the EMC of the air, at the end of each day [%].
    target_pct : float or (days, years)
    week_before : seven floats
        The mean at each of the seven midnights up to `from_hour`, oldest first [%]; NaN where not known.
    spell_pct : float
        EMC of the last five days [%].
    """
    before = np.repeat(np.asarray(week_before, dtype=np.float64)[:, None], mc_pct.shape[1], axis=1)
    slope = slopes(np.concatenate([before, mc_pct]))[7:]
    good = fulfils(mc_pct - target_pct, slope, uneven_pct(mc_pct, core_pct))
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
    """Where a stack stands and how it is piled: what an answer says beside its numbers."""

    place: str
    kind: str
    dead_piled: bool
    since_hour: int


def judged_stack(
    last: StackDay, standing: StackStanding, target: Target, where: Where, window: Window | None, air: AirThen
) -> Judged:
    """Whether a stack is ready, from how it stands, with the whole answer as `detail["ready"]`.

    Steady alone is not ready. `window` is None where nothing can be said of the days to come.
    """
    is_ready = standing.level == EASY and not air.unknown
    says = f"ready: {last.mc_pct:.1f} %, even and steady, for {target.whose}"
    if standing.level != EASY:
        says = why_not(last, target)
    parts = [says]
    never_here, days = False, None
    if air.unknown:
        parts = [f"{air_reason(air)}; last known: {says}"]
    elif not is_ready and window is not None:
        never_here = not window.likely and abs(window.air_off_pct) > READY_WITHIN_PCT
        days = (window.low_days, window.high_days) if window.likely else None
        parts.append(when_in_words(last, where, window, never_here))
    if standing.level != EASY and where.dead_piled:
        parts.append("it is dead-piled, so only its outside moves: sticker it")
    if target.note:
        parts.append(target.note)
    reason = ". ".join(sentence(one) for one in parts)
    detail: Detail = {
        "key": ("ready", "nearly", "not-ready")[standing.level],
        "mc_pct": last.mc_pct,
        "target_pct": last.target_pct,
        "slope_pct_a_week": None if math.isnan(last.slope_pct_a_week) else last.slope_pct_a_week,
        "core_to_face_pct": last.uneven_pct,
        "age_h": air.age_h if air.place is not None and air.age_h < 1 << 30 else None,
    }
    if air.unknown:
        detail |= {"key": "unknown", "last_verdict": STANDINGS[standing.level]}
    from_at, until_at = (
        None if days is None or window is None or day is None else _instant(window.from_hour, day)
        for day in days or (None, None)
    )
    detail["ready"] = ready_document(is_ready, never_here, reason, from_at, until_at, last.target_pct)
    if air.unknown:
        return Judged(UNKNOWN, max(air.unknown_since, where.since_hour), reason, detail)
    return Judged(STANDINGS[standing.level], standing.since, reason, detail)


def unknown_stack(since_hour: int, reason: str) -> Judged:
    """A stack of which nothing can be said yet, and why."""
    detail = {"key": "no-air", "ready": ready_document(False, False, reason, None, None, None)}
    return Judged(UNKNOWN, since_hour, reason, detail)


def ready_document(
    is_ready: bool,
    never_here: bool,
    reason: str,
    from_at: str | None,
    until_at: str | None,
    target_mc_pct: float | None,
) -> Detail:
    """The answer as it is stored; instants as text."""
    return {
        "is_ready": is_ready,
        "never_here": never_here,
        "reason": reason,
        "from_at": from_at,
        "until_at": until_at,
        "target_mc_pct": None if target_mc_pct is None else round(target_mc_pct, 2),
    }


def off_in_words(off_pct: float, whose: str) -> str:
    """How far a stack is from its target: `3.5 points too wet for the flat (7.7 % through its year)`."""
    return f"{abs(off_pct):.1f} points too {'wet' if off_pct > 0 else 'dry'} for {whose}"


def why_not(day: StackDay, target: Target) -> str:
    """Why a stack is not ready."""
    where = f"{day.mc_pct:.1f} %, {off_in_words(day.off_pct, target.whose)}"
    if abs(day.off_pct) > READY_WITHIN_PCT:
        return where
    where = f"{day.mc_pct:.1f} %, right for {target.whose}"
    if day.uneven_pct > READY_WITHIN_PCT:
        return f"{where}, but the core is still {day.uneven_pct:.1f} points from the face"
    if abs(day.slope_pct_a_week) >= STEADY_PCT_A_WEEK:
        return f"{where}, but still moving {abs(day.slope_pct_a_week):.1f} points a week"
    return f"{where}, but not for a whole day yet"


def when_in_words(day: StackDay, where: Where, window: Window, never_here: bool) -> str:
    """When a stack that isn't ready will be, or why no date is given."""
    here = HERE.get(where.kind, "this place")
    if never_here:
        damp = window.air_off_pct > 0.0
        far = abs(day.off_pct) > READY_WITHIN_PCT and (day.off_pct > 0.0) != damp
        will = "will never" if window.share < NEVER else "will probably not"
        does = f"{will} stay there" if far else f"{will} get there"
        return f"too {'damp' if damp else 'dry'}: it {does} in {here}; move it to {_other_air(damp)} air"
    if not window.likely:
        return f"not within a year in {here}"
    low, high = window.low_days or 1, window.high_days
    if not window.wide:
        return f"ready {days_said((low, high))} here"
    decides = f"how the air of {where.place} turns decides it"
    if abs(window.spell_off_pct) > READY_WITHIN_PCT:
        decides = f"the air of {where.place} has to turn {_other_air(window.spell_off_pct > 0.0)} first"
    begins = "perhaps within days" if low < 7 else f"not before {counted(low)} from now"
    return f"{begins}: {decides}"


def _other_air(damp: bool) -> str:
    return "drier" if damp else "damper"


def _instant(hour: int, days: int) -> str:
    return from_epoch_ms((hour + 24 * days) * HOUR_MS).isoformat()
