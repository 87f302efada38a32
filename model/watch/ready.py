"""Whether a stack is ready for where it goes: level, slope and core to face, with a date as a range."""

from datetime import datetime

import numpy as np

from model.records.store import Store
from model.watch import ledger
from model.watch.air_hours import HOUR_MS
from model.watch.answer import Answer, Reason, days_said
from model.watch.bridge import NO_AIR
from model.watch.followed import Followed, StackNow, first_days, followed
from model.watch.glue_up import FIVE_DAYS_H
from model.watch.verdicts import READY_WITHIN_PCT, STEADY_PCT_A_WEEK, hours_in_words
from model.wood.sorption import equilibrium_moisture_content

READY, NOT_READY = "ready", "not ready"
LOOK_DAYS = 180
WEEK_H = 7 * 24
YEAR_DAYS = 365
THICK_MM = 1.25 * 25.4


def ready(store: Store, stack: str, now: datetime) -> Answer:
    """Whether a stack may be worked, and else when.

    The target is what the destination's air leads to over a year, as far as it is known: what it does in the
    seasons not yet seen is what is expected of it. Without a destination it is the air the stack stands in.

    Raises
    ------
    BadInput
        For a stack that isn't followed.
    """
    book = followed(store, now)
    found = book.stack_named(stack, "ready")
    place_id = found.owner.place_at(max(book.hour - 1, found.owner.start_hour))
    target, low, high, target_is = _target(book, found, place_id)
    if place_id is None or target is None:
        says = "Nobody said where it stands, or no air is known yet to compare it with"
        return Answer("ready", stack, NOT_READY, (Reason("unknown", says, True),))
    week_ago = _week_ago(store, found)
    reasons = judge(found, target, target_is, week_ago)
    climate = book.climate(place_id)
    age_h = int(climate.age_h(np.array([book.hour]))[0])
    if age_h > climate.silent_after_h:
        since = "yet" if age_h >= 1 << 30 else f"for {hours_in_words(age_h)}"
        says = f"No reading from {climate.place.name} {since}: no all-clear"
        reasons.insert(0, Reason("unknown", says, True))
    verdict = NOT_READY if any(reason.against for reason in reasons) else READY
    when = None
    if verdict == NOT_READY and age_h <= climate.silent_after_h:
        when = _when(book, found, place_id, target)
        here_pct = climate.mean_emc_pct(book.hour - FIVE_DAYS_H, book.hour)
        reasons.append(_when_said(when, here_pct, target, climate.place.name))
    detail = {
        "mc_pct": round(found.mc_pct, 2),
        "mc_sd_pct": round(found.sd_pct, 2),
        "core_to_face_pct": round(abs(found.core_pct - found.face_pct), 2),
        "slope_pct_week": None if week_ago is None else round(found.mc_pct - week_ago, 2),
        "target_pct": round(target, 2),
        "target_low_pct": None if low is None else round(low, 2),
        "target_high_pct": None if high is None else round(high, 2),
        "target_is": target_is,
    }
    reasons.sort(key=lambda reason: not reason.against)
    return Answer("ready", stack, verdict, tuple(reasons), when, None, detail)


def judge(stack: StackNow, target_pct: float, target_is: str, week_ago_pct: float | None) -> list[Reason]:
    """Level, slope and core to face, each for or against. Steady alone is not ready."""
    off = stack.mc_pct - target_pct
    way = "wetter" if off > 0 else "drier"
    level = abs(off) <= READY_WITHIN_PCT
    slope = None if week_ago_pct is None else stack.mc_pct - week_ago_pct
    steady = slope is None or abs(slope) < STEADY_PCT_A_WEEK
    uneven = abs(stack.core_pct - stack.face_pct)
    reasons = [
        Reason(
            "level" if level else "off-level",
            f"{stack.mc_pct:.1f} %, {abs(off):.1f} points {way} than {target_is}",
            not level,
            {"off_pct": round(off, 2)},
        )
    ]
    if slope is not None:
        says = "steady" if steady else f"still moving {abs(slope):.1f} points a week"
        reasons.append(Reason("steady" if steady else "moving", says.capitalize(), not steady))
    if uneven > READY_WITHIN_PCT:
        says = f"The core is still {uneven:.1f} points from the face"
        reasons.append(Reason("uneven", says, True, {"core_to_face_pct": round(uneven, 2)}))
    if not level and steady and slope is not None:
        ask = "Steady is not ready: is it stickered, and were the readings deep enough"
        if not stack.stickered:
            ask = "Steady is not ready: it is dead-piled, so only its outside moves; sticker it"
        elif stack.owner.bodies[0].thickness_mm > THICK_MM:
            ask += " for its thickness"
        reasons.append(Reason("steady-not-ready", ask + ("?" if stack.stickered else ""), False))
    return reasons


def _target(
    book: Followed, stack: StackNow, place_id: int | None
) -> tuple[float | None, float | None, float | None, str]:
    """Moisture content wanted, the range of its year at 10 and 90 %, and whose it is."""
    destination = stack.owner.destination_id
    if destination is not None and destination in book.places:
        air = book.season(destination).middle(YEAR_DAYS)
        emc = equilibrium_moisture_content(air.temperature_c, air.rh_pct)
        low, high = np.percentile(emc, [10, 90])
        name = book.places[destination].name
        mean = float(np.mean(emc))
        return mean, float(low), float(high), f"{name} through the year ({mean:.1f} %)"
    if place_id is None or not len(book.airs.get(place_id, NO_AIR)):
        return None, None, None, ""
    mean = book.climate(place_id).mean_emc_pct(book.hour - FIVE_DAYS_H, book.hour)
    return mean, None, None, f"the air of {book.places[place_id].name} ({mean:.1f} %)"


def _week_ago(store: Store, stack: StackNow) -> float | None:
    """Mean moisture content at the midnight a week ago; None when it was not followed then."""
    body = stack.owner.bodies[0].id
    at = (stack.hour - WEEK_H) // 24 * 24
    with ledger.reading(store) as bulk:
        rows = bulk.rows(
            "SELECT mc_mean_pct FROM checkpoint WHERE body_id = ? AND at = ?",
            (body, bulk.instant(at * HOUR_MS)),
        )
    return float(rows[0][0]) if rows else None


def _when(book: Followed, stack: StackNow, place_id: int, target_pct: float) -> tuple[int, int | None] | None:
    """Days until level and slope are both within what a maker accepts, in the plausible air of the place."""
    ahead = book.ahead(stack, place_id, LOOK_DAYS)
    mc = next(iter(ahead.mc_pct.values()))
    before = np.full((7, mc.shape[1]), stack.mc_pct)
    slope = mc - np.concatenate([before, mc])[: len(mc)]
    good = (np.abs(mc - target_pct) <= READY_WITHIN_PCT) & (np.abs(slope) < 2.0 * STEADY_PCT_A_WEEK)
    return first_days(good)


def _when_said(when: tuple[int, int | None] | None, here_pct: float, target_pct: float, place: str) -> Reason:
    if when is None:
        way = "damper" if here_pct > target_pct else "drier"
        says = f"The air of {place} leads to {here_pct:.1f} %, too much {way}: it will not come there here"
        return Reason("never-here", says, False)
    return Reason("when", f"Ready {days_said(when)}", False, {"low_days": when[0], "high_days": when[1]})
