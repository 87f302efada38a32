"""What was learned of parts and stacks by what was measured on them, as the watch stored it."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from model.records.queries.answers import of_row
from model.records.schema.tables import LearnedRow
from model.wood.learning import Learned


def learned_now(session: Session, body_ids: Iterable[int], now: datetime) -> Mapping[int, Learned]:
    """What is known of some bodies at an instant; those that nothing was measured on are left out."""
    newest = (
        select(LearnedRow.body_id, func.max(LearnedRow.at).label("at"))
        .where(LearnedRow.body_id.in_(list(body_ids)), LearnedRow.at <= now)
        .group_by(LearnedRow.body_id)
        .subquery()
    )
    rows = session.scalars(
        select(LearnedRow).join(
            newest, (LearnedRow.body_id == newest.c.body_id) & (LearnedRow.at == newest.c.at)
        )
    )
    return {row.body_id: of_row(Learned, row) for row in rows}


def learned_through(
    session: Session, body_ids: Iterable[int]
) -> Mapping[int, Sequence[tuple[datetime, Learned]]]:
    """All that was learned of some bodies and from which hour on, first to last; none of one not measured."""
    wanted = select(LearnedRow).where(LearnedRow.body_id.in_(list(body_ids))).order_by(LearnedRow.at)
    found: dict[int, list[tuple[datetime, Learned]]] = defaultdict(list)
    for row in session.scalars(wanted):
        found[row.body_id].append((row.at, of_row(Learned, row)))
    return found
