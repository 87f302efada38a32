"""Topics dismissed for good, and the way back: what was kept of one stays with it, out of sight."""

from datetime import datetime

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session

from model.records.schema.tables import DismissedTopic, HeardMessage
from model.wood.errors import BadInput


def waiting() -> ColumnElement[bool]:
    """Of kept messages: those whose topic waits to be accepted."""
    return HeardMessage.topic.not_in(select(DismissedTopic.topic))


def dismissed_topics(session: Session) -> tuple[str, ...]:
    """The topics that are dismissed, by name."""
    return tuple(session.scalars(select(DismissedTopic.topic).order_by(DismissedTopic.topic)))


def dismiss_topic(session: Session, topic: str, at: datetime) -> DismissedTopic:
    """List a topic no longer, and keep no more of its messages.

    Raises
    ------
    BadInput
        If it does not wait to be accepted.
    """
    if session.scalar(select(HeardMessage.id).where(HeardMessage.topic == topic, waiting()).limit(1)) is None:
        raise BadInput("sensors", "topic", "must be one of the unknown topics that were heard", topic)
    row = DismissedTopic(topic=topic, dismissed_at=at)
    session.add(row)
    session.flush()
    return row


def bring_back_topic(session: Session, topic: str) -> None:
    """List a dismissed topic again, with what was kept of it.

    Raises
    ------
    BadInput
        If it is not dismissed.
    """
    row = session.scalars(select(DismissedTopic).where(DismissedTopic.topic == topic)).first()
    if row is None:
        raise BadInput("sensors", "topic", "must be one that is dismissed", topic)
    session.delete(row)
    session.flush()
