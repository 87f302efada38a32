"""Whether an act can still be taken back: what was built on a sensor or a place since it was recorded."""

from collections.abc import Collection
from datetime import datetime

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from model.records.tables import (
    Binding,
    Correction,
    Doubt,
    GlueUp,
    Hanging,
    Place,
    Sensor,
    Stack,
    Stay,
    Verdict,
    Warning,
)
from model.records.trusted import BY_HAND
from model.wood.errors import BadInput


def refuse_if_used(session: Session, sensor: Sensor, bindings: Collection[int], act: str) -> None:
    """Refuse to take a sensor back that a person did more with than the act that is to be taken back.

    Parameters
    ----------
    bindings : ids
        Those that it may have.
    act : str
        What is to be taken back, as the refusal names it.

    Raises
    ------
    BadInput
        In one sentence, with the first thing found.
    """
    since = None
    in_force = Correction.sensor_id == sensor.id, Correction.undone_at.is_(None)
    by_hand = Doubt.sensor_id == sensor.id, Doubt.kind == BY_HAND, Doubt.undone_at.is_(None)
    if sensor.retired_at is not None:
        since = "is no longer in use"
    elif len(sensor.hangings) > 1 or any(hanging.until_at is not None for hanging in sensor.hangings):
        since = "was hung elsewhere since"
    elif session.scalar(select(Correction.id).where(*in_force).limit(1)) is not None:
        since = "was checked over salt since"
    elif session.scalar(select(Doubt.id).where(*by_hand).limit(1)) is not None:
        since = "was doubted by hand since"
    elif set(session.scalars(select(Binding.id).where(Binding.sensor_id == sensor.id))) != set(bindings):
        since = "has other topics since"
    if since is not None:
        raise BadInput("", sensor.name, f"{since}, so {act} can't be taken back", "nothing")


def use_of(session: Session, place: Place) -> str | None:
    """What keeps a place in the book, in words: wood that stands or stood there, a sensor, clamps."""
    stay = session.scalars(
        select(Stay).where(Stay.place_id == place.id).order_by(Stay.until_at.is_not(None), Stay.since_at)
    ).first()
    if stay is not None:
        owner = stay.piece or stay.stack
        assert owner is not None
        return f"{owner.name} {_stands(stay.until_at)} there"
    hanging = session.scalars(
        select(Hanging)
        .where(Hanging.place_id == place.id)
        .order_by(Hanging.until_at.is_not(None), Hanging.since_at)
    ).first()
    if hanging is not None:
        return f"{hanging.sensor.name} {'hangs' if hanging.until_at is None else 'hung'} there"
    meant = session.scalar(select(Stack.name).where(Stack.destination_id == place.id).limit(1))
    if meant is not None:
        return f"{meant} is meant for it"
    if session.scalar(select(GlueUp.id).where(GlueUp.place_id == place.id).limit(1)) is not None:
        return "clamps were on there"
    return None


def _stands(until_at: datetime | None) -> str:
    return "stands" if until_at is None else "stood"


def forget_subject(session: Session, subject_kind: str, subject_id: int) -> None:
    """Delete the verdict and warnings of something that is no longer in the book."""
    for table in (Verdict, Warning):
        session.execute(
            delete(table).where(table.subject_kind == subject_kind, table.subject_id == subject_id),
            execution_options={"synchronize_session": False},
        )
