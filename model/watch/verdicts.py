"""How a fit, piece, stack, place or sensor stands now, with the reason in words.

Pure functions of numbers. A reason is a sentence with lengths in mm; `detail` carries its key and the
numbers behind it, so that a page can say it in the maker's own units.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from model.records.answers import share_left
from model.watch.standing import NEAR, NO_PLAY_MM, PAST, STANDINGS
from model.wood.diffusion import DOUBT_FACTOR

Detail = dict[str, Any]

UNKNOWN = "unknown"
# Worst first. An unknown fit outweighs a clear one: no all-clear on missing data.
RANK = {"past": 3, "near": 2, UNKNOWN: 1, "clear": 0}

# Ready is within a point of where it is going and still, through the whole thickness: common practice, no
# source; the printed advice is two points (Wood Handbook ch. 13).
READY_WITHIN_PCT = 1.0
USABLE_WITHIN_PCT = 2.0
STEADY_PCT_A_WEEK = 0.3
# How soon wood follows is known to this factor: "10 to 40 days" for 20.
SOONER, LATER = 1.0 / DOUBT_FACTOR, DOUBT_FACTOR


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
    near_mm: float  # below which it is near
    level: int
    since_hour: int


@dataclass(frozen=True)
class AirThen:
    """Whether the air where something stands is known: its place, and how old the last reading is."""

    place: str | None
    age_h: int
    silent_after_h: int
    hour: int
    in_first_hour: bool = False  # readings have come, and no hour of them is over yet

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
    return min(
        limits, key=lambda limit: (-limit.level, share_left(limit.margin_mm, limit.play_mm), limit.name)
    )


def limit_reason(limit: LimitNow) -> tuple[str, str]:
    """Key and clause of why a limit stands as it does."""
    says, left = limit.says.rstrip("."), f"{max(limit.margin_mm, 0.0):.1f} mm"
    if limit.level == PAST:
        if limit.margin_mm < 0.0:
            return "past", f"{says}: {-limit.margin_mm:.1f} mm past"
        return "past-easing", f"{says}: back by {left}, not yet clearly"
    if limit.level == NEAR:
        if limit.play_mm <= NO_PLAY_MM:
            return "no-play", f"{left} left until {says}; it was built with none"
        if limit.margin_mm < limit.near_mm:
            return "near", f"{left} of {limit.play_mm:.1f} mm left until {says}"
        return "near-easing", f"{left} of {limit.play_mm:.1f} mm left until {says}, not yet clearly more"
    return "clear", f"{left} left until {says}"


def air_reason(air: AirThen) -> str:
    """Why the air is unknown."""
    if air.place is None:
        return "nobody said where it stands"
    if air.age_h >= 1 << 30:
        if air.in_first_hour:
            return f"the first hour of readings from {air.place} isn't over yet"
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
        margin_mm = judged.detail.get("margin_mm")
        return math.inf if margin_mm is None else share_left(margin_mm, judged.detail.get("play_mm") or 0.0)

    name = min(fits, key=lambda name: (-RANK[fits[name].verdict], left(fits[name]), name))
    worst = fits[name]
    since = min(judged.since_hour for judged in fits.values() if judged.verdict == worst.verdict)
    return Judged(worst.verdict, since, worst.reason, {**worst.detail, "fit": name})


# ---------------------------------------------------------------- places and sensors


def verdict_of_place(
    temperature_c: float, rh_pct: float, emc_pct: float, air: AirThen, since_hour: int, moved_pct: float = 0.0
) -> Judged:
    """How a place's air is: near when it moves the wood, unknown without readings, else clear.

    Parameters
    ----------
    emc_pct : float
        Mean of the last day [%]; NaN where not known.
    since_hour : int
        Since when it has been as it is, where the caller knows.
    moved_pct : float
        By how much the mean of a day lies above that of three days before, while that is worth saying
        [points]; else 0.
    """
    detail: Detail = {
        "key": "moving" if moved_pct else "steady",
        "temperature_c": temperature_c,
        "rh_pct": rh_pct,
        "emc_pct": None if math.isnan(emc_pct) else emc_pct,
        "emc_change_pct": moved_pct or None,
        "age_h": air.age_h if air.age_h < 1 << 30 else None,
    }
    if air.unknown:
        detail["key"] = "unknown"
        return Judged(UNKNOWN, air.unknown_since, sentence(air_reason(air)), detail)
    leads = f"the air of the last 24 hours would bring wood to {emc_pct:.1f} %"
    if math.isnan(emc_pct):
        leads = "less than half of the last 24 hours is measured"
    if moved_pct:
        return Judged("near", since_hour, sentence(f"{leads}, {moved_in_words(moved_pct)}"), detail)
    return Judged("clear", since_hour, sentence(leads), detail)


def moved_in_words(change_pct: float) -> str:
    """A change of what the air would bring wood to, over three days."""
    return f"{abs(change_pct):.1f} points {'damper' if change_pct > 0 else 'drier'} than three days before"
