"""What a year lived counts: warnings and answers against the truth."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from model.records.schema.tables import FitRow, Notice, PieceRow, Statement, Warning
from model.records.store import Store
from model.watch.state.hysteresis import PAST, STANDINGS
from model.watch.tell.prospect_warnings import NEXT
from tests.bench.year_world import HOUR, Chest, Lot

DAY = timedelta(days=1)


@dataclass
class Counts:
    """What was counted over chests and stacks; lists may be joined.

    Attributes
    ----------
    harms, missed, missed_at_all : int
        Limits that harm truly passed; those with no warning of what comes a day before, and those with no
        warning of any kind.
    told, false : int
        Warnings of what comes; those whose limit was not passed by the last date told.
    leads : days from the opening of the warning that was open to the passing, of every limit truly passed.
    ready_days : days from when a stack was truly ready to when it was said to be; negative is early.
    """

    chests: int = 0
    harms: int = 0
    missed: int = 0
    missed_at_all: int = 0
    told: int = 0
    false: int = 0
    notices: int = 0
    leads: list[float] = field(default_factory=list)
    stacks: int = 0
    ready_days: list[float] = field(default_factory=list)
    ready_only_said: int = 0
    ready_unsaid: int = 0
    windows: int = 0
    in_window: int = 0

    def join(self, other: "Counts") -> None:
        """Take in what was counted elsewhere."""
        for name, value in vars(other).items():
            setattr(self, name, getattr(self, name) + value)


@dataclass
class Answer:
    """What was said of a stack: the hour it was first called ready, the first window given, and when."""

    said_hour: int | None = None
    window: tuple[datetime, datetime, datetime] | None = None


def count(
    store: Store,
    chests: Sequence[Chest],
    lots: Sequence[tuple[Lot, Answer]],
    start: datetime,
    end_at: datetime,
) -> Counts:
    """Warnings and answers of one book against the truth."""
    counts = Counts(chests=len(chests))
    with store.session() as session:
        for chest in chests:
            named = select(FitRow).join(PieceRow).where(PieceRow.name == chest.recorded.name)
            fits = {fit.name: fit.id for fit in session.scalars(named)}
            for (fit, limit), hour in chest.past_hour.items():
                past_at = None if hour is None else start + (hour + 1) * HOUR
                harms = chest.severity[fit, limit] == "harms"
                _count_limit(session, counts, (fits[fit], limit), past_at, harms, end_at)
        counts.notices = session.scalar(select(func.count()).select_from(Notice)) or 0
    for lot, answer in lots:
        _count_lot(counts, lot, answer, start)
    return counts


def _count_limit(
    session: Session,
    counts: Counts,
    which: tuple[int, str],
    past_at: datetime | None,
    harms: bool,
    end_at: datetime,
) -> None:
    fit, limit = which
    rows = session.scalars(
        select(Warning).where(
            Warning.subject_kind == "fit",
            Warning.subject_id == fit,
            Warning.limit_name.in_((limit, NEXT + limit)),
        )
    ).all()
    coming = [row for row in rows if row.limit_name.startswith(NEXT)]
    if past_at is not None:
        ahead = _warned_since(coming, rows, past_at)
        in_time = ahead is not None and past_at - ahead >= DAY
        counts.harms += harms
        counts.missed += harms and not in_time
        counts.missed_at_all += harms and not any(_open(row, past_at - DAY) for row in rows)
        if ahead is not None:
            counts.leads.append((past_at - ahead) / DAY)
    for row in coming:
        counts.told += 1
        until_at = session.scalar(
            select(func.max(Statement.until_at)).where(
                Statement.fit_id == fit,
                Statement.limit_name == limit,
                Statement.said_at >= row.opened_at,
                Statement.said_at <= (row.closed_at or end_at),
            )
        )
        if until_at is not None and until_at <= end_at:
            counts.false += past_at is None or past_at > until_at


def _warned_since(coming: Sequence[Warning], rows: Sequence[Warning], past_at: datetime) -> datetime | None:
    """Since when a warning of what comes had been open when a limit was passed; None where none was.

    One that closed because the limit was taken to be passed already has been handed over to the warning of
    that, and counts as open as long as the other is.
    """
    open_then = [row.opened_at for row in coming if _open(row, past_at)]
    for row in coming:
        for now in rows:
            handed = not now.limit_name.startswith(NEXT) and now.to_verdict == STANDINGS[PAST]
            if handed and row.closed_at is not None and _open(now, past_at) and _open(now, row.closed_at):
                open_then.append(row.opened_at)
    return min(open_then, default=None)


def _open(row: Warning, at: datetime) -> bool:
    return row.opened_at <= at and (row.closed_at is None or row.closed_at > at)


def _count_lot(counts: Counts, lot: Lot, answer: Answer, start: datetime) -> None:
    counts.stacks += 1
    if lot.ready_hour is None:
        counts.ready_only_said += answer.said_hour is not None
    elif answer.said_hour is None:
        counts.ready_unsaid += 1
    else:
        counts.ready_days.append((answer.said_hour - lot.ready_hour) / 24.0)
    if answer.window is not None and lot.ready_hour is not None:
        low, high, asked_at = answer.window
        counts.windows += 1
        ready_at = max(start + lot.ready_hour * HOUR, asked_at)  # ready already is ready from now
        counts.in_window += low - DAY <= ready_at <= high


def table(counts: Counts, years: float) -> str:
    """The table as lines of text."""
    share = 100.0 * counts.missed / counts.harms if counts.harms else float("nan")
    lines = [
        f"harms truly passed            {counts.harms} ({counts.harms / years:.1f} a piece-year)",
        f"missed                        {counts.missed} ({share:.0f} %; aim 5 % at most)",
        f"  with no warning of any kind {counts.missed_at_all}",
        f"warnings of what comes        {counts.told} ({counts.told / years:.1f} a piece-year)",
        f"false                         {counts.false} "
        f"({counts.false / years:.2f} a piece-year; aim 1 at most)",
    ]
    if counts.leads:
        low, middle, high = np.quantile(counts.leads, (0.25, 0.5, 0.75))
        lines.append(
            f"lead                          {middle:.0f} days ({low:.0f} to {high:.0f}; aim 10 at least)"
        )
    lines.append(
        f"notices planned               {counts.notices} ({counts.notices / years:.1f} a piece-year)"
    )
    lines.append(f"stacks                        {counts.stacks}")
    if counts.ready_days:
        low, middle, high = np.quantile(counts.ready_days, (0.1, 0.5, 0.9))
        early = float(np.mean(np.array(counts.ready_days) < -1.0))
        lines.append(
            f"called ready, after it was    {middle:+.0f} days ({low:+.0f} to {high:+.0f}), "
            f"{100.0 * early:.0f} % more than a day early"
        )
    lines.append(f"called ready, never was       {counts.ready_only_said}")
    lines.append(f"ready, never called so        {counts.ready_unsaid}")
    if counts.windows:
        lines.append(
            f"ready within the first window {counts.in_window} of {counts.windows} "
            f"({100.0 * counts.in_window / counts.windows:.0f} %; 80 % if the doubts are right)"
        )
    return "\n".join(lines)
