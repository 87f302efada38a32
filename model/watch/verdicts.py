"""How a fit, piece, stack, place or sensor stands now, with the reason in words.

Pure functions of numbers. A reason is a sentence with lengths in mm; `detail` carries its key and the
numbers behind it, so that a page can say it in the maker's own units.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from model.watch.standing import EASY, NEAR, NEAR_SHARE, PAST, STANDINGS

Detail = dict[str, Any]

UNKNOWN = "unknown"
# Worst first. An unknown fit outweighs an easy one: no all-clear on missing data.
RANK = {"past": 3, "near": 2, UNKNOWN: 1, "easy": 0}

# Ready is within a point of where it is going and still, through the whole thickness: common practice, no
# source; the printed advice is two points (Wood Handbook ch. 13).
READY_WITHIN_PCT = 1.0
USABLE_WITHIN_PCT = 2.0
STEADY_PCT_A_WEEK = 0.3
STACK_CLEAR_BY_PCT = 0.3
# Time constants are known to about this: "10 to 20 days" for 14.
SOONER, LATER = 0.7, 1.4
MOVING_PCT_IN_3_DAYS = 1.0


@dataclass(frozen=True)
class Judged:
    """A verdict with its reason; `since_hour` is when it became so, hours since 1970 UTC."""

    verdict: str
    since_hour: int
    reason: str
    detail: Detail = field(default_factory=dict)


class LimitNow(NamedTuple):
    """One limit of a fit at an instant."""

    name: str
    direction: str
    severity: str
    says: str
    margin_mm: float
    play_mm: float
    level: int
    since_hour: int
    crossing: Mapping[str, Any] | None = None


@dataclass(frozen=True)
class AirThen:
    """Whether the air where something stands is known: its place, and how old the last reading is."""

    place: str | None
    age_h: int
    silent_after_h: int
    hour: int

    @property
    def unknown(self) -> bool:
        return self.place is None or self.age_h > self.silent_after_h

    @property
    def unknown_since(self) -> int:
        return max(self.hour - self.age_h + self.silent_after_h, 0)


def verdict_of(limits: Sequence[LimitNow], air: AirThen, sd_pct: float = math.nan) -> Judged:
    """The verdict of a fit from how its limits stand and whether its air is known.

    Parameters
    ----------
    limits : sequence of LimitNow
        At least one.
    air : AirThen
    sd_pct : float
        One standard deviation of the members' moisture content [%].
    """
    worst = governing(limits)
    since = min(limit.since_hour for limit in limits if limit.level == worst.level)
    key, reason = limit_reason(worst)
    detail: Detail = {
        "key": key,
        "limit": worst.name,
        "direction": worst.direction,
        "severity": worst.severity,
        "says": worst.says,
        "margin_mm": worst.margin_mm,
        "play_mm": worst.play_mm,
        "crossing": dict(worst.crossing) if worst.crossing else None,
        "age_h": air.age_h if air.place is not None and air.age_h < 1 << 30 else None,
    }
    if not math.isnan(sd_pct):
        detail["mc_sd_pct"] = round(sd_pct, 3)
    if air.unknown:
        detail |= {"key": "unknown", "last_known": key, "last_verdict": STANDINGS[worst.level]}
        return Judged(UNKNOWN, air.unknown_since, f"{air_reason(air)}; last known: {reason}", detail)
    return Judged(STANDINGS[worst.level], since, sentence(reason), detail)


def governing(limits: Sequence[LimitNow]) -> LimitNow:
    """The limit that decides: the worst standing, then the least left of its play, then by name."""

    def left(limit: LimitNow) -> float:
        return limit.margin_mm / limit.play_mm if limit.play_mm > 0.0 else limit.margin_mm

    return min(limits, key=lambda limit: (-limit.level, left(limit), limit.name))


def limit_reason(limit: LimitNow) -> tuple[str, str]:
    """Key and clause of why a limit stands as it does."""
    says, left = limit.says.rstrip("."), f"{max(limit.margin_mm, 0.0):.1f} mm"
    if limit.level == PAST:
        if limit.margin_mm < 0.0:
            return "past", f"{says}: {-limit.margin_mm:.1f} mm past"
        return "past-easing", f"{says}: back by {left}, not yet clearly"
    if limit.level == NEAR:
        if limit.crossing is not None and limit.margin_mm >= NEAR_SHARE * limit.play_mm:
            return "foreseen", f"{says} {days_in_words(limit.crossing)}, {left} left now"
        if limit.margin_mm < NEAR_SHARE * limit.play_mm:
            return "near", f"{left} of {limit.play_mm:.1f} mm left until {says}"
        return "near-easing", f"{left} of {limit.play_mm:.1f} mm left until {says}, not yet clearly more"
    return "easy", f"{left} left until {says}"


def days_in_words(crossing: Mapping[str, Any]) -> str:
    """When a foreseen crossing comes, as a range."""
    low, high = crossing.get("low_days"), crossing.get("high_days")
    days = crossing.get("days")
    if low is not None and high is not None and round(high) > round(low):
        return f"in {round(low)} to {round(high)} days"
    return f"in about {round(days)} days" if days is not None else "soon"


def air_reason(air: AirThen) -> str:
    """Why the air is unknown."""
    if air.place is None:
        return "nobody said where it stands"
    if air.age_h >= 1 << 30:
        return f"no sensor has reported from {air.place} yet"
    return f"no reading from {air.place} for {hours_in_words(air.age_h)}"


def hours_in_words(hours: int) -> str:
    return f"{hours} hours" if hours < 48 else f"{hours // 24} days"


def sentence(clause: str) -> str:
    """A clause with its first letter large."""
    return clause[:1].upper() + clause[1:]


def verdict_of_piece(fits: Mapping[str, Judged], hour: int, problem: str = "") -> Judged:
    """The worst of a piece's fits, with the one that governs."""
    if problem:
        return Judged(UNKNOWN, hour, f"Its record can't be read: {problem}", {"key": "unreadable"})
    if not fits:
        return Judged(UNKNOWN, hour, "No fit is recorded, so no limit is watched", {"key": "no-fit"})

    def left(judged: Judged) -> float:
        play = judged.detail.get("play_mm") or 0.0
        margin: float = judged.detail.get("margin_mm", math.inf)
        return margin / play if play > 0.0 else margin

    name = min(fits, key=lambda name: (-RANK[fits[name].verdict], left(fits[name]), name))
    worst = fits[name]
    since = min(judged.since_hour for judged in fits.values() if judged.verdict == worst.verdict)
    return Judged(worst.verdict, since, worst.reason, {**worst.detail, "fit": name})


# ---------------------------------------------------------------- stacks


@dataclass(frozen=True)
class StackDay:
    """A stack at an instant, by its own moisture and what it had a week before."""

    hour: int
    mc_pct: float
    core_pct: float
    face_pct: float
    week_ago_pct: float = math.nan

    @property
    def slope_pct_a_week(self) -> float:
        return self.mc_pct - self.week_ago_pct

    @property
    def uneven_pct(self) -> float:
        return abs(self.core_pct - self.face_pct)


def verdict_of_stack(
    days: Sequence[StackDay],
    target_pct: float,
    place_emc_pct: float,
    time_constant_h: float,
    target_is: str,
    air: AirThen,
) -> Judged:
    """Whether a stack is ready, from its last weeks and where it is to go.

    Easy is ready: level, slope and core to face all within what a maker accepts. Near is usable with care.
    Steady alone is not ready.

    Parameters
    ----------
    days : sequence of StackDay
        Rising, the last is now.
    target_pct : float
        Moisture content it should have [%].
    place_emc_pct : float
        What the air where it stands would bring it to [%].
    time_constant_h : float
        About how long it takes to come within 37 % of that.
    target_is : str
        Whose moisture the target is, in words.
    """
    level, since = EASY, days[0].hour
    for position, day in enumerate(days):
        off = abs(day.mc_pct - target_pct)
        even = day.uneven_pct <= READY_WITHIN_PCT
        steady = math.isnan(day.week_ago_pct) or abs(day.slope_pct_a_week) < STEADY_PCT_A_WEEK
        slack = STACK_CLEAR_BY_PCT if position else 0.0
        ready_within = READY_WITHIN_PCT + (slack if level == EASY else 0.0)
        usable_within = USABLE_WITHIN_PCT - (slack if level == PAST else 0.0)
        if off <= ready_within and even and (steady or (position and level == EASY)):
            now = EASY
        else:
            now = NEAR if off <= usable_within else PAST
        if now != level or position == 0:
            level, since = now, day.hour
    last = days[-1]
    off = last.mc_pct - target_pct
    range_days = days_to_level(last.mc_pct, target_pct, place_emc_pct, time_constant_h)
    detail: Detail = {
        "key": ("ready", "nearly", "not-ready")[level],
        "ready": level == EASY,
        "mc_pct": last.mc_pct,
        "target_pct": target_pct,
        "place_emc_pct": None if math.isnan(place_emc_pct) else place_emc_pct,
        "slope_pct_a_week": None if math.isnan(last.week_ago_pct) else last.slope_pct_a_week,
        "core_to_face_pct": last.uneven_pct,
        "days": list(range_days) if range_days else None,
        "age_h": air.age_h if air.place is not None and air.age_h < 1 << 30 else None,
    }
    reason = _stack_reason(level, last, off, target_is, range_days)
    if air.unknown:
        detail |= {"key": "unknown", "last_verdict": STANDINGS[level]}
        return Judged(UNKNOWN, air.unknown_since, f"{air_reason(air)}; last known: {reason}", detail)
    return Judged(STANDINGS[level], since, sentence(reason), detail)


def _stack_reason(
    level: int, last: StackDay, off: float, target_is: str, range_days: tuple[int, int] | None
) -> str:
    where = f"{abs(off):.1f} points {'wetter' if off > 0 else 'drier'} than {target_is}"
    if level == EASY:
        return f"ready: {where}, even and steady"
    if abs(off) <= READY_WITHIN_PCT and last.uneven_pct > READY_WITHIN_PCT:
        return f"{where}, but the core is still {last.uneven_pct:.1f} points from the face"
    if abs(off) <= READY_WITHIN_PCT:
        return f"{where}, but still moving {abs(last.slope_pct_a_week):.1f} points a week"
    if range_days is None:
        return f"{where}, and the air here will not bring it there"
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


# ---------------------------------------------------------------- places and sensors


def verdict_of_place(
    temperature_c: float, rh_pct: float, emc_pct: float, emc_before_pct: float, air: AirThen, since_hour: int
) -> Judged:
    """How a place's air is: easy when steady, near when it moves the wood, unknown without readings.

    Parameters
    ----------
    emc_pct, emc_before_pct : float
        Mean of the last day, and of the day three days before [%]; NaN where not known.
    since_hour : int
        Since when it has been as it is, where the caller knows.
    """
    detail: Detail = {
        "key": "steady",
        "temperature_c": temperature_c,
        "rh_pct": rh_pct,
        "emc_pct": None if math.isnan(emc_pct) else emc_pct,
        "emc_change_pct": None if math.isnan(emc_pct - emc_before_pct) else emc_pct - emc_before_pct,
        "age_h": air.age_h if air.age_h < 1 << 30 else None,
    }
    if air.unknown:
        detail["key"] = "unknown"
        return Judged(UNKNOWN, air.unknown_since, sentence(air_reason(air)), detail)
    change = emc_pct - emc_before_pct
    if abs(change) > MOVING_PCT_IN_3_DAYS:
        detail["key"] = "moving"
        way = "damper" if change > 0 else "drier"
        reason = f"{abs(change):.1f} points {way} than three days ago"
        return Judged(
            "near", since_hour, sentence(f"the air would bring wood to {emc_pct:.1f} %, {reason}"), detail
        )
    return Judged("easy", since_hour, f"Steady: the air would bring wood to {emc_pct:.1f} %", detail)
