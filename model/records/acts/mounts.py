"""Which wood a sensor is bound to, since when, and what ties what it says to that wood.

A scale is tied by one weight at a known moisture content, a gauge by what it shows at a known size. A new
zero begins a new span, so that what was measured before it stays.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from model.records.acts.book import load_piece
from model.records.acts.invalidation import aware, mark_hours, note_change
from model.records.acts.lumber import lumber_from_document
from model.records.acts.measured import USUAL_UNCERTAINTY, withdraw_measurements
from model.records.acts.revisions import KEPT_FOR
from model.records.acts.trusted import take_turn
from model.records.schema.tables import (
    BodyRow,
    Doubt,
    FitRow,
    Measurement,
    MemberRow,
    Mount,
    PieceRow,
    Preference,
    Sensor,
    Stack,
    WoodReading,
)
from model.wood.errors import BadInput
from model.wood.fits import kind_named
from model.wood.material.instruments import METER_UNCERTAINTY_PCT, OVEN_DOUBT_PCT, WitnessBoard
from model.wood.material.species import find_species
from model.wood.material.wood_sensor import WoodSensor, sensor_on


@dataclass(frozen=True)
class WoodBound:
    """What a sensor is bound to: a stack, a part, or a fit with one of its parts."""

    body: BodyRow
    fit: FitRow | None = None

    @property
    def measures(self) -> str:
        """What a gauge there measures."""
        return "width_mm" if self.fit is None else "gap_mm"

    @property
    def said(self) -> str:
        """Its name: the stack's; the part's or fit's, and the piece's."""
        if not isinstance(self.body, MemberRow):
            return self.body.name
        own = self.fit.name if self.fit is not None else self.body.name
        return f"{own.replace('_', ' ')} of {self.body.piece.name}"


@dataclass(frozen=True)
class Ties:
    """What a maker says of a sensor on wood; what is left out is taken from the record.

    Attributes
    ----------
    dry_g : float, optional
        The board's oven-dry weight.
    mc_pct : float, optional
        Its moisture content now, by a meter.
    mass_g : float, optional
        What it weighs now on another scale: for a new zero.
    at_mm : float, optional
        The gap or width now, by hand.
    grows : bool
        Whether a gauge's reading grows as what it measures grows.
    set_for : str
        The wood that a probe is set for, where it isn't this one.
    wood_c : float, optional
        The wood's temperature, where the messages don't tell it [°C].
    """

    dry_g: float | None = None
    mc_pct: float | None = None
    mass_g: float | None = None
    at_mm: float | None = None
    grows: bool = True
    set_for: str = ""
    wood_c: float | None = None


def board_name(stack_id: int) -> str:
    """The name of the preference that keeps a stack's witness board."""
    return KEPT_FOR["body"].format(stack_id)


def board_of(session: Session, stack_id: int) -> WitnessBoard | None:
    """The board that is kept with a stack; none before one was first weighed."""
    row = session.get(Preference, board_name(stack_id))
    return None if row is None else WitnessBoard(**row.value)


def wood_named(
    session: Session, *, stack: str | None = None, part: str | None = None, fit: str | None = None
) -> WoodBound:
    """The wood of a name: a stack's, or a piece's and its part's or fit's with a stroke between.

    Raises
    ------
    BadInput
        If not exactly one is given, or there is none such.
    """
    given = {key: one for key, one in (("stack", stack), ("part", part), ("fit", fit)) if one}
    if len(given) != 1:
        rule = "must be given, one of stack, part and fit"
        raise BadInput("", "what it is bound to", rule, ", ".join(given) or "nothing")
    [(what, name)] = given.items()
    if what == "stack":
        found = session.scalar(select(Stack).where(Stack.name == name, Stack.retired_at.is_(None)))
        if found is None:
            known = ", ".join(session.scalars(select(Stack.name).order_by(Stack.name))) or "none yet"
            raise BadInput("", "stack", f"must be one that is recorded ({known})", name)
        return WoodBound(found)
    piece_name, _, own = name.rpartition("/")
    piece = session.scalar(select(PieceRow).where(PieceRow.name == piece_name.strip()))
    if piece is None:
        raise BadInput("", what, "must be a piece and its own, as Hall bench/back", name)
    rows: Mapping[str, Any] = {row.name: row for row in (piece.members if what == "part" else piece.fits)}
    row = rows.get(own.strip())
    if row is None:
        raise BadInput("", what, f"must be one of {piece.name}: {', '.join(sorted(rows))}", own.strip())
    return WoodBound(row) if what == "part" else wood_of_fit(row)


def wood_of_fit(fit: FitRow) -> WoodBound:
    """A fit with the part whose movement its gap shows.

    Raises
    ------
    BadInput
        If its kind has no gap that can be measured.
    """
    if kind_named(fit.kind).gap_attribute is None:
        raise BadInput("", "fit", f"must have a gap that can be measured; a {fit.kind} has none", fit.name)
    told = fit.document.get("part") or fit.document.get("parts")
    names = told if isinstance(told, list) else [told]
    member = next((member for member in fit.piece.members if member.name in names), None)
    if member is None:
        raise BadInput("", "fit", "must name its part", fit.name)
    return WoodBound(member, fit)


@dataclass
class BindTo:
    """What a sensor is bound to in place of a place: a stack, a part or a fit by name, and what ties it.

    Attributes
    ----------
    unit : str
        Of its values where the messages give none.
    """

    stack: str | None = None
    part: str | None = None
    fit: str | None = None
    ties: Ties = field(default_factory=Ties)
    unit: str = ""
    quantity: str = ""  # as recognised

    def wood(self, session: Session) -> WoodBound:
        return wood_named(session, stack=self.stack, part=self.part, fit=self.fit)


def mount_sensor(
    session: Session, sensor: Sensor, wood: WoodBound, quantity: str, since_at: datetime, ties: Ties
) -> Mount:
    """Bind a sensor to wood from an instant on; a mount that is open ends there.

    Its last reading is what it shows now, by which it is tied.

    Raises
    ------
    BadInput
        If what it takes to turn its values into a measurement isn't known.
    """
    where = f"sensor {sensor.name}"
    since_at = max(aware(since_at, where, "since_at"), wood.body.start_at)
    open_one = next((mount for mount in sensor.mounts if mount.until_at is None), None)
    if open_one is not None and since_at <= open_one.since_at:
        raise BadInput(where, "since", "must come after it was last bound", since_at.isoformat())
    terms = _terms(session, sensor, wood, quantity, ties, where)
    take_turn(session)
    note_change(session)
    if open_one is not None:
        open_one.until_at = since_at
    mount = Mount(
        body_id=wood.body.id,
        fit_id=wood.fit.id if wood.fit is not None else None,
        quantity=quantity,
        since_at=since_at,
        terms=terms,
    )
    sensor.mounts.append(mount)
    session.flush()
    mark_hours(session, [sensor.id], since_at)
    return mount


def set_zero(session: Session, sensor: Sensor, at: datetime, ties: Ties) -> Mount:
    """Begin anew from an instant on: the zero of a scale or gauge as it is now, of a probe its new place.

    With nothing said it is taken that the wood is as it was before the zero moved.

    Raises
    ------
    BadInput
        If it isn't bound to wood, or has sent nothing.
    """
    mount = open_mount(sensor)
    wood, terms = bound_to(mount), dict(mount.terms)
    where = f"sensor {sensor.name}"
    now = _last_value(session, sensor, where)
    if mount.quantity == "weight":
        zero_g = terms.get("zero_g", 0.0)
        if ties.dry_g is not None or ties.mc_pct is not None:
            terms |= _weight_terms(session, wood, ties, now - zero_g, where)
        elif ties.mass_g is not None:
            terms["zero_g"] = now - ties.mass_g
        else:
            terms["zero_g"] = zero_g + now - _value_before(session, sensor, mount, now)
    elif mount.quantity == "length":
        before = _value_before(session, sensor, mount, now)
        was = terms["at_mm"] + terms["sign"] * (before - terms["zero_mm"])
        terms |= {"zero_mm": now, "at_mm": was if ties.at_mm is None else ties.at_mm}
    take_turn(session)
    note_change(session)
    at = aware(at, where, "at")
    if at <= mount.since_at:
        raise BadInput(where, "at", "must come after it was last bound", at.isoformat())
    mount.until_at = at
    new = Mount(body_id=mount.body_id, fit_id=mount.fit_id, quantity=mount.quantity, since_at=at, terms=terms)
    sensor.mounts.append(new)
    session.flush()
    sensor_of(session, wood, mount.quantity, terms)
    mark_hours(session, [sensor.id], mount.since_at)
    return new


def unmount_sensor(session: Session, sensor: Sensor, at: datetime) -> None:
    """A sensor is on no wood from an instant on; what it measured stays."""
    mount = open_mount(sensor)
    at = aware(at, f"sensor {sensor.name}", "at")
    take_turn(session)
    note_change(session)
    mount.until_at = at
    session.flush()
    mark_hours(session, [sensor.id], mount.since_at)


def bound_to(mount: Mount) -> WoodBound:
    """What a mount binds."""
    return WoodBound(mount.body, mount.fit)


def open_mount(sensor: Sensor) -> Mount:
    """The mount of a sensor that is on wood now."""
    found = next((mount for mount in sensor.mounts if mount.until_at is None), None)
    if found is None:
        raise BadInput(f"sensor {sensor.name}", "wood", "must be what it is bound to", "nothing")
    return found


def forget_measured(session: Session, sensor_id: int) -> None:
    """Take out everything that was measured by a sensor that is about to go."""
    withdraw_measurements(
        session, session.scalars(select(Measurement).where(Measurement.sensor_id == sensor_id)).all()
    )


# ---------------------------------------------------------------- what ties it


def _terms(
    session: Session, sensor: Sensor, wood: WoodBound, quantity: str, ties: Ties, where: str
) -> dict[str, Any]:
    if quantity != "length" and wood.fit is not None:
        raise BadInput(where, "fit", "must be left to a gauge; bind this one to a part or a stack", quantity)
    terms: dict[str, Any] = {}
    match quantity:
        case "weight":
            terms = _weight_terms(session, wood, ties, _last_value(session, sensor, where), where)
        case "length":
            if isinstance(wood.body, Stack):
                raise BadInput(where, "stack", "must be left to a scale or a probe", "a gauge")
            at_mm = ties.at_mm if ties.at_mm is not None else _recorded_mm(session, wood, where)
            terms = {
                "zero_mm": _last_value(session, sensor, where),
                "at_mm": at_mm,
                "sign": 1 if ties.grows else -1,
                "at_uncertainty_mm": USUAL_UNCERTAINTY[wood.measures],
            }
        case "moisture":
            set_for = find_species(ties.set_for, where, "set for").name if ties.set_for else ""
            terms = {"set_for": set_for, "wood_c": ties.wood_c}
        case _:
            terms = {"wood_c": ties.wood_c}
    sensor_of(session, wood, quantity, terms)
    return terms


def _weight_terms(session: Session, wood: WoodBound, ties: Ties, now_g: float, where: str) -> dict[str, Any]:
    if ties.dry_g is not None:
        return {"mass_g": ties.dry_g, "mc_pct": 0.0, "mc_uncertainty_pct": OVEN_DOUBT_PCT}
    if ties.mc_pct is not None:
        return {"mass_g": now_g, "mc_pct": ties.mc_pct, "mc_uncertainty_pct": METER_UNCERTAINTY_PCT}
    board = board_of(session, wood.body.id) if isinstance(wood.body, Stack) else None
    if board is None:
        rule = "must be known once: the board's oven-dry weight, or its moisture content now"
        raise BadInput(where, "what it weighs dry", rule, "nothing")
    return {
        "mass_g": board.mass_g - board.extra_g,
        "mc_pct": board.mc_pct,
        "mc_uncertainty_pct": board.mc_uncertainty_pct,
        "zero_g": board.extra_g,
    }


def sensor_of(session: Session, wood: WoodBound, quantity: str, terms: Mapping[str, Any]) -> WoodSensor:
    """The sensor of a quantity on wood by its terms; BadInput where nothing could be measured by them."""
    if isinstance(wood.body, MemberRow):
        member = load_piece(session, wood.body.piece).members[wood.body.name]
        species, thickness_mm = member.species.name, member.thickness_mm
    else:
        lumber = lumber_from_document(wood.body.document, f"stack {wood.body.name}")
        species, thickness_mm = find_species(lumber.species).name, lumber.thickness_mm
    return sensor_on(quantity, terms, species, thickness_mm, wood.measures)


def _recorded_mm(session: Session, wood: WoodBound, where: str) -> float:
    """The gap or width as recorded."""
    assert isinstance(wood.body, MemberRow)
    piece = load_piece(session, wood.body.piece)
    found = piece.members[wood.body.name].width_mm
    if wood.fit is not None:
        found = getattr(piece.fits[wood.fit.name], str(kind_named(wood.fit.kind).gap_attribute))
    if found is None:
        raise BadInput(where, "what it measures now", "must be given: it isn't on record", "nothing")
    return float(found)


def _last_value(session: Session, sensor: Sensor, where: str) -> float:
    last = select(WoodReading.value).where(WoodReading.sensor_id == sensor.id)
    found = session.scalar(last.order_by(WoodReading.observed_at.desc(), WoodReading.value).limit(1))
    if found is None:
        raise BadInput(where, "reading", "must have come before it is tied to wood", "nothing")
    return float(found)


def _value_before(session: Session, sensor: Sensor, mount: Mount, now: float) -> float:
    """What a sensor last said before its zero moved; what it says now where no doubt says that it did."""
    moved = select(Doubt.since_at).where(
        Doubt.sensor_id == sensor.id,
        Doubt.kind.in_(("tare", "leaned", "creep")),
        Doubt.until_at.is_(None),
        Doubt.undone_at.is_(None),
    )
    since_at = session.scalar(moved.order_by(Doubt.since_at).limit(1))
    if since_at is None:
        return now
    before = select(WoodReading.value).where(
        WoodReading.sensor_id == sensor.id,
        WoodReading.observed_at < since_at,
        WoodReading.observed_at >= mount.since_at,
    )
    found = session.scalar(before.order_by(WoodReading.observed_at.desc(), WoodReading.value).limit(1))
    return now if found is None else float(found)
