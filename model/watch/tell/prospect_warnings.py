"""What is said each day of the coming year, kept, and the warnings that follow from three days of it.

One opens when the last `DAYS_IN_A_ROW` statements have a limit passed in so many of the years, each from
within so many days: a fifth of them within three weeks where it harms, half of them within a month where
it shows. It closes after as many well below that, or when the limit is passed: then the warning of how it
stands has taken over. A statement of a day gone by is never changed, so that readings that come late change
nothing that was said. The figures warn of harm in time without crying wolf (`tests/bench/year_lived.py`).
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from model.records.schema.tables import Statement, Warning
from model.watch.state.hysteresis import EASY, NEAR, STANDINGS

KEPT_DAYS = 400
LIKELY_PCT = 10.0
OPENS_AT_PCT = {"harms": 20.0, "shows": 50.0}
CLOSES_BELOW_PCT = {"harms": 10.0, "shows": 30.0}
WITHIN_DAYS = {"harms": 21, "shows": 30}
TIERS = {"harms": "morning", "shows": "week"}
EVEN_PCT = 50.0
"""Below an even chance the chance is said with the warning."""
DAYS_IN_A_ROW = 3
OLDEST_DAYS = 7
"""Of the statements that a warning rests on: a watch that was off for a weekend goes on counting."""
NEXT = "next "
"""What the limit's name begins with in a warning of what may come, beside that of how it stands."""


def say_today(
    session: Session, piece: str, at: datetime, fits: Mapping[str, int], said: Iterable[Mapping[str, Any]]
) -> None:
    """Keep what is said of a piece's limits at a midnight, and open and close the warnings of it.

    Parameters
    ----------
    fits : mapping of fit name to id
    said : iterable of documents
        Of every limit, as `outlook_run.statement_of` makes them; of one that is passed now `is_past`.
    """
    session.execute(
        delete(Statement).where(
            Statement.fit_id.in_(fits.values()),
            (Statement.said_at >= at) | (Statement.said_at < at - timedelta(days=KEPT_DAYS)),
        )
    )
    open_now = {
        (warning.subject_id, warning.limit_name.removeprefix(NEXT)): warning
        for warning in session.scalars(
            select(Warning).where(
                Warning.subject_kind == "fit",
                Warning.subject_id.in_(fits.values()),
                Warning.limit_name.startswith(NEXT),
                Warning.closed_at.is_(None),
            )
        )
    }
    for one in said:
        fit_id, limit = fits[one["fit"]], one["limit"]
        warning = open_now.get((fit_id, limit))
        if one["is_past"]:
            if warning is not None:
                warning.closed_at = max(at, warning.opened_at)
            continue
        if one["chance_pct"] < LIKELY_PCT and warning is None:
            continue
        days = one["low_days"], one["high_days"]
        from_at, until_at = (None if day is None else at + timedelta(days=day) for day in days)
        session.add(
            Statement(
                fit_id=fit_id,
                limit_name=limit,
                said_at=at,
                chance_pct=one["chance_pct"],
                from_at=from_at,
                until_at=until_at,
                reason_key=one["reason_key"],
            )
        )
        session.flush()
        latest = session.scalars(
            select(Statement)
            .where(
                Statement.fit_id == fit_id,
                Statement.limit_name == limit,
                Statement.said_at > at - timedelta(days=OLDEST_DAYS),
            )
            .order_by(Statement.said_at.desc())
            .limit(DAYS_IN_A_ROW)
        ).all()
        if warning is None:
            if _opens(latest, one["severity"]) and not _opened_at(session, fit_id, limit, at):
                session.add(_warning(piece, fit_id, one, at))
        elif len(latest) == DAYS_IN_A_ROW and all(
            s.chance_pct < CLOSES_BELOW_PCT[one["severity"]] for s in latest
        ):
            warning.closed_at = max(at, warning.opened_at)


def _opens(latest: Sequence[Statement], severity: str) -> bool:
    within = timedelta(days=WITHIN_DAYS[severity])
    return len(latest) == DAYS_IN_A_ROW and all(
        one.chance_pct >= OPENS_AT_PCT[severity]
        and one.from_at is not None
        and one.from_at - one.said_at <= within
        for one in latest
    )


def _opened_at(session: Session, fit_id: int, limit: str, at: datetime) -> bool:
    """Whether one opened at this very midnight already, and closed: told once is told."""
    return (
        session.scalar(
            select(Warning.id).where(
                Warning.subject_kind == "fit",
                Warning.subject_id == fit_id,
                Warning.limit_name == NEXT + limit,
                Warning.opened_at == at,
            )
        )
        is not None
    )


def _warning(piece: str, fit_id: int, one: Mapping[str, Any], at: datetime) -> Warning:
    return Warning(
        subject_kind="fit",
        subject_id=fit_id,
        limit_name=NEXT + one["limit"],
        tier=TIERS[one["severity"]],
        from_verdict=STANDINGS[EASY],
        to_verdict=STANDINGS[NEAR],
        detail={"key": "next" if one["chance_pct"] >= EVEN_PCT else "coming", "piece": piece, **one},
        opened_at=at,
    )
