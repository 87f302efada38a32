"""Whether a stack is ready for where it goes, by its own moisture day by day. Pure functions of numbers."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from model.watch.standing import EASY, NEAR, PAST, STANDINGS
from model.watch.verdicts import (
    LATER,
    READY_WITHIN_PCT,
    SOONER,
    STEADY_PCT_A_WEEK,
    UNKNOWN,
    USABLE_WITHIN_PCT,
    AirThen,
    Detail,
    Judged,
    air_reason,
    sentence,
)

CLEAR_BY_PCT = 0.3
"""By how much clearer than it is entered a verdict is left."""


@dataclass(frozen=True)
class StackDay:
    """A stack at an instant.

    Attributes
    ----------
    mc_pct, core_pct : float
        Mean and core [%].
    target_pct : float
        What it should have, as far as it was known then [%]; NaN where nothing was.
    week_ago_pct : float
        Its mean a week before [%]; NaN where it wasn't followed then.
    heard : bool
        Whether the air where it stands was known.
    """

    hour: int
    mc_pct: float
    core_pct: float
    target_pct: float
    week_ago_pct: float = math.nan
    heard: bool = True

    @property
    def off_pct(self) -> float:
        return self.mc_pct - self.target_pct

    @property
    def slope_pct_a_week(self) -> float:
        return self.mc_pct - self.week_ago_pct

    @property
    def uneven_pct(self) -> float:
        """Core to face, for a profile as drying makes it: a parabola, whose mean lies a third below its core.

        The face itself follows each day's stove and each night's damp, which says nothing of the stack.
        """
        return 3.0 * abs(self.core_pct - self.mc_pct)


class StackStanding(NamedTuple):
    """How a stack stands, and since which hour."""

    level: int
    since: int


def stack_standings(
    days: Sequence[StackDay], before: StackStanding | None = None
) -> list[StackStanding | None]:
    """How a stack stands at each of some instants, from how it stood before; none while it is not known.

    Easy is ready: level, slope and core to face all within what a maker accepts; near is usable with care.
    Ready is left when clearly off; while the air is unknown nothing changes.
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
    even = day.uneven_pct <= READY_WITHIN_PCT + slack
    steady = before == EASY or math.isnan(day.week_ago_pct) or abs(day.slope_pct_a_week) < STEADY_PCT_A_WEEK
    if abs(day.off_pct) <= READY_WITHIN_PCT + slack and even and steady:
        return EASY
    usable = USABLE_WITHIN_PCT - (CLEAR_BY_PCT if before == PAST else 0.0)
    return NEAR if abs(day.off_pct) <= usable else PAST


def verdict_of_stack(
    last: StackDay,
    standing: StackStanding,
    place_emc_pct: float,
    time_constant_h: float,
    target_is: str,
    air: AirThen,
) -> Judged:
    """Whether a stack is ready, from how it stands. Steady alone is not ready.

    Parameters
    ----------
    last : StackDay
        Now.
    standing : StackStanding
    place_emc_pct : float
        What the air where it stands would bring it to [%].
    time_constant_h : float
        About how long it takes to come within 37 % of that.
    target_is : str
        Whose moisture the target is, in words.
    air : AirThen
    """
    level = standing.level
    range_days = days_to_level(last.mc_pct, last.target_pct, place_emc_pct, time_constant_h)
    detail: Detail = {
        "key": ("ready", "nearly", "not-ready")[level],
        "ready": level == EASY,
        "mc_pct": last.mc_pct,
        "target_pct": last.target_pct,
        "place_emc_pct": None if math.isnan(place_emc_pct) else place_emc_pct,
        "slope_pct_a_week": None if math.isnan(last.week_ago_pct) else last.slope_pct_a_week,
        "core_to_face_pct": last.uneven_pct,
        "days": list(range_days) if range_days else None,
        "age_h": air.age_h if air.place is not None and air.age_h < 1 << 30 else None,
    }
    reason = _reason(level, last, target_is, range_days)
    if air.unknown:
        detail |= {"key": "unknown", "last_verdict": STANDINGS[level]}
        return Judged(UNKNOWN, air.unknown_since, f"{air_reason(air)}; last known: {reason}", detail)
    return Judged(STANDINGS[level], standing.since, sentence(reason), detail)


def off_in_words(day: StackDay, target_is: str) -> str:
    """How far a stack is from its target."""
    return f"{abs(day.off_pct):.1f} points {'wetter' if day.off_pct > 0 else 'drier'} than {target_is}"


def _reason(level: int, last: StackDay, target_is: str, range_days: tuple[int, int] | None) -> str:
    where = off_in_words(last, target_is)
    if level == EASY:
        return f"ready: {where}, even and steady"
    if abs(last.off_pct) <= READY_WITHIN_PCT + CLEAR_BY_PCT:
        if last.uneven_pct > READY_WITHIN_PCT:
            return f"{where}, but the core is still {last.uneven_pct:.1f} points from the face"
        if abs(last.slope_pct_a_week) >= STEADY_PCT_A_WEEK:
            return f"{where}, but still moving {abs(last.slope_pct_a_week):.1f} points a week"
        if abs(last.off_pct) <= READY_WITHIN_PCT:
            return f"{where}, not yet clearly even and steady"
    if range_days is None:
        return f"{where}, and the air of these days here will not bring it there"
    return f"{where}, about {range_days[0]} to {range_days[1]} more days here"


def days_to_level(
    mc_pct: float, target_pct: float, place_emc_pct: float, time_constant_h: float
) -> tuple[int, int] | None:
    """Days until within a point of a target in this air, as a range; none when it never will be."""
    if abs(mc_pct - target_pct) <= READY_WITHIN_PCT:
        return 0, 0
    bound = target_pct + math.copysign(READY_WITHIN_PCT, mc_pct - target_pct)
    whole, left = mc_pct - place_emc_pct, bound - place_emc_pct
    if math.isnan(whole) or whole == 0.0 or not 0.0 < left / whole < 1.0:
        return None
    days = time_constant_h / 24.0 * math.log(whole / left)
    return max(math.floor(SOONER * days), 1), max(math.ceil(LATER * days), 2)
