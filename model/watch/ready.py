"""Whether a stack is ready for where it goes: level, slope and core to face, with a date as a range."""

import math
from datetime import datetime

import numpy as np

from model.records.store import Store
from model.watch import ledger
from model.watch.answer import Answer, Reason, days_said
from model.watch.climate import YEAR_DAYS
from model.watch.daily import days_of
from model.watch.followed import Followed, StackNow, first_days, followed
from model.watch.places import air_then
from model.watch.roster import Owner
from model.watch.stacks import StackAsIs, stack_as_it_is, stack_history
from model.watch.standing import EASY
from model.watch.verdicts import READY_WITHIN_PCT, STEADY_PCT_A_WEEK, hours_in_words
from model.wood.sorption import equilibrium_moisture_content

READY, NOT_READY = "ready", "not ready"
LOOK_DAYS = 180
THICK_MM = 1.25 * 25.4


def ready(store: Store, stack: str, now: datetime) -> Answer:
    """Whether a stack may be worked, and else when: what its page says, with the day it comes to.

    The target is what the destination's air leads to over a year, as far as it is known: what it does in the
    seasons not yet seen is what is expected of it. Without a destination it is the air the stack stands in.

    Raises
    ------
    BadInput
        For a stack that isn't followed.
    """
    book = followed(store, now)
    found = book.stack_named(stack, "ready")
    owner, hour = found.owner, found.hour
    place_id = owner.place_at(max(hour - 1, owner.start_hour))
    as_is = _as_it_is(store, book, owner, hour)
    if place_id is None or as_is is None:
        says = "Nobody said where it stands, or no air is known yet to compare it with"
        return Answer("ready", stack, NOT_READY, (Reason("unknown", says, True),))
    reasons = judge(as_is, found.stickered, owner.bodies[0].thickness_mm)
    climate = book.climate(place_id)
    age_h = int(climate.age_h(np.array([book.hour]))[0])
    if age_h > climate.silent_after_h:
        since = "yet" if age_h >= 1 << 30 else f"for {hours_in_words(age_h)}"
        says = f"No reading from {climate.place.name} {since}: no all-clear"
        reasons.insert(0, Reason("unknown", says, True))
    verdict = NOT_READY if any(reason.against for reason in reasons) else READY
    day = as_is.day
    when = None
    if verdict == NOT_READY and age_h <= climate.silent_after_h:
        when = _when(book, found, place_id, day.target_pct)
        reasons.append(_when_said(when, as_is.place_emc_pct, day.target_pct, climate.place.name))
    low, high = _year(book, owner)
    detail = {
        "mc_pct": round(day.mc_pct, 2),
        "mc_sd_pct": round(found.sd_pct, 2),
        "core_to_face_pct": round(day.uneven_pct, 2),
        "slope_pct_week": None if math.isnan(day.week_ago_pct) else round(day.slope_pct_a_week, 2),
        "target_pct": round(day.target_pct, 2),
        "target_low_pct": None if low is None else round(low, 2),
        "target_high_pct": None if high is None else round(high, 2),
        "target_is": as_is.target_is,
    }
    reasons.sort(key=lambda reason: not reason.against)
    return Answer("ready", stack, verdict, tuple(reasons), when, None, detail)


def judge(stack: StackAsIs, stickered: bool, thickness_mm: float) -> list[Reason]:
    """Level, slope and core to face, each for or against. Steady alone is not ready.

    Against speaks only what keeps a stack from being ready as it stands, so that this and the standing say
    the same: one that is ready stays so until it is clearly off, and becomes so at a midnight.
    """
    day, is_ready = stack.day, stack.standing.level == EASY
    off, slope, uneven = day.off_pct, day.slope_pct_a_week, day.uneven_pct
    way = "wetter" if off > 0 else "drier"
    level = is_ready or abs(off) <= READY_WITHIN_PCT
    moves = not math.isnan(slope) and abs(slope) >= STEADY_PCT_A_WEEK
    reasons = [
        Reason(
            "level" if level else "off-level",
            f"{day.mc_pct:.1f} %, {abs(off):.1f} points {way} than {stack.target_is}",
            not level,
            {"off_pct": round(off, 2)},
        )
    ]
    if not math.isnan(slope):
        says = f"still moving {abs(slope):.1f} points a week" if moves else "steady"
        reasons.append(Reason("moving" if moves else "steady", says.capitalize(), moves and not is_ready))
    if uneven > READY_WITHIN_PCT and not is_ready:
        says = f"The core is still {uneven:.1f} points from the face"
        reasons.append(Reason("uneven", says, True, {"core_to_face_pct": round(uneven, 2)}))
    if not is_ready and not any(reason.against for reason in reasons):
        says = "It is not yet clearly level, even and steady; it is judged at midnight"
        reasons.append(Reason("not-yet", says, True))
    if not level and not math.isnan(slope) and not moves:
        ask = "Steady is not ready: is it stickered, and were the readings deep enough"
        if not stickered:
            ask = "Steady is not ready: it is dead-piled, so only its outside moves; sticker it"
        elif thickness_mm > THICK_MM:
            ask += " for its thickness"
        reasons.append(Reason("steady-not-ready", ask + ("?" if stickered else ""), False))
    return reasons


def _as_it_is(store: Store, book: Followed, owner: Owner, hour: int) -> StackAsIs | None:
    """A stack as it stood at the hour it was followed up to, by the rule of its page."""
    climates = {id_: book.climate(id_) for id_ in book.places}
    stood = {stay.place_id for stay in owner.stays} & book.airs.keys()
    days = {id_: days_of(climates[id_].air, hour) for id_ in stood}
    known = {id_: own for id_, own in days.items() if len(own.emc_pct)}
    heard = not air_then(owner, hour, climates).unknown
    with ledger.reading(store) as bulk:
        history = stack_history(bulk, owner, hour, climates, known)
        return stack_as_it_is(bulk, owner, hour, climates, heard, history)


def _year(book: Followed, owner: Owner) -> tuple[float | None, float | None]:
    """The 10th and 90th percentile of what the destination's year leads to [%]; None without one."""
    if owner.destination_id not in book.places:
        return None, None
    assert owner.destination_id is not None
    air = book.season(owner.destination_id).middle(YEAR_DAYS)
    low, high = np.percentile(equilibrium_moisture_content(air.temperature_c, air.rh_pct), [10, 90])
    return float(low), float(high)


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
