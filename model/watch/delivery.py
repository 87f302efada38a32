"""Before the van: hold a piece or deliver it, from the air recorded where it is to go.

The moisture solver runs the piece through that air from what it holds now and looks at what that leaves of
each fit. Where the air is not known the answer is unknown. Sentences give lengths in mm and inches. What
comes after, moving home and storage, is in `moving`.
"""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

import numpy as np
import pandas as pd

from model.watch.home_year import LEAST_DAYS, Closest, Start, emc_pct, run_through
from model.watch.home_year import home_year as home_year
from model.watch.home_year import recorded_air as recorded_air
from model.watch.moving import UNWRAP, fit_said, passed_in, past_by
from model.watch.moving import moving_home as moving_home
from model.watch.moving import storage as storage
from model.wood.design import Span, design_range
from model.wood.piece import Piece

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
    reasons, advice : tuple of str
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
    reasons: tuple[str, ...]
    advice: tuple[str, ...]
    recorded_days: float
    there_pct: float | None
    now_pct: float
    span: Span
    closest: tuple[Closest, ...] = field(default=())
    year_may_harm: bool = False

    @property
    def headline(self) -> str:
        """The answer in one sentence."""
        if self.answer == "deliver" and self.year_may_harm:
            return "It may go now, but a year there may harm it."
        return {"deliver": "Deliver it.", "hold": "Hold it.", "unknown": "Nobody can say yet."}[self.answer]

    def document(self) -> dict[str, Any]:
        """As JSON."""
        return {
            "answer": self.answer,
            "reasons": list(self.reasons),
            "advice": list(self.advice),
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


HANG_A_SENSOR = "Hang a sensor in the room four to eight weeks before, and ask again."


def delivery_note(piece: Piece, mc_now: Start, air: pd.DataFrame, place: str, now: datetime) -> DeliveryNote:
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
    span = design_range(piece).span
    now_pct = float(np.mean(list(mc_now.values())))
    measured = air[air["measured"]] if "measured" in air else air
    days = 0.0 if measured.empty else (measured.index[-1] - measured.index[0]).total_seconds() / 86_400.0

    def unknown(reason: str) -> DeliveryNote:
        return DeliveryNote("unknown", (reason,), (HANG_A_SENSOR,), days, None, now_pct, span)

    if measured.empty:
        return unknown(f"No air is recorded at {place}.")
    age_h = (pd.Timestamp(now) - measured.index[-1]).total_seconds() / 3600.0
    if age_h > SILENT_AFTER_H:
        return unknown(f"The last reading from {place} is {age_h / 24.0:.0f} days old.")
    if days < LEAST_DAYS:
        return unknown(
            f"Only {days:.0f} days are recorded at {place}: too few to say what wood comes to there."
        )
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
        said = f"{fit_said(limit.fit)}: {limit.says}, {past_by(limit.margin_mm)}"
        if limit.severity != "harms":
            if is_recorded:
                advice.append(
                    f"Tell the client what will be seen at the {limit.end} end of the year ({said})."
                )
        elif is_recorded:
            holds = True
            reasons.insert(0, f"At the {limit.end} end of a year like the last at {place}, {said}.")
        else:
            year_may_harm = True
            reasons.insert(0, f"At the {limit.end} end of a year as expected at {place}, {said}.")
    if days < GOOD_DAYS:
        reasons.append(f"Only {days:.0f} days are recorded there; four weeks would say more.")
    advice.append(UNWRAP)
    answer: Literal["deliver", "hold"] = "hold" if holds else "deliver"
    return DeliveryNote(
        answer, tuple(reasons), tuple(advice), days, there_pct, now_pct, span, closest, year_may_harm
    )


def _reasons(
    closest: tuple[Closest, ...],
    recent: pd.DataFrame,
    there_pct: float,
    now_pct: float,
    span: Span,
    place: str,
) -> tuple[bool, list[str], list[str]]:
    holds, reasons, advice = False, [], []
    for limit in closest:
        if limit.margin_mm >= 0.0:
            continue
        when = (
            f"after about {limit.after_days / 7.0:.0f} weeks"
            if limit.after_days >= 14.0
            else "within two weeks"
        )
        said = f"{fit_said(limit.fit)}: {limit.says}, {past_by(limit.margin_mm)}, {when}"
        if limit.severity == "harms":
            holds = True
            reasons.append(f"In air like that of the last {WEEKS_AHEAD} weeks at {place}, {said}.")
        else:
            advice.append(f"Tell the client what will be seen ({said}); it harms nothing.")
    low, high = span.mc_low_pct, span.mc_high_pct
    inside = (low is None or there_pct >= low) and (high is None or there_pct <= high)
    window = _window(low, high)
    word = "inside" if inside else "outside"
    reasons.append(
        f"Wood like this piece's comes to {there_pct:.1f} % at {place} now, {word} its range ({window})."
    )
    emc = pd.Series(emc_pct(recent), index=recent.index).rolling("3D").mean().iloc[72:]
    month = emc[emc.index > emc.index[-1] - pd.Timedelta(days=28)] if len(emc) else emc
    if len(month) and float(month.max() - month.min()) > UNSETTLED_PCT:
        reasons.append(
            f"The air there is not settled: it has moved by {float(month.max() - month.min()):.1f} points in "
            "four weeks. A house just plastered, or heated for the first time, does that."
        )
        holds = holds or not inside
    step = there_pct - now_pct
    if abs(step) > BIG_STEP_PCT:
        way = "drier" if step < 0 else "damper"
        advice.append(
            f"It is {abs(step):.1f} points {way} there than the piece is now: leave it wrapped some weeks."
        )
    if holds and span.mc_high_pct is not None and there_pct > span.mc_high_pct:
        advice.append("Wait for the heating season or a dehumidifier to bring that air down.")
    elif holds:
        advice.append("Wait until the air there is back inside, or ease the fit that gives out first.")
    return holds, reasons, advice


def _window(low: float | None, high: float | None) -> str:
    if low is None and high is None:
        return "no limit"
    if low is None:
        return f"up to {high:.1f} %"
    return f"{low:.1f} % and up" if high is None else f"{low:.1f} to {high:.1f} %"
