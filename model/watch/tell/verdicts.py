"""How a fit, piece, stack, place or sensor stands now, and why. Pure functions of numbers."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from model.records.queries.answers import share_left
from model.watch.state.hysteresis import NEAR, NO_PLAY_MM, PAST, STANDINGS
from model.wood.moisture.diffusion import DOUBT_FACTOR
from model.wood.reason import Reason

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
    """A verdict with its reason; `since_hour` is when it became so, hours since 1970 UTC.

    What pages ask for beside the reason (`margin_mm`, `ready`) stands among the reason's values.
    """

    verdict: str
    since_hour: int
    reason: Reason

    def get(self, name: str) -> Any:
        """A value of the reason; None where it has none of that name."""
        return self.reason.values.get(name)


class LimitNow(NamedTuple):
    """One limit of a fit at an instant."""

    name: str
    direction: str
    severity: str
    seen: Reason
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
    reason = limit_reason(worst)
    values = {**reason.values, "age_h": known_age_h(air)}
    if not math.isnan(sd_pct):
        values["mc_sd_pct"] = round(sd_pct, 3)
    if air.unknown:
        unheard = air_reason(air)
        values |= {"last_verdict": STANDINGS[worst.level], "also": (Reason("last-known", {"was": reason}),)}
        return Judged(UNKNOWN, air.unknown_since, Reason(unheard.key, {**values, **unheard.values}))
    return Judged(STANDINGS[worst.level], since, Reason(reason.key, values))


def governing(limits: Sequence[LimitNow]) -> LimitNow:
    """The limit that decides: the worst standing, then the least left of its play, then by name."""
    return min(
        limits, key=lambda limit: (-limit.level, share_left(limit.margin_mm, limit.play_mm), limit.name)
    )


def limit_reason(limit: LimitNow) -> Reason:
    """Why a limit stands as it does."""
    if limit.level == PAST:
        key = "past" if limit.margin_mm < 0.0 else "past-easing"
    elif limit.level == NEAR:
        key = "near" if limit.margin_mm < limit.near_mm else "near-easing"
        if limit.play_mm <= NO_PLAY_MM:
            key = "no-play"
    else:
        key = "clear"
    return Reason(
        key,
        {
            "limit": limit.name,
            "direction": limit.direction,
            "severity": limit.severity,
            "seen": limit.seen,
            "margin_mm": limit.margin_mm,
            "play_mm": limit.play_mm,
        },
    )


def known_age_h(air: AirThen) -> int | None:
    """How old the last reading is [h]; None where there was none."""
    return air.age_h if air.place is not None and air.age_h < 1 << 30 else None


def air_reason(air: AirThen) -> Reason:
    """Why the air is unknown."""
    if air.place is None:
        return Reason("air-nowhere")
    if air.age_h >= 1 << 30:
        return Reason("air-first-hour" if air.in_first_hour else "air-never", {"place": air.place})
    return Reason("air-silent", {"place": air.place, "age_h": air.age_h})


def verdict_of_piece(fits: Mapping[str, Judged], hour: int, problem: str = "") -> Judged:
    """The worst of a piece's fits, with the one that governs."""
    if problem:
        return Judged(UNKNOWN, hour, Reason("unreadable", {"problem": problem}))
    if not fits:
        return Judged(UNKNOWN, hour, Reason("no-fit"))

    def left(judged: Judged) -> float:
        margin_mm = judged.get("margin_mm")
        return math.inf if margin_mm is None else share_left(margin_mm, judged.get("play_mm") or 0.0)

    name = min(fits, key=lambda name: (-RANK[fits[name].verdict], left(fits[name]), name))
    worst = fits[name]
    since = min(judged.since_hour for judged in fits.values() if judged.verdict == worst.verdict)
    return Judged(worst.verdict, since, Reason(worst.reason.key, {**worst.reason.values, "fit": name}))


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
    known = not math.isnan(emc_pct)
    values: dict[str, Any] = {
        "temperature_c": temperature_c,
        "rh_pct": rh_pct,
        "emc_pct": emc_pct if known else None,
        "emc_change_pct": moved_pct or None,
        "age_h": known_age_h(air),
        "leads": Reason("settles", {"emc_pct": emc_pct}) if known else Reason("hardly-measured"),
    }
    if air.unknown:
        unheard = air_reason(air)
        return Judged(UNKNOWN, air.unknown_since, Reason(unheard.key, {**values, **unheard.values}))
    verdict, key = ("near", "moving") if moved_pct else ("clear", "steady")
    return Judged(verdict, since_hour, Reason(key, values))
