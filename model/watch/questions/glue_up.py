"""The glue-up board: go, wait or not today, with the reasons and the earliest time as a range.

The rules are the trade's (Wood Handbook ch. 10 and 13, extension columns for wood shops): boards within two
points of each other, of the air they are glued in and of where they go, wood and air above the adhesive's
minimum. The air that counts for the wood is the mean of five days; a damp hour is no reason, a damp day is.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np
from sqlalchemy import select

from model.answers.adhesives import LABEL, Adhesive, adhesive_named
from model.answers.answer import Answer
from model.records.queries.answers import Ready
from model.records.queries.verdicts import judgements
from model.records.schema.tables import AirHour, Place
from model.records.store import Store
from model.watch.air.climate import Climate
from model.watch.state.snapshot import Followed, StackFollowed, emc_ahead, first_days, followed
from model.wood.reason import Reason

GO, WAIT, NOT_TODAY = "go", "wait", "not today"
RANK = {GO: 0, WAIT: 1, NOT_TODAY: 2}

WITHIN_PCT = 2.0
"""Points within which boards lie of each other and of the air (extension columns; Wood Handbook ch. 10)."""
NOT_READY = {True: "stack-not-ready", False: "stack-not-settled"}
"""What is said of a stack that is not ready, by whether it is meant for a home."""
FIVE_DAYS_H = 120
DAY_H = 24
NOW_H = 3
LOOK_DAYS = 60
BRING_IN_DAYS = (1, 2)
"""Cold lumber brought into a warm shop needs about a day (extension columns)."""


@dataclass(frozen=True)
class ShopAir:
    """The air that a glue-up meets.

    Attributes
    ----------
    emc_now_pct, emc_day_pct, emc_five_days_pct : float
        What wood would settle to in the air of the last hours, day and five days [%]; NaN where not known.
    rh_pct, temperature_c : float
        Of the last hours.
    wood_c : float
        Temperature of the wood [°C].
    wood_measured : bool
        Whether somebody measured it; else it is the mean of the last day's air.
    age_h, silent_after_h : int
        Since the last reading, and from when that is too long.
    """

    emc_now_pct: float
    emc_day_pct: float
    emc_five_days_pct: float
    rh_pct: float
    temperature_c: float
    wood_c: float
    wood_measured: bool = False
    age_h: int = 0
    silent_after_h: int = 24
    has_begun: bool = False


@dataclass(frozen=True)
class Destined:
    """A stack and whether it is ready: the watch's stored answer.

    Attributes
    ----------
    off_pct : float
        Its mean less its target [points]; NaN where the target isn't known.
    has_home : bool
        Whether it is meant for a place; else its target is the air it stands in.
    """

    name: str
    ready: Ready
    off_pct: float = math.nan
    has_home: bool = True


@dataclass(frozen=True)
class GlueLot:
    """What is to be glued: mean, driest and wettest board [%], and whether each of its stacks is ready."""

    name: str
    mc_pct: float
    low_pct: float
    high_pct: float
    stacks: tuple[Destined, ...] = ()


def judge(stock: GlueLot | None, air: ShopAir, adhesive: Adhesive) -> tuple[str, list[Reason]]:
    """Verdict and reasons for one lot of stock in the air as it is, those against first.

    Examples
    --------
    >>> air = ShopAir(7.9, 7.9, 7.9, 41.0, 20.0, 18.9)
    >>> judge(GlueLot("cherry", 7.4, 6.9, 7.9), air, Adhesive("white glue", 12.8))[0]
    'go'
    """
    if air.age_h > air.silent_after_h or math.isnan(air.emc_five_days_pct):
        never = math.isnan(air.emc_five_days_pct) or air.age_h >= 1 << 30
        if never:
            key = "no-reading-first-hour" if air.has_begun else "no-reading-yet"
            return WAIT, [against(key, age_h=None)]
        return WAIT, [against("no-reading", age_h=air.age_h)]
    reasons = _temperature(air, adhesive)
    verdict = NOT_TODAY if any(is_against(reason) for reason in reasons) else GO
    moisture = _moisture(stock, air, adhesive) if stock is not None else []
    if verdict == GO and any(is_against(reason) for reason in moisture):
        verdict = WAIT
    reasons += moisture
    if adhesive.source != LABEL:
        reasons.append(Reason("read-label", {"glue": adhesive.name}))
    return verdict, sorted(reasons, key=lambda reason: not is_against(reason))


def against(key: str, **values: Any) -> Reason:
    """A reason against gluing up."""
    return Reason(key, {**values, "against": True})


def is_against(reason: Reason) -> bool:
    return bool(reason.values.get("against"))


def _temperature(air: ShopAir, adhesive: Adhesive) -> list[Reason]:
    numbers: dict[str, Any] = {
        "wood_c": round(air.wood_c, 1), "temperature_c": round(air.temperature_c, 1),
        "least_c": adhesive.least_c, "most_c": adhesive.most_c, "glue": adhesive.name,
    }  # fmt: skip
    hottest_c = max(numbers["wood_c"], numbers["temperature_c"])
    if air.wood_c < adhesive.least_c:
        how = "warm-shop" if air.temperature_c >= adhesive.least_c else "cold-shop"
        reasons = [against("cold-wood", how=how, **numbers)]
    elif air.temperature_c < adhesive.least_c:
        reasons = [against("cold-air", **numbers)]
    elif max(air.wood_c, air.temperature_c) > adhesive.most_c:
        reasons = [against("too-warm-to-glue", hottest_c=hottest_c, **numbers)]
    else:
        reasons = [Reason("warm-enough", numbers)]
    if adhesive.most_rh_pct is not None and air.rh_pct > adhesive.most_rh_pct:
        numbers = {"rh_pct": round(air.rh_pct, 1), "most_rh_pct": adhesive.most_rh_pct}
        reasons.append(against("too-damp-to-set", glue=adhesive.name, **numbers))
    return reasons


def _moisture(stock: GlueLot, air: ShopAir, adhesive: Adhesive) -> list[Reason]:
    reasons = []
    numbers = {
        "mc_pct": round(stock.mc_pct, 2), "low_pct": round(stock.low_pct, 2),
        "high_pct": round(stock.high_pct, 2), "emc_now_pct": round(air.emc_now_pct, 2),
        "emc_five_days_pct": round(air.emc_five_days_pct, 2), "stack": stock.name, "about": stock.name,
        "most_pct": WITHIN_PCT,
    }  # fmt: skip
    for key, emc in (("air-differs", air.emc_five_days_pct), ("air-differs-today", air.emc_day_pct)):
        off = emc - stock.mc_pct
        if abs(off) > WITHIN_PCT:
            reasons.append(against(key, emc_pct=round(emc, 2), off_pct=round(off, 2), **numbers))
            break
    else:
        reasons.append(Reason("air-agrees", {**numbers, "emc_pct": round(air.emc_five_days_pct, 2)}))
        if abs(air.emc_now_pct - stock.mc_pct) > WITHIN_PCT:
            reasons.append(Reason("spell", numbers))
    if stock.high_pct - stock.low_pct > WITHIN_PCT:
        reasons.append(against("uneven-boards", **numbers))
    if stock.high_pct > adhesive.most_mc_pct:
        limits = {"glue": adhesive.name, "most_mc_pct": adhesive.most_mc_pct}
        reasons.append(against("too-wet-to-glue", **numbers, **limits))
    return reasons + [reason for one in stock.stacks for reason in _destined(one, stock.name)]


def _destined(one: Destined, lot: str) -> list[Reason]:
    """Whether a stack is right for where it goes; without a home the air alone decides."""
    numbers = {
        "about": one.name, "stack": lot, "off_pct": None if math.isnan(one.off_pct) else round(one.off_pct, 2)
    }  # fmt: skip
    if one.has_home and abs(one.off_pct) > WITHIN_PCT:
        return [against("stack-off-target", most_pct=WITHIN_PCT, **numbers)]
    return [] if one.ready.is_ready else [Reason(NOT_READY[one.has_home], numbers)]


# ---------------------------------------------------------------- on the book


def glue_up(
    store: Store,
    place: str,
    now: datetime,
    adhesive: str | None = None,
    stacks: Sequence[str] = (),
    wood_temperature_c: float | None = None,
) -> Answer:
    """Whether to glue up at a place today.

    Parameters
    ----------
    place : str
        Its name.
    adhesive : str, optional
        By name; else the shop's usual one.
    stacks : sequence of str
        Glued together; else each stack of the place is judged by itself, and the best gives the verdict.
        Either way there is a line for each.
    wood_temperature_c : float, optional
        As measured [°C]; else the mean of the last day's air.

    Raises
    ------
    BadInput
        For a place, stack or adhesive that isn't on the book.
    """
    with store.session() as session:
        glue = adhesive_named(session, adhesive)
        ready = {id_: Ready.of(judged) for id_, judged in judgements(session, "stack").items()}
        begun = select(AirHour.hour_at).join(Place, AirHour.place_id == Place.id).where(Place.name == place)
        has_begun = session.scalar(begun.limit(1)) is not None
    book = followed(store, now)
    where = book.place_named(place, "glue-up")
    air = replace(_shop_air(book.climate(where.id), book.hour, wood_temperature_c), has_begun=has_begun)
    if stacks:
        chosen = [book.stack_named(name, "glue-up") for name in stacks]
        lots = [chosen]
    else:
        chosen = [one for one in book.stacks if one.owner.place_at(max(book.hour - 1, 0)) == where.id]
        lots = [[one] for one in chosen]
    if not chosen:
        verdict, reasons = judge(None, air, glue)
        reasons.append(Reason("no-stock"))
        earliest, holds = _temperature_ahead(book, where.id, glue, verdict)
        return Answer("glue-up", place, verdict, tuple(reasons), earliest, holds, _detail(air, glue, []))
    told = [_line(_together([one], ready), air, glue) for one in chosen]
    judged = [(judge(stock, air, glue), stock, own) for own in lots for stock in [_together(own, ready)]]
    best = min(judged, key=lambda one: (RANK[one[0][0]], abs(one[1].mc_pct - air.emc_five_days_pct)))
    (verdict, reasons), stock, own = best
    earliest, holds = _when(book, where.id, own, stock, glue, verdict, reasons)
    if earliest is not None:
        low_days, high_days = earliest
        key = "not-before" if high_days is None else "earliest"
        reasons.append(Reason(key, {"low_days": low_days, "high_days": high_days}))
    detail = _detail(air, glue, told) | {"stock": stock.name}
    return Answer("glue-up", place, verdict, tuple(reasons), earliest, holds, detail)


def _line(stock: GlueLot, air: ShopAir, adhesive: Adhesive) -> dict[str, Any]:
    """What is told of one stack: its verdict by itself, why, and whether it is ready."""
    verdict, reasons = judge(stock, air, adhesive)
    (one,) = stock.stacks
    why = [
        reason
        for reason in reasons
        if reason.values.get("stack") == stock.name
        and (is_against(reason) or reason.key in NOT_READY.values())
    ]
    return {
        "name": stock.name,
        "verdict": verdict,
        "is_ready": one.ready.is_ready,
        "why": [reason.document() | {"about": ""} for reason in why],
        "ready": _ready(one, why).document(),
        "reasons": [reason.document() for reason in reasons if is_against(reason)],
    }


def _ready(one: Destined, why: Sequence[Reason]) -> Reason:
    """The stored answer to whether it is ready, after what else speaks against the stack."""
    of_air = [
        Reason(reason.key, {**reason.values, "about": ""})
        for reason in why
        if reason.key not in ("stack-off-target", *NOT_READY.values())
    ]
    said = one.ready.reason
    if not one.ready.is_ready and not any(reason.key == "stack-off-target" for reason in why):
        said = Reason("unready", {"was": said, "also": said.values.get("also", ())})
    first, *others = *of_air, said
    return Reason(first.key, {**first.values, "also": (*first.values.get("also", ()), *others)})


def _shop_air(climate: Climate, hour: int, wood_temperature_c: float | None) -> ShopAir:
    air = climate.air
    rows = slice(max(hour - NOW_H - air.first, 0), max(hour - air.first, 0))
    day = slice(max(hour - DAY_H - air.first, 0), max(hour - air.first, 0))
    known = len(air.rh_pct[rows]) > 0
    air_c = float(np.mean(air.temperature_c[rows])) if known else math.nan
    wood_c = wood_temperature_c
    if wood_c is None:
        wood_c = float(np.mean(air.temperature_c[day])) if known else math.nan
    return ShopAir(
        emc_now_pct=climate.mean_emc_pct(hour - NOW_H, hour),
        emc_day_pct=climate.mean_emc_pct(hour - DAY_H, hour),
        emc_five_days_pct=climate.mean_emc_pct(hour - FIVE_DAYS_H, hour),
        rh_pct=float(np.mean(air.rh_pct[rows])) if known else math.nan,
        temperature_c=air_c,
        wood_c=wood_c,
        wood_measured=wood_temperature_c is not None,
        age_h=int(climate.age_h(np.array([hour]))[0]),
        silent_after_h=climate.silent_after_h,
    )


def _together(stacks: Sequence[StackFollowed], ready: Mapping[int, Ready]) -> GlueLot:
    mean = float(np.mean([stack.mc_pct for stack in stacks]))
    low, high = min(stack.low_pct for stack in stacks), max(stack.high_pct for stack in stacks)
    own = tuple(_destined_stack(stack, ready.get(stack.owner.id, Ready())) for stack in stacks)
    return GlueLot(" with ".join(stack.owner.name for stack in stacks), mean, low, high, own)


def _destined_stack(stack: StackFollowed, ready: Ready) -> Destined:
    target = math.nan if ready.target_mc_pct is None else ready.target_mc_pct
    return Destined(stack.owner.name, ready, stack.mc_pct - target, stack.owner.destination_id is not None)


def _when(
    book: Followed,
    place_id: int,
    stacks: Sequence[StackFollowed],
    stock: GlueLot,
    adhesive: Adhesive,
    verdict: str,
    reasons: Sequence[Reason],
) -> tuple[tuple[int, int | None] | None, int | None]:
    """When it may be otherwise, and for how many days it holds, over the plausible air to come."""
    keys = {reason.key for reason in reasons if is_against(reason)}
    if any(key.startswith("no-reading") for key in keys):
        return None, None
    if keys == {"cold-wood"} and _is_warm(book, place_id, adhesive):
        return BRING_IN_DAYS, None
    ends = book.hour // 24 * 24
    climate = book.climate(place_id)
    before = np.array([climate.mean_emc_pct(ends - 24 * k, ends - 24 * k + 24) for k in range(4, 0, -1)])
    before = before[np.isfinite(before)]
    holds = None
    for stack, destined in zip(stacks, stock.stacks, strict=True):
        ahead = book.ahead(stack, place_id, LOOK_DAYS)
        mc = next(iter(ahead.mc_pct.values()))
        off = np.abs(emc_ahead(ahead, before) - mc)
        left = np.exp(-np.arange(1, LOOK_DAYS + 1) * 24.0 / stack.owner.bodies[0].time_constant_h)[:, None]
        good = off <= WITHIN_PCT
        good &= (stack.high_pct - stack.low_pct) * left <= WITHIN_PCT
        good &= mc + (stack.high_pct - stack.mc_pct) * left <= adhesive.most_mc_pct
        good &= ahead.air.temperature_c >= adhesive.least_c
        good &= ahead.air.temperature_c <= adhesive.most_c
        target = destined.ready.target_mc_pct
        if destined.has_home and target is not None:
            good &= np.abs(mc - target) <= WITHIN_PCT
        holds = good if holds is None else holds & good
    assert holds is not None
    if verdict == GO:
        ending = first_days(~holds)
        return None, None if ending is None else max(ending[0] - 1, 0)
    return first_days(holds), None


def _temperature_ahead(
    book: Followed, place_id: int, adhesive: Adhesive, verdict: str
) -> tuple[tuple[int, int | None] | None, int | None]:
    if verdict != NOT_TODAY:
        return None, None
    air = book.season(place_id).years(LOOK_DAYS, 50, place_id)
    warm = (air.temperature_c >= adhesive.least_c) & (air.temperature_c <= adhesive.most_c)
    return first_days(warm), None


def _is_warm(book: Followed, place_id: int, adhesive: Adhesive) -> bool:
    air = book.airs[place_id]
    rows = slice(max(book.hour - NOW_H - air.first, 0), max(book.hour - air.first, 0))
    return bool(np.mean(air.temperature_c[rows]) >= adhesive.least_c)


def _detail(air: ShopAir, adhesive: Adhesive, lots: list[dict[str, Any]]) -> dict[str, Any]:
    def plain(value: float) -> float | None:
        return None if math.isnan(value) else round(value, 2)

    return {
        "air": {
            "emc_now_pct": plain(air.emc_now_pct),
            "emc_five_days_pct": plain(air.emc_five_days_pct),
            "rh_pct": plain(air.rh_pct),
            "temperature_c": plain(air.temperature_c),
            "wood_c": plain(air.wood_c),
            "wood_measured": air.wood_measured,
            "age_h": None if air.age_h >= 1 << 30 else air.age_h,
        },
        "adhesive": adhesive.document(),
        "stacks": lots,
    }
