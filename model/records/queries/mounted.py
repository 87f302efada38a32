"""What pages ask of sensors on wood: where they can be, what each says now, and what it sent."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from model.records.acts.mounts import bound_to, sensor_of
from model.records.queries.answers import Judgement
from model.records.queries.sensing import sensors
from model.records.queries.traces import Doubted, doubts_of
from model.records.schema.tables import Measurement, MemberRow, Mount, PieceRow, Stack, WoodReading
from model.records.schema.types import to_epoch_ms
from model.wood.errors import BadInput
from model.wood.fits import kind_named
from model.wood.material.wood_sensor import Said, WoodSensor


@dataclass(frozen=True)
class MountNow:
    """A sensor on wood, and its last reading.

    Attributes
    ----------
    wood : str
        What it is on, by name.
    kind, owner_id : str, int
        The stack or the piece whose page shows it.
    value, said : float, Said
        As it came, and what that comes to; none before it spoke, or where no wood can give it.
    """

    sensor_id: int
    sensor: str
    wood: str
    kind: str
    owner_id: int
    body_id: int
    quantity: str
    measures: str
    since_at: datetime
    last_at: datetime | None
    value: float | None
    said: Said | None
    judgement: Judgement


@dataclass(frozen=True)
class SentOnWood:
    """What a sensor on wood sent within a span, as what it comes to, in order.

    Attributes
    ----------
    at : (n,) array of datetime64[ms]
    value : (n,) array
        In % or mm, without corrections; NaN where no wood can give it.
    doubts : sequence of (since, until, reason)
    """

    at: np.ndarray
    value: np.ndarray
    doubts: Doubted


def mounted(
    session: Session, now: datetime, bodies: Sequence[int] | None = None, sensor_id: int | None = None
) -> tuple[MountNow, ...]:
    """The sensors that are on wood now: on some bodies, one of them, or all, by name."""
    wanted = select(Mount).where(Mount.until_at.is_(None))
    if bodies is not None:
        wanted = wanted.where(Mount.body_id.in_(bodies))
    if sensor_id is not None:
        wanted = wanted.where(Mount.sensor_id == sensor_id)
    rows = session.scalars(wanted).all()
    if not rows:
        return ()
    known = {one.id: one for one in sensors(session, now)}
    found = [
        _now(session, mount, known[mount.sensor_id].judgement, now)
        for mount in rows
        if mount.sensor_id in known
    ]
    return tuple(sorted(found, key=lambda one: one.sensor))


def _now(session: Session, mount: Mount, judgement: Judgement, now: datetime) -> MountNow:
    wood, last = bound_to(mount), _last(session, mount.sensor_id, now)
    body, said = mount.body, None
    if last is not None and (sensor := sensor_at(session, mount)) is not None:
        said = sensor.said(last.value, last.wood_c)
    is_part = isinstance(body, MemberRow)
    return MountNow(
        sensor_id=mount.sensor_id,
        sensor=mount.sensor.name,
        wood=wood.said,
        kind="piece" if is_part else "stack",
        owner_id=body.piece_id if isinstance(body, MemberRow) else body.id,
        body_id=body.id,
        quantity=mount.quantity,
        measures="mc_pct" if mount.quantity != "length" else wood.measures,
        since_at=mount.since_at,
        last_at=last.observed_at if last is not None else None,
        value=last.value if last is not None else None,
        said=said,
        judgement=judgement,
    )


def sensor_at(session: Session, mount: Mount) -> WoodSensor | None:
    """The sensor as a mount ties it; none where the record can't be read."""
    try:
        return sensor_of(session, bound_to(mount), mount.quantity, mount.terms)
    except BadInput:
        return None


def _last(session: Session, sensor_id: int, now: datetime) -> WoodReading | None:
    wanted = select(WoodReading).where(WoodReading.sensor_id == sensor_id, WoodReading.observed_at <= now)
    return session.scalar(wanted.order_by(WoodReading.observed_at.desc(), WoodReading.value).limit(1))


def sent_on_wood(session: Session, sensor_id: int, since_at: datetime, until_at: datetime) -> SentOnWood:
    """What a sensor sent within a span, through all that bound it then."""
    rows = session.execute(
        select(WoodReading.observed_at, WoodReading.value)
        .where(
            WoodReading.sensor_id == sensor_id,
            WoodReading.observed_at >= since_at,
            WoodReading.observed_at <= until_at,
        )
        .order_by(WoodReading.observed_at, WoodReading.value)
    ).all()
    at = np.array([to_epoch_ms(row.observed_at) for row in rows], dtype=np.int64)
    raw, value = np.array([row.value for row in rows], dtype=float), np.full(len(rows), np.nan)
    for mount in session.scalars(select(Mount).where(Mount.sensor_id == sensor_id)):
        sensor = sensor_at(session, mount)
        if sensor is not None and len(rows):
            end = np.iinfo(np.int64).max if mount.until_at is None else to_epoch_ms(mount.until_at)
            own = (at >= to_epoch_ms(mount.since_at)) & (at < end)
            value[own] = sensor.roughly(raw[own])
    return SentOnWood(at.astype("datetime64[ms]"), value, doubts_of(session, sensor_id, since_at, until_at))


def first_sent_at(session: Session, sensor_id: int) -> datetime | None:
    """When a sensor on wood first spoke."""
    wanted = select(WoodReading.observed_at).where(WoodReading.sensor_id == sensor_id)
    return session.scalar(wanted.order_by(WoodReading.observed_at).limit(1))


def measured_by(session: Session, sensor_id: int, limit: int = 20) -> tuple[Measurement, ...]:
    """The last measurements that a sensor made, newest first."""
    wanted = select(Measurement).where(Measurement.sensor_id == sensor_id, Measurement.undone_at.is_(None))
    return tuple(session.scalars(wanted.order_by(Measurement.at.desc()).limit(limit)))


def where_it_can_be(session: Session, quantity: str) -> list[tuple[str, str]]:
    """What a sensor of a quantity can be bound to, as a key and its name: stacks, parts, fits with a gap.

    A key is stack, part or fit, a colon, and the name by which `wood_named` finds it.
    """
    found: list[tuple[str, str]] = []
    if quantity != "length":
        stacks = select(Stack).where(Stack.retired_at.is_(None)).order_by(Stack.name)
        found += [(f"stack:{one.name}", one.name) for one in session.scalars(stacks)]
    for piece in session.scalars(
        select(PieceRow).where(PieceRow.retired_at.is_(None)).order_by(PieceRow.name)
    ):
        for fit in piece.fits if quantity == "length" else ():
            if kind_named(fit.kind).gap_attribute is not None:
                name = f"{piece.name}: {fit.name.replace('_', ' ')} (gap)"
                found.append((f"fit:{piece.name}/{fit.name}", name))
        found += [
            (f"part:{piece.name}/{one.name}", f"{piece.name}: {one.name.replace('_', ' ')}")
            for one in piece.members
        ]
    return found
