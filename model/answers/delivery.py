"""Before the van: hold a piece or deliver it, from the air recorded where it is to go.

The moisture solver runs the piece through that air from what it holds now and looks at what that leaves of
each fit. Where the air is not known the answer is unknown. What comes after, moving home and
storage, is in `moving`.
"""

from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from model.answers.annual_range import LEAST_DAYS, Closest, Start, emc_pct, home_year, run_through
from model.answers.moving import UNWRAP, passed_in
from model.wood.design.design_range import Span, design_range
from model.wood.piece import Piece
from model.wood.reason import Reason

if TYPE_CHECKING:
    import pandas as pd

GOOD_DAYS = 28.0
"""From four weeks of air a destination is known well enough to deliver by: the trade hangs a sensor there
four to eight weeks before (common practice, no source)."""
SILENT_AFTER_H = 72.0
WEEKS_AHEAD = 8
UNSETTLED_PCT = 3.0
"""Points by which the three-day mean of the air may differ within four weeks before a home counts as
unsettled: just plastered, or heated for the first time (common practice, no source)."""
BIG_STEP_PCT = 3.0


@dataclass(frozen=True)
class DeliveryNote:
    """Whether to deliver a piece now.

    Attributes
    ----------
    answer : str
        "deliver", "hold" or "unknown".
    reasons, advice : tuple of Reason
        Why, the first decides; and how to go about it.
    recorded_days : float
    there_pct : float or None
        What this piece's wood would hold had it stood there all the recorded time: the home's lagged EMC [%].
    now_pct : float
        What it holds now, the mean of its members [%].
    span : Span
        The piece's design range.
    closest : tuple of Closest
        If the coming weeks are like those recorded: how near each limit comes, the tightest first.
    year_may_harm : bool
        Whether a year as expected there passes a limit that harms, where less than a year is recorded.
    """

    answer: Literal["deliver", "hold", "unknown"]
    reasons: tuple[Reason, ...]
    advice: tuple[Reason, ...]
    recorded_days: float
    there_pct: float | None
    now_pct: float
    span: Span
    closest: tuple[Closest, ...] = field(default=())
    year_may_harm: bool = False

    @property
    def headline(self) -> Reason:
        """The answer in one sentence."""
        doubtful = self.answer == "deliver" and self.year_may_harm
        return Reason("delivery", {"how": "doubtful" if doubtful else self.answer})

    def document(self) -> dict[str, Any]:
        """As JSON."""
        return {
            "answer": self.answer,
            "reasons": [reason.document() for reason in self.reasons],
            "advice": [reason.document() for reason in self.advice],
            "recorded_days": self.recorded_days,
            "there_pct": self.there_pct,
            "now_pct": self.now_pct,
            "mc_low_pct": self.span.mc_low_pct,
            "mc_high_pct": self.span.mc_high_pct,
            "rh_low_pct": self.span.rh_low_pct,
            "rh_high_pct": self.span.rh_high_pct,
            "closest": [vars(limit) for limit in self.closest],
            "year_may_harm": self.year_may_harm,
        }


HANG_A_SENSOR = Reason("hang-a-sensor")


def delivery_note(
    piece: Piece, mc_now: Start, air: "pd.DataFrame", place: str, now: datetime
) -> DeliveryNote:
    """Whether to deliver a piece to a home now, from the air recorded there.

    Parameters
    ----------
    piece : Piece
    mc_now : mapping of member name to float
        Mean moisture content of each member now [%].
    air : DataFrame
        The home's hours up to now, as `recorded_air` gives them.
    place : str
        The home's name, for sentences.
    now : datetime
        Aware UTC.
    """
    import pandas as pd

    span = design_range(piece).span
    now_pct = float(np.mean(list(mc_now.values())))
    measured = air[air["measured"]] if "measured" in air else air
    days = 0.0 if measured.empty else (measured.index[-1] - measured.index[0]).total_seconds() / 86_400.0

    def unknown(key: str, **values: float) -> DeliveryNote:
        reason = Reason(key, {"place": place, **values})
        return DeliveryNote("unknown", (reason,), (HANG_A_SENSOR,), days, None, now_pct, span)

    if measured.empty:
        return unknown("no-air-there")
    age_h = (pd.Timestamp(now) - measured.index[-1]).total_seconds() / 3600.0
    if age_h > SILENT_AFTER_H:
        return unknown("old-air-there", age_days=age_h / 24.0)
    if days < LEAST_DAYS:
        return unknown("few-days-there", recorded_days=days)
    recent = air.loc[air.index > air.index[-1] - pd.Timedelta(weeks=WEEKS_AHEAD), ["temperature_c", "rh_pct"]]
    begin = float(np.mean(emc_pct(recent.iloc[: 24 * 7])))
    there = run_through(piece, dict.fromkeys(piece.members, begin), recent)
    there_pct = float(np.mean(list(there.end_pct.values())))
    # The coming weeks may be like the last: the piece goes through them from what it holds now.
    ahead = run_through(piece, mc_now, recent)
    closest = tuple(sorted(ahead.smallest, key=lambda limit: limit.margin_mm))
    holds, reasons, advice = _reasons(closest, recent, there_pct, now_pct, span, place)
    year = home_year(piece, air, place)
    is_recorded, year_may_harm = year.basis == "recorded", False
    known = {(limit.fit, limit.limit) for limit in closest if limit.margin_mm < 0.0}
    for limit in passed_in(piece, year):
        if (limit.fit, limit.limit) in known:
            continue
        values = {"seen": limit.says, "margin_mm": limit.margin_mm, "end": limit.end, "place": place}
        if limit.severity != "harms":
            if is_recorded:
                advice.append(Reason("tell-of-year", values))
        else:
            holds, year_may_harm = holds or is_recorded, year_may_harm or not is_recorded
            reasons.insert(0, Reason("year-harms", {**values, "how": year.basis}))
    if days < GOOD_DAYS:
        reasons.append(Reason("few-days", {"recorded_days": days}))
    advice.append(UNWRAP)
    answer: Literal["deliver", "hold"] = "hold" if holds else "deliver"
    return DeliveryNote(
        answer, tuple(reasons), tuple(advice), days, there_pct, now_pct, span, closest, year_may_harm
    )


def _reasons(
    closest: tuple[Closest, ...],
    recent: "pd.DataFrame",
    there_pct: float,
    now_pct: float,
    span: Span,
    place: str,
) -> tuple[bool, list[Reason], list[Reason]]:
    import pandas as pd

    holds, reasons, advice = False, list[Reason](), list[Reason]()
    for limit in closest:
        if limit.margin_mm >= 0.0:
            continue
        values = {
            "seen": limit.says, "margin_mm": limit.margin_mm, "place": place, "week_count": WEEKS_AHEAD,
            "how": "" if limit.after_days >= 14.0 else "soon", "after_days": limit.after_days,
        }  # fmt: skip
        if limit.severity == "harms":
            holds = True
            reasons.append(Reason("weeks-harm", values))
        else:
            advice.append(Reason("tell-of-weeks", values))
    low, high = span.mc_low_pct, span.mc_high_pct
    inside = (low is None or there_pct >= low) and (high is None or there_pct <= high)
    window = Reason("mc-window", {"how": _ends(low, high), "low_pct": low, "high_pct": high})
    values = {"there_pct": there_pct, "place": place, "is_inside": inside, "window": window}
    reasons.append(Reason("wood-there", values))
    emc = pd.Series(emc_pct(recent), index=recent.index).rolling("3D").mean().iloc[72:]
    month = emc[emc.index > emc.index[-1] - pd.Timedelta(days=28)] if len(emc) else emc
    moved_pct = float(month.max() - month.min()) if len(month) else 0.0
    if moved_pct > UNSETTLED_PCT:
        reasons.append(Reason("unsettled-air", {"moved_pct": moved_pct}))
        holds = holds or not inside
    step_pct = there_pct - now_pct
    if abs(step_pct) > BIG_STEP_PCT:
        advice.append(Reason("big-step", {"step_pct": step_pct}))
    if holds and span.mc_high_pct is not None and there_pct > span.mc_high_pct:
        advice.append(Reason("wait-for-dry-air"))
    elif holds:
        advice.append(Reason("wait-for-air"))
    return holds, reasons, advice


def _ends(low: float | None, high: float | None) -> str:
    if low is None:
        return "open" if high is None else "up-to"
    return "from" if high is None else "between"
