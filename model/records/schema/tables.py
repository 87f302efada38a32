"""Every stored record. Every datetime is aware UTC; every constraint has a name.

What people recorded (places, sensors, pieces, stacks) is truth, and stands here. What sensors sent is truth
too, and stands in `arrived`; what the watch computes stands in `computed`. Both are named here, so that one
import serves.
"""

from datetime import datetime
from typing import Any

from sqlalchemy import (
    CheckConstraint,
    ForeignKey,
    Index,
    UniqueConstraint,
    false,
)
from sqlalchemy.orm import Mapped, mapped_column, relationship

from model.records.schema.arrived import (
    Correction,
    DismissedTopic,
    Doubt,
    HeardMessage,
    Reading,
    RejectedMessage,
    RunningCount,
    StaleHour,
    Unacknowledged,
    WoodReading,
)
from model.records.schema.base import Document, Record
from model.records.schema.computed import (
    AirHour,
    Checkpoint,
    LearnedRow,
    Margin,
    Notice,
    Outlook,
    Statement,
    Verdict,
    Warning,
)

__all__ = [
    "AirHour",
    "Binding",
    "BodyRow",
    "Checkpoint",
    "Client",
    "Correction",
    "DismissedTopic",
    "Document",
    "Doubt",
    "FitRow",
    "GlueUp",
    "Hanging",
    "HeardMessage",
    "LearnedRow",
    "Margin",
    "Measurement",
    "MemberRow",
    "Mount",
    "Notice",
    "Outlook",
    "PieceRow",
    "Place",
    "Preference",
    "Pulse",
    "Reading",
    "Record",
    "RejectedMessage",
    "Revision",
    "RunningCount",
    "Sensor",
    "Stack",
    "StaleHour",
    "Statement",
    "Stay",
    "Unacknowledged",
    "Verdict",
    "Warning",
    "WoodReading",
]

# ---------------------------------------------------------------- clients, places and sensors


class Client(Record):
    """Somebody whom pieces are built for: how to reach them stays in the book and is told nowhere else."""

    __tablename__ = "client"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(unique=True)
    reach: Mapped[str] = mapped_column(default="")  # telephone, mail or street, as the maker wrote it
    note: Mapped[str] = mapped_column(default="")
    retired_at: Mapped[datetime | None]
    pieces: Mapped[list["PieceRow"]] = relationship(back_populates="client")
    homes: Mapped[list["Place"]] = relationship(back_populates="client")


class Place(Record):
    """Somewhere with its own air: the shop, a storage room, a client's home."""

    __tablename__ = "place"
    __table_args__ = (CheckConstraint("kind IN ('shop', 'storage', 'home')", name="kind"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(unique=True)
    kind: Mapped[str]
    zone: Mapped[str] = mapped_column(default="UTC")  # IANA time zone, for showing times
    wood_offset_c: Mapped[float] = mapped_column(default=0.0)  # wood's temperature less the sensor's
    climate: Mapped[Document | None]  # outdoor climate and occupancy, when known
    has_iron: Mapped[bool] = mapped_column(default=False, server_default=false())  # cast iron stands there
    note: Mapped[str] = mapped_column(default="")
    client_id: Mapped[int | None] = mapped_column(ForeignKey("client.id"))  # whose home it is
    client: Mapped[Client | None] = relationship(back_populates="homes")
    hangings: Mapped[list["Hanging"]] = relationship(back_populates="place")


class Sensor(Record):
    """A device that reports the air of a place, or, where it has a mount, one quantity of wood."""

    __tablename__ = "sensor"
    __table_args__ = (CheckConstraint("temperature_unit IN ('C', 'F', 'K')", name="temperature_unit"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(unique=True)
    temperature_unit: Mapped[str] = mapped_column(default="C")  # used when a payload names none
    zone: Mapped[str] = mapped_column(default="UTC")  # used when a device time carries no offset
    accepted_at: Mapped[datetime]
    retired_at: Mapped[datetime | None]
    presence: Mapped[str | None]  # online or offline, as its last will said
    presence_at: Mapped[datetime | None]
    battery_pct: Mapped[float | None]
    bindings: Mapped[list["Binding"]] = relationship(back_populates="sensor", cascade="all, delete-orphan")
    hangings: Mapped[list["Hanging"]] = relationship(back_populates="sensor", cascade="all, delete-orphan")
    mounts: Mapped[list["Mount"]] = relationship(back_populates="sensor", cascade="all, delete-orphan")


class Binding(Record):
    """Which messages are this sensor's, and how their payload is read.

    One sensor may have several (one quantity a topic), one topic several sensors (a gateway), told apart by
    `part`: the sensor's own name inside the message, empty when the message speaks of one sensor only.
    """

    __tablename__ = "binding"
    __table_args__ = (UniqueConstraint("topic", "part", "sensor_id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    sensor_id: Mapped[int] = mapped_column(ForeignKey("sensor.id", ondelete="CASCADE"))
    topic: Mapped[str]
    part: Mapped[str] = mapped_column(default="")
    payload: Mapped[Document]  # the reading of the payload, see ingest.payload.decode
    sensor: Mapped[Sensor] = relationship(back_populates="bindings")


class Hanging(Record):
    """A sensor hung at a place from one instant to another (open while `until_at` is empty)."""

    __tablename__ = "hanging"
    __table_args__ = (
        CheckConstraint("until_at IS NULL OR until_at > since_at", name="order"),
        Index(None, "place_id", "since_at"),
        UniqueConstraint("sensor_id", "since_at"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    sensor_id: Mapped[int] = mapped_column(ForeignKey("sensor.id", ondelete="CASCADE"))
    place_id: Mapped[int] = mapped_column(ForeignKey("place.id"))
    since_at: Mapped[datetime]
    until_at: Mapped[datetime | None]
    sensor: Mapped[Sensor] = relationship(back_populates="hangings")
    place: Mapped[Place] = relationship(back_populates="hangings")


# ---------------------------------------------------------------- what the maker recorded


class PieceRow(Record):
    """One built object."""

    __tablename__ = "piece"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(unique=True)
    document: Mapped[Document]  # the [piece] table of its piece file, without the client
    client_id: Mapped[int | None] = mapped_column(ForeignKey("client.id"))
    recorded_at: Mapped[datetime]
    retired_at: Mapped[datetime | None]
    client: Mapped[Client | None] = relationship(back_populates="pieces")
    members: Mapped[list["MemberRow"]] = relationship(back_populates="piece", cascade="all, delete-orphan")
    fits: Mapped[list["FitRow"]] = relationship(back_populates="piece", cascade="all, delete-orphan")
    stays: Mapped[list["Stay"]] = relationship(back_populates="piece", cascade="all, delete-orphan")


class BodyRow(Record):
    """A solid of wood whose moisture is followed: a member of a piece, or a stack of lumber."""

    __tablename__ = "body"
    __table_args__: Any = (CheckConstraint("kind IN ('member', 'stack')", name="kind"),)
    __mapper_args__ = {"polymorphic_on": "kind"}  # noqa: RUF012

    id: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[str]
    name: Mapped[str]
    document: Mapped[Document]  # a [member.name] table, or a stack's; lengths in mm
    start_at: Mapped[datetime]  # when its moisture content was what the document says
    start_mc_pct: Mapped[float]
    start_basis: Mapped[str] = mapped_column(default="measured")  # measured or assumed


class MemberRow(BodyRow):
    """A part of a piece whose width matters."""

    __tablename__ = "member"
    __table_args__ = (Index(None, "piece_id"),)
    __mapper_args__ = {"polymorphic_identity": "member"}  # noqa: RUF012

    id: Mapped[int] = mapped_column(ForeignKey("body.id", ondelete="CASCADE"), primary_key=True)
    piece_id: Mapped[int] = mapped_column(ForeignKey("piece.id", ondelete="CASCADE"))
    piece: Mapped[PieceRow] = relationship(back_populates="members")


class Stack(BodyRow):
    """Lumber of one species, thickness and batch."""

    __tablename__ = "stack"
    __mapper_args__ = {"polymorphic_identity": "stack"}  # noqa: RUF012

    id: Mapped[int] = mapped_column(ForeignKey("body.id", ondelete="CASCADE"), primary_key=True)
    destination_id: Mapped[int | None] = mapped_column(ForeignKey("place.id"))  # the home it is meant for
    retired_at: Mapped[datetime | None]
    stays: Mapped[list["Stay"]] = relationship(back_populates="stack", cascade="all, delete-orphan")


class FitRow(Record):
    """A place in a piece where a member's movement has to go somewhere."""

    __tablename__ = "fit"
    __table_args__ = (UniqueConstraint("piece_id", "name"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    piece_id: Mapped[int] = mapped_column(ForeignKey("piece.id", ondelete="CASCADE"))
    name: Mapped[str]
    kind: Mapped[str]
    document: Mapped[Document]  # the [fit.name] table of its piece file
    piece: Mapped[PieceRow] = relationship(back_populates="fits")


class Stay(Record):
    """Where a piece or a stack stood, from one instant to another."""

    __tablename__ = "stay"
    __table_args__ = (
        CheckConstraint("until_at IS NULL OR until_at > since_at", name="order"),
        CheckConstraint("(piece_id IS NULL) <> (stack_id IS NULL)", name="one_owner"),
        Index(None, "place_id", "since_at"),
        UniqueConstraint("piece_id", "since_at"),
        UniqueConstraint("stack_id", "since_at"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    piece_id: Mapped[int | None] = mapped_column(ForeignKey("piece.id", ondelete="CASCADE"))
    stack_id: Mapped[int | None] = mapped_column(ForeignKey("stack.id", ondelete="CASCADE"))
    place_id: Mapped[int] = mapped_column(ForeignKey("place.id"))
    since_at: Mapped[datetime]
    until_at: Mapped[datetime | None]
    piece: Mapped[PieceRow | None] = relationship(back_populates="stays")
    stack: Mapped[Stack | None] = relationship(back_populates="stays")
    place: Mapped[Place] = relationship()


class Mount(Record):
    """A sensor bound to wood from an instant on: a scale, a probe or a gauge.

    A new zero is a new row: what the old one says of its span stays.
    """

    __tablename__ = "mount"
    __table_args__ = (
        CheckConstraint("quantity IN ('weight', 'moisture', 'resistance', 'length')", name="quantity"),
        CheckConstraint("until_at IS NULL OR until_at > since_at", name="order"),
        UniqueConstraint("sensor_id", "since_at"),
        Index(None, "body_id"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    sensor_id: Mapped[int] = mapped_column(ForeignKey("sensor.id", ondelete="CASCADE"))
    body_id: Mapped[int] = mapped_column(ForeignKey("body.id", ondelete="CASCADE"))
    fit_id: Mapped[int | None] = mapped_column(ForeignKey("fit.id", ondelete="CASCADE"))
    quantity: Mapped[str]  # what it sends: weight, moisture, resistance, length
    since_at: Mapped[datetime]
    until_at: Mapped[datetime | None]
    terms: Mapped[Document]  # what ties its values to the wood: see model.wood.material.wood_sensor
    sensor: Mapped[Sensor] = relationship(back_populates="mounts")
    body: Mapped[BodyRow] = relationship()
    fit: Mapped[FitRow | None] = relationship()


class Measurement(Record):
    """Something measured on a body: its moisture content, or its width, or the gap of one of its fits."""

    __tablename__ = "measurement"
    __table_args__ = (
        CheckConstraint("quantity IN ('mc_pct', 'width_mm', 'gap_mm')", name="quantity"),
        Index(None, "body_id", "at"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    body_id: Mapped[int] = mapped_column(ForeignKey("body.id", ondelete="CASCADE"))
    fit_id: Mapped[int | None] = mapped_column(ForeignKey("fit.id", ondelete="CASCADE"))
    sensor_id: Mapped[int | None] = mapped_column(ForeignKey("sensor.id"))  # none: by hand
    at: Mapped[datetime]
    quantity: Mapped[str]
    value: Mapped[float]
    uncertainty: Mapped[float]  # a ±, to the 10th and 90th percentile, in the unit of the value
    how: Mapped[str] = mapped_column(default="")  # pin meter, oven, weighed board, caliper, feeler
    undone_at: Mapped[datetime | None]


class GlueUp(Record):
    """Clamps on at a place, with the range of its adhesive's label that the air is held to meanwhile.

    While it is open the air is watched reading by reading.
    """

    __tablename__ = "glue_up"
    __table_args__ = (
        CheckConstraint("clamps_off_at IS NULL OR clamps_off_at > clamps_on_at", name="order"),
        Index(None, "place_id", "clamps_on_at"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    place_id: Mapped[int] = mapped_column(ForeignKey("place.id", ondelete="CASCADE"))
    clamps_on_at: Mapped[datetime]
    clamps_off_at: Mapped[datetime | None]
    adhesive: Mapped[Document]  # its name and range, as they were when the clamps went on
    note: Mapped[str] = mapped_column(default="")


# ---------------------------------------------------------------- running


class Pulse(Record):
    """The last sign of life of one running part, for /healthz and doctor."""

    __tablename__ = "pulse"

    part: Mapped[str] = mapped_column(primary_key=True)  # ingest, watch, supervisor
    at: Mapped[datetime]  # by the machine's clock, not the sample shop's
    detail: Mapped[Document]


class Preference(Record):
    """Something the maker set on a page: units, adhesives, quiet hours."""

    __tablename__ = "preference"

    name: Mapped[str] = mapped_column(primary_key=True)
    value: Mapped[Document]


class Revision(Record):
    """One act of a person on the book, with every row it changed, so that it can be taken back."""

    __tablename__ = "revision"
    # No number is given twice: a page that was left open would take back another act.
    __table_args__ = (Index(None, "at"), {"sqlite_autoincrement": True})

    id: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[datetime]
    act: Mapped[str]  # what kind of act, as a noun for people: move, swap, correction
    says: Mapped[str] = mapped_column(default="")  # what was done
    data: Mapped[Document]  # what taking it back says, and what its kind of act keeps beside the rows
    changes: Mapped[Document]  # rows: of each its table, key, and what it was before and after
    undone_at: Mapped[datetime | None]
