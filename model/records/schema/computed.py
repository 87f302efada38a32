"""What the watch computes. All of it can be deleted at any time and is computed again."""

from datetime import datetime
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, Index, LargeBinary, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from model.records.schema.base import Document, Record
from model.wood.reason import Reason


class AirHour(Record):
    """A place's air for the hour that begins at `hour_at`, from all its trusted readings."""

    __tablename__ = "air_hour"
    __table_args__ = (
        CheckConstraint("basis IN ('measured', 'estimated')", name="basis"),
        {"sqlite_with_rowid": False},
    )

    place_id: Mapped[int] = mapped_column(ForeignKey("place.id"), primary_key=True)
    hour_at: Mapped[datetime] = mapped_column(primary_key=True)
    temperature_c: Mapped[float]
    rh_pct: Mapped[float]
    n_readings: Mapped[int]
    basis: Mapped[str]


class Checkpoint(Record):
    """The moisture inside a body at an instant: daily at midnight UTC, and the latest hour reached."""

    __tablename__ = "checkpoint"
    __table_args__ = ({"sqlite_with_rowid": False},)

    body_id: Mapped[int] = mapped_column(ForeignKey("body.id", ondelete="CASCADE"), primary_key=True)
    at: Mapped[datetime] = mapped_column(primary_key=True)
    profile_pct: Mapped[bytes] = mapped_column(LargeBinary)  # float64 little-endian, face to back
    mc_mean_pct: Mapped[float]
    mc_face_pct: Mapped[float]
    mc_core_pct: Mapped[float]
    mc_back_pct: Mapped[float]
    width_mm: Mapped[float | None]  # none for a stack
    estimated_hours: Mapped[int] = mapped_column(default=0)  # consecutive bridged hours up to here
    variance_pct2: Mapped[float] = mapped_column(default=0.0)  # of the mean moisture content


class LearnedRow(Record):
    """What a body's measurements up to an hour have taught of it, as `model.wood.learning.Learned` has it."""

    __tablename__ = "learned"
    __table_args__ = ({"sqlite_with_rowid": False},)

    body_id: Mapped[int] = mapped_column(ForeignKey("body.id", ondelete="CASCADE"), primary_key=True)
    at: Mapped[datetime] = mapped_column(primary_key=True)
    movement_factor: Mapped[float | None]  # none before a width or a gap was measured
    movement_doubt: Mapped[float | None]
    rate_factor: Mapped[float]
    rate_doubt: Mapped[float]
    settles_pct: Mapped[float]
    settles_doubt_pct: Mapped[float]
    count: Mapped[int]


def _own_instant(context: Any) -> datetime:
    instant: datetime = context.get_current_parameters()["at"]
    return instant


class Margin(Record):
    """What is left before one limit of a fit, at a checkpoint's instant, and how the limit stands.

    The standing carries hysteresis, so it is kept with the margin: whatever rewinds to this instant
    goes on from here and comes to the same warnings.
    """

    __tablename__ = "margin"
    __table_args__ = (
        CheckConstraint("direction IN ('swelling', 'shrinking')", name="direction"),
        CheckConstraint("severity IN ('shows', 'harms')", name="severity"),
        CheckConstraint("standing IN ('clear', 'near', 'past')", name="standing"),
        {"sqlite_with_rowid": False},
    )

    fit_id: Mapped[int] = mapped_column(ForeignKey("fit.id", ondelete="CASCADE"), primary_key=True)
    limit_name: Mapped[str] = mapped_column(primary_key=True)
    at: Mapped[datetime] = mapped_column(primary_key=True)
    direction: Mapped[str]
    severity: Mapped[str]
    margin_mm: Mapped[float]
    play_mm: Mapped[float]  # the play designed before this limit, at the reference moisture content
    standing: Mapped[str] = mapped_column(default="clear")
    standing_since_at: Mapped[datetime] = mapped_column(default=_own_instant)
    eased: Mapped[bool] = mapped_column(default=False)  # the last change of standing was for the better


class Verdict(Record):
    """How a fit, stack, place or sensor stands now, and why."""

    __tablename__ = "verdict"
    __table_args__ = (
        CheckConstraint("subject_kind IN ('fit', 'stack', 'place', 'sensor', 'piece')", name="subject_kind"),
        CheckConstraint("verdict IN ('clear', 'near', 'past', 'unknown')", name="verdict"),
    )

    subject_kind: Mapped[str] = mapped_column(primary_key=True)
    subject_id: Mapped[int] = mapped_column(primary_key=True)
    verdict: Mapped[str]
    since_at: Mapped[datetime]  # when it became this verdict
    evaluated_at: Mapped[datetime]
    state_at: Mapped[datetime | None]  # of the wood it was drawn from, which may rest since before that
    detail: Mapped[Document]  # the reason: its key and the numbers behind it, in SI

    @property
    def reason(self) -> Reason:
        return Reason.of(self.detail)


class Outlook(Record):
    """One quantity of a piece through the coming year, as a spread.

    Of a member `mc_pct` and `width_mm`, of a fit each limit's margin [mm] by the limit's name, of the piece
    `rh_pct` and `temperature_c` of the air it is expected to stand in. Value k is that at the end of day k
    after `at`. All rows of a piece are replaced together, once a day.
    """

    __tablename__ = "outlook"
    __table_args__ = (
        CheckConstraint("subject_kind IN ('piece', 'member', 'fit')", name="subject_kind"),
        Index(None, "piece_id"),
    )

    subject_kind: Mapped[str] = mapped_column(primary_key=True)
    subject_id: Mapped[int] = mapped_column(primary_key=True)
    quantity: Mapped[str] = mapped_column(primary_key=True)
    piece_id: Mapped[int] = mapped_column(ForeignKey("piece.id", ondelete="CASCADE"))
    at: Mapped[datetime]  # the midnight UTC up to which everything was known
    p10: Mapped[bytes] = mapped_column(LargeBinary)  # float32 little-endian, a value a day
    p50: Mapped[bytes] = mapped_column(LargeBinary)
    p90: Mapped[bytes] = mapped_column(LargeBinary)
    detail: Mapped[Document]  # of a limit its chance, crossing and lever; of the air what it is known from


class Statement(Record):
    """What was said on a day of a limit's coming year; never computed again once the day is over.

    Kept for `KEPT_DAYS` of `watch.prospect_warnings`: those of a tenth of the years or more, and those below
    while a warning of the limit is open.
    """

    __tablename__ = "statement"

    fit_id: Mapped[int] = mapped_column(ForeignKey("fit.id", ondelete="CASCADE"), primary_key=True)
    limit_name: Mapped[str] = mapped_column(primary_key=True)
    said_at: Mapped[datetime] = mapped_column(primary_key=True)  # the midnight UTC it was counted from
    chance_pct: Mapped[float]
    from_at: Mapped[datetime | None]  # 10th to 90th percentile of the first crossing; none where it never is
    until_at: Mapped[datetime | None]
    reason_key: Mapped[str]


class Warning(Record):
    """A stored change of verdict for the worse: opened, acknowledged, closed."""

    __tablename__ = "warning"
    __table_args__ = (
        CheckConstraint("closed_at IS NULL OR closed_at >= opened_at", name="order"),
        UniqueConstraint("subject_kind", "subject_id", "limit_name", "opened_at"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    subject_kind: Mapped[str]
    subject_id: Mapped[int]
    limit_name: Mapped[str] = mapped_column(default="")
    tier: Mapped[str] = mapped_column(default="week")  # now, morning, week or season
    from_verdict: Mapped[str]
    to_verdict: Mapped[str]
    detail: Mapped[Document]  # the reason: its key and the numbers behind it, in SI
    opened_at: Mapped[datetime]
    escalated_at: Mapped[datetime | None]  # when it went from near to past
    acknowledged_at: Mapped[datetime | None]
    trade_act: Mapped[str | None]  # how it was acknowledged: eased it, re-measured, moved it ...
    closed_at: Mapped[datetime | None]

    @property
    def reason(self) -> Reason:
        return Reason.of(self.detail)


class Notice(Record):
    """A message to be sent about a warning; sending is separate from warning and survives a crash."""

    __tablename__ = "notice"
    __table_args__ = (UniqueConstraint("warning_id", "address", "stage"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    warning_id: Mapped[int] = mapped_column(ForeignKey("warning.id", ondelete="CASCADE"))
    address: Mapped[str]
    stage: Mapped[str] = mapped_column(default="opened")  # opened, escalated, past or cleared
    due_at: Mapped[datetime]
    tries: Mapped[int] = mapped_column(default=0)
    sent_at: Mapped[datetime | None]
    problem: Mapped[str | None]
