"""Invalidates what was computed from rows that were restored, each from the earliest instant it bears on."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from model.records.acts.hangings import take_back_air
from model.records.acts.invalidation import (
    AIR,
    erase,
    forget_subject,
    mark_hours,
    note_change,
    rewind,
)
from model.records.acts.learning_switch import KEPT_AS as LEARNING
from model.records.acts.learning_switch import learn_anew
from model.records.acts.trusted import mark_correction
from model.records.schema.tables import AirHour, BodyRow, Hanging, PieceRow, Place, Sensor
from model.records.schema.types import EPOCH, from_epoch_ms

Row = Mapping[str, Any]
SUBJECTS = ("piece", "stack", "fit", "place", "sensor")
"""Tables whose rows verdicts and warnings are about."""


def forget_computed(session: Session, table: str, number: Any) -> None:
    """Delete what was computed of a row that is about to go out of the book."""
    if table in SUBJECTS:
        forget_subject(session, table, int(number))
    if table == "place":
        note_change(session, AIR)
        erase(session, delete(AirHour).where(AirHour.place_id == int(number)))


def recompute(session: Session, rows: Sequence[tuple[str, Any, Row | None, Row | None]]) -> None:
    """Have the watch compute again what follows from rows that changed, once they are as they are to be.

    Parameters
    ----------
    rows : sequence of (table, key, one state, the other state)
        In no order; a state is none where the row was not there. Instants in milliseconds since 1970.
    """
    wood: dict[tuple[str, int], datetime] = {}

    def owner(kind: str, number: Any, since_at: datetime = EPOCH) -> None:
        if number is not None:
            key = (kind, int(number))
            wood[key] = min(since_at, wood.get(key, since_at))

    for table, key, one, other in rows:
        if one == other:
            continue
        states = [state for state in (one, other) if state is not None]
        match table:
            case "piece" if _beside_client(one) != _beside_client(other):
                owner("piece", key)
            case "body" | "member" | "stack":
                owner("body", key)
            case "fit":
                owner("piece", states[0]["piece_id"])
            case "stay":
                since_at = _spans(one, other)[0][0]
                owner("piece", states[0]["piece_id"], since_at)
                owner("body", states[0]["stack_id"], since_at)
            case "measurement":
                owner("body", states[0]["body_id"], from_epoch_ms(states[0]["at"]))
            case "hanging":
                _hung(session, one, other)
            case "doubt":
                for state in states:
                    mark_hours(session, [state["sensor_id"]], *_span(state))
            case "correction":
                mark_correction(session, states[0]["sensor_id"], from_epoch_ms(states[0]["since_at"]))
            case "preference" if key == LEARNING:
                learn_anew(session)
            case "place" if one is not None and other is not None:
                if one["wood_offset_c"] != other["wood_offset_c"]:
                    for hanging in session.scalars(select(Hanging).where(Hanging.place_id == key)):
                        mark_hours(session, [hanging.sensor_id], hanging.since_at, hanging.until_at)
    for (kind, number), since_at in wood.items():
        found: PieceRow | BodyRow | None
        found = session.get(PieceRow, number) if kind == "piece" else session.get(BodyRow, number)
        if found is not None:
            rewind(session, found, since_at)


def _beside_client(row: Row | None) -> Row | None:
    """A piece's row without whom it is for, which nothing is computed from."""
    return None if row is None else {name: value for name, value in row.items() if name != "client_id"}


def _hung(session: Session, one: Row | None, other: Row | None) -> None:
    sensor_id = int((one or other or {})["sensor_id"])
    for since_at, until_at in _spans(one, other):
        for place_id in {state["place_id"] for state in (one, other) if state is not None}:
            if session.get(Place, place_id) is not None:
                take_back_air(session, place_id, since_at, until_at)
        if session.get(Sensor, sensor_id) is not None:
            mark_hours(session, [sensor_id], since_at, until_at)


def _spans(one: Row | None, other: Row | None) -> list[tuple[datetime, datetime | None]]:
    """The spans over which two states of a stay or a hanging differ, first to last."""
    if one is None or other is None or one["place_id"] != other["place_id"]:
        spans = [_span(state) for state in (one, other) if state is not None]
        ends = [until for _, until in spans if until is not None]
        return [(min(since for since, _ in spans), max(ends) if len(ends) == len(spans) else None)]
    (one_since, one_until), (other_since, other_until) = _span(one), _span(other)
    found: list[tuple[datetime, datetime | None]] = []
    if one_since != other_since:
        found.append((min(one_since, other_since), max(one_since, other_since)))
    if one_until != other_until:
        ends = [until for until in (one_until, other_until) if until is not None]
        found.append((min(ends), max(ends) if len(ends) == 2 else None))
    return found or [(one_since, one_until)]


def _span(state: Row) -> tuple[datetime, datetime | None]:
    until = state["until_at"]
    return from_epoch_ms(state["since_at"]), None if until is None else from_epoch_ms(until)
