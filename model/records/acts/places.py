"""Places in the shop's book: recorded, corrected, and what keeps one there."""

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from model.records.acts.invalidation import mark_hours, note_change
from model.records.schema.tables import Client, Document, GlueUp, Hanging, PieceRow, Place, Stack, Stay
from model.wood.errors import BadInput

PLACE_KINDS = ("shop", "storage", "home")


def add_place(
    session: Session,
    name: str,
    kind: str,
    zone: str = "UTC",
    wood_offset_c: float = 0.0,
    climate: Document | None = None,
    note: str = "",
    has_iron: bool = False,
    client: Client | None = None,
) -> Place:
    """Record a place.

    Parameters
    ----------
    name : str
        Not yet the name of another place.
    kind : str
        shop, storage or home; decides how long its sensors may be silent.
    zone : str
        IANA time zone, for showing times.
    wood_offset_c : float
        How much warmer the wood is than the sensor [K], -15 to 15; the air is moved there at constant
        vapour pressure.
    climate : dict, optional
        Outdoor climate and occupancy, when known.
    has_iron : bool
        Whether cast iron stands there, whose rusting is to be warned of.
    client : Client, optional
        Whose home it is.
    """
    place = Place(
        kind=kind,
        zone=zone,
        wood_offset_c=wood_offset_c,
        climate=climate,
        note=note,
        has_iron=has_iron,
        client=client,
    )
    place.name = free_name(session, Place, name, "place")
    _check_place(place)
    note_change(session)
    session.add(place)
    session.flush()
    return place


def change_place(session: Session, place: Place, **changes: Any) -> None:
    """Correct what was recorded of a place; a changed wood offset computes all its air again."""
    allowed = ("name", "kind", "zone", "wood_offset_c", "climate", "has_iron", "note", "client")
    for key, value in changes.items():
        if key not in allowed:
            raise BadInput(f"place {place.name}", key, f"must be one of {', '.join(allowed)}", value)
    if "name" in changes and changes["name"] != place.name:
        changes["name"] = free_name(session, Place, changes["name"], "place")
    offset_before = place.wood_offset_c
    note_change(session)
    for key, value in changes.items():
        setattr(place, key, value)
    _check_place(place)
    session.flush()
    if place.wood_offset_c != offset_before:
        for hanging in session.scalars(select(Hanging).where(Hanging.place_id == place.id)):
            mark_hours(session, [hanging.sensor_id], hanging.since_at, hanging.until_at)


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


def _check_place(place: Place) -> None:
    where = f"place {place.name}"
    if place.kind not in PLACE_KINDS:
        raise BadInput(where, "kind", f"must be one of {', '.join(PLACE_KINDS)}", place.kind)
    check_zone(place.zone, where)
    offset = place.wood_offset_c
    if isinstance(offset, bool) or not isinstance(offset, int | float) or not -15.0 <= offset <= 15.0:
        raise BadInput(where, "wood_offset_c", "must be a number in -15 to 15 K", offset)


def check_zone(zone: str, where: str) -> None:
    """Refuse what is no IANA time zone."""
    try:
        ZoneInfo(zone)
    except (KeyError, OSError, ValueError) as problem:
        rule = 'must be the name of a time zone, such as "Europe/Vienna"'
        raise BadInput(where, "zone", rule, zone) from problem


def free_name(
    session: Session, table: type[PieceRow] | type[Place] | type[Client], name: str, noun: str
) -> str:
    """A name that is given, and not yet that of another.

    Raises
    ------
    BadInput
        If it is empty or taken.
    """
    name = name.strip()
    if not name:
        raise BadInput("", f"{noun} name", "must be given", name)
    if session.scalar(select(table.id).where(table.name == name)) is not None:
        raise BadInput("", f"{noun} name", "must not be taken yet", name)
    return name


def place_named(session: Session, name: str) -> Place:
    """A recorded place; an unknown name is answered with those there are."""
    found = session.scalar(select(Place).where(Place.name == name))
    if found is None:
        known = ", ".join(session.scalars(select(Place.name).order_by(Place.name))) or "none yet"
        raise BadInput("", "place", f"must be one that is recorded ({known})", name)
    return found
