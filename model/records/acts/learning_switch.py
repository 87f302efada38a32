"""Whether the watch learns from measurements: the shop's choice, on unless it says otherwise."""

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from model.records.acts.invalidation import note_change, rewind
from model.records.schema.tables import BodyRow, Measurement, Preference

KEPT_AS = "learn from measurements"
"""Name of the preference that holds it."""


def is_learning(session: Session) -> bool:
    """Whether what is measured on a part teaches its movement and its speed."""
    row = session.get(Preference, KEPT_AS)
    return row is None or bool(row.value["on"])


def set_learning(session: Session, on: bool) -> None:
    """Keep the choice, from the first measurement on."""
    if on != is_learning(session):
        session.merge(Preference(name=KEPT_AS, value={"on": on}))
        learn_anew(session)


def learn_anew(session: Session) -> None:
    """Have everything computed again of measured wood since its first measurement."""
    note_change(session)
    first = (
        select(BodyRow, func.min(Measurement.at))
        .join(Measurement, Measurement.body_id == BodyRow.id)
        .where(Measurement.undone_at.is_(None))
        .group_by(BodyRow.id)
        .order_by(BodyRow.id)
    )
    for body, at in session.execute(first).all():
        rewind(session, body, at)
