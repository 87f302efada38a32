"""Places in the shop's book: recorded, corrected and taken out."""

from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from model.records.rewind import AIR, mark_hours, note_change
from model.records.tables import AirHour, Document, Hanging, Piece, Place
from model.records.unchanged import forget_subject, use_of
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
    """
    place = Place(
        kind=kind, zone=zone, wood_offset_c=wood_offset_c, climate=climate, note=note, has_iron=has_iron
    )
    place.name = free_name(session, Place, name, "place")
    _check_place(place)
    note_change(session)
    session.add(place)
    session.flush()
    return place


def change_place(session: Session, place: Place, **changes: Any) -> None:
    """Correct what was recorded of a place; a changed wood offset computes all its air again."""
    allowed = ("name", "kind", "zone", "wood_offset_c", "climate", "has_iron", "note")
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


def remove_place(session: Session, place: Place) -> None:
    """Take a place out of the book, as if it had never been recorded.

    Raises
    ------
    BadInput
        If something stands, stood or hangs there, or is meant for it: what, in one sentence.
    """
    kept_by = use_of(session, place)
    if kept_by is not None:
        raise BadInput("", place.name, f"can't be taken out of the book: {kept_by}", "nothing")
    note_change(session)
    note_change(session, AIR)
    session.execute(
        delete(AirHour).where(AirHour.place_id == place.id), execution_options={"synchronize_session": False}
    )
    forget_subject(session, "place", place.id)
    session.delete(place)
    session.flush()


def _check_place(place: Place) -> None:
    where = f"place {place.name}"
    if place.kind not in PLACE_KINDS:
        raise BadInput(where, "kind", f"must be one of {', '.join(PLACE_KINDS)}", place.kind)
    try:
        ZoneInfo(place.zone)
    except (KeyError, OSError, ValueError) as problem:
        raise BadInput(
            where, "zone", 'must be the name of a time zone, such as "Europe/Vienna"', place.zone
        ) from problem
    offset = place.wood_offset_c
    if isinstance(offset, bool) or not isinstance(offset, int | float) or not -15.0 <= offset <= 15.0:
        raise BadInput(where, "wood_offset_c", "must be a number in -15 to 15 K", offset)


def free_name(session: Session, table: type[Piece] | type[Place], name: str, noun: str) -> str:
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
