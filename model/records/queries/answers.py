"""What the book answers a page: plain frozen records in SI, made by `queries`, or by hand in a test."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from datetime import datetime
from math import sqrt
from typing import Any, TypeVar

from model.records.acts.lumber import Lumber, lumber_from_document
from model.records.schema.tables import Document
from model.wood.doubt import ASSUMED_DOUBT_PCT, TEN_PERCENT_SD
from model.wood.errors import BadInput
from model.wood.learning import Learned
from model.wood.reason import Reason

Kept = TypeVar("Kept")


def of_row(kind: type[Kept], row: Any, **more: Any) -> Kept:
    """An answer with what a row has under the names of its fields, and `more`."""
    names = (one.name for one in fields(kind) if one.name not in more)  # type: ignore[arg-type]
    return kind(**{name: getattr(row, name) for name in names if hasattr(row, name)}, **more)


@dataclass(frozen=True)
class Judgement:
    """How something stands, and why. Unknown where the watch has not said anything yet."""

    verdict: str = "unknown"
    detail: Document = field(default_factory=lambda: {"key": "not-yet"})
    since_at: datetime | None = None
    evaluated_at: datetime | None = None
    is_current: bool = True  # false while it is being worked out: no answer yet

    @property
    def reason(self) -> Reason:
        return Reason.of(self.detail)


def share_left(margin_mm: float, play_mm: float) -> float:
    """What is left of the play designed, as a share of it; nothing of none."""
    return margin_mm / play_mm if play_mm > 0.0 else min(margin_mm, 0.0)


NOT_WORKED_OUT = Reason("ready-not-yet")
NOT_YET = Judgement(is_current=False)
WORKING = Judgement("unknown", {"key": "working"}, is_current=False)


@dataclass(frozen=True)
class Coming:
    """A limit that may be passed within the coming year, as it was said on the day `said_at`.

    `from_at` to `until_at` is when: the 10th to the 90th percentile of the first crossing among the years
    that cross.
    """

    fit: str
    limit: str
    direction: str
    severity: str
    seen: Reason
    chance_pct: float
    from_at: datetime
    until_at: datetime
    said_at: datetime
    lever: Document | None = None

    @property
    def prevent(self) -> Document | None:
        """A humidity to hold the room at, and whether that is enough; none where nothing is advised."""
        lever = self.lever or {}
        if lever.get("advised_rh_pct") is None:
            return None
        side = "at_most_rh_pct" if self.direction == "swelling" else "at_least_rh_pct"
        return {side: lever["advised_rh_pct"], "enough": bool(lever["enough"])}


@dataclass(frozen=True)
class PassedSpan:
    """A stretch in which a limit was passed, by `worst_mm` at most; `until_at` is none while it lasts."""

    fit: str
    limit: str
    direction: str
    severity: str
    from_at: datetime
    until_at: datetime | None
    worst_mm: float
    worst_at: datetime


@dataclass(frozen=True)
class AirNow:
    """A place's air in its latest hour."""

    hour_at: datetime
    temperature_c: float
    rh_pct: float
    basis: str  # measured or estimated


@dataclass(frozen=True)
class PlaceNow:
    """A place and its air."""

    id: int
    name: str
    kind: str
    zone: str
    air: AirNow | None = None
    last_reading_at: datetime | None = None
    sensors: tuple[str, ...] = ()
    judgement: Judgement = Judgement()
    note: str = ""
    climate: Document | None = None
    client_id: int | None = None
    client: str = ""


@dataclass(frozen=True)
class Moisture:
    """A body's moisture at a checkpoint, and the variance of its mean; `width_mm` is none for a stack."""

    at: datetime
    mc_mean_pct: float
    mc_face_pct: float
    mc_core_pct: float
    mc_back_pct: float
    width_mm: float | None
    estimated_hours: int
    variance_pct2: float = 0.0

    @property
    def mc_doubt_pct(self) -> float:
        """The ± of the mean moisture content [points]."""
        return TEN_PERCENT_SD * sqrt(self.variance_pct2)


@dataclass(frozen=True)
class MarginNow:
    """What is left before one limit, and how it stands; `clears` is when one past now comes back."""

    limit_name: str
    direction: str
    severity: str
    margin_mm: float
    play_mm: float
    at: datetime
    standing: str = "clear"
    clears: tuple[datetime, datetime] | None = None


@dataclass(frozen=True)
class FitNow:
    """One fit of a piece and how it stands; `gap_read` is its last gap read since it was built, by part:
    when, the gap [mm], and the part's moisture then."""

    id: int
    name: str
    kind: str
    document: Document
    judgement: Judgement = Judgement()
    margins: tuple[MarginNow, ...] = ()
    gap_read: Mapping[str, tuple[datetime, float, Moisture]] = field(default_factory=dict)


@dataclass(frozen=True)
class MemberNow:
    """One member of a piece and its moisture; `re_measured` is its last width measured since it was built:
    when, the width [mm], and its moisture then; `learned` is what was measured on it has taught of it."""

    id: int
    name: str
    document: Document
    start_at: datetime
    start_mc_pct: float
    start_basis: str
    moisture: Moisture | None = None
    re_measured: tuple[datetime, float, Moisture] | None = None
    learned: Learned | None = None


@dataclass(frozen=True)
class StayNow:
    """Where something stood, from when to when."""

    place_id: int
    place: str
    zone: str
    since_at: datetime
    until_at: datetime | None


@dataclass(frozen=True)
class PieceNow:
    """One piece, its members and fits, and where it stands. Moisture, margins, stays and `since` come with
    `piece`. `next` is empty where nothing is likely in the coming year, and none where that isn't known."""

    id: int
    name: str
    document: Document
    place: PlaceNow | None
    since_at: datetime | None
    fits: tuple[FitNow, ...] = ()
    judgement: Judgement = Judgement()
    members: tuple[MemberNow, ...] = ()
    stays: tuple[StayNow, ...] = ()
    retired_at: datetime | None = None
    next: tuple[Coming, ...] | None = None
    next_reason: Reason | None = NOT_WORKED_OUT
    since: tuple[PassedSpan, ...] = ()
    client_id: int | None = None


@dataclass(frozen=True)
class Ready:
    """Whether a stack is ready for where it goes, as the watch stored it.

    Attributes
    ----------
    is_ready : bool
    never_here : bool
        Whether the air where it stands will not bring it there.
    reason : Reason
    from_at, until_at : datetime or None
        When it will be, from the 10th to the 90th percentile of plausible years; both None where it is
        ready already, or no date can be given.
    target_mc_pct : float or None
        What it should have [%].
    """

    is_ready: bool = False
    never_here: bool = False
    reason: Reason = NOT_WORKED_OUT
    from_at: datetime | None = None
    until_at: datetime | None = None
    target_mc_pct: float | None = None

    @classmethod
    def of(cls, judgement: Judgement) -> "Ready":
        """The answer kept with a stack's verdict; one that says so where there is none yet."""
        kept = judgement.detail.get("ready")
        if not isinstance(kept, dict):
            return cls()
        instants = {
            name: None if kept[name] is None else datetime.fromisoformat(kept[name])
            for name in ("from_at", "until_at")
        }
        return cls(**{**kept, **instants}, reason=judgement.reason)


@dataclass(frozen=True)
class StackNow:
    """One stack of lumber."""

    id: int
    name: str
    document: Document
    place: PlaceNow | None
    destination: PlaceNow | None
    start_at: datetime
    start_mc_pct: float
    moisture: Moisture | None = None
    judgement: Judgement = Judgement()
    retired_at: datetime | None = None
    learned: Learned | None = None

    @property
    def ready(self) -> Ready:
        return Ready.of(self.judgement)

    @property
    def lumber(self) -> Lumber | None:
        """What its record says; none of one that can't be read."""
        try:
            return lumber_from_document(self.document, f"stack {self.name}")
        except BadInput:
            return None

    @property
    def mc_known(self) -> tuple[float, float]:
        """Its mean moisture content [%] and the ± of it [points]: now, else as it was recorded."""
        if self.moisture is not None:
            return self.moisture.mc_mean_pct, self.moisture.mc_doubt_pct
        lumber = self.lumber
        return self.start_mc_pct, ASSUMED_DOUBT_PCT if lumber is None else lumber.mc_doubt_pct


@dataclass(frozen=True)
class WarningNow:
    """A stored change of verdict, and what it is about."""

    id: int
    subject_kind: str
    subject_id: int
    limit_name: str
    tier: str
    from_verdict: str
    to_verdict: str
    detail: Document
    opened_at: datetime
    acknowledged_at: datetime | None
    trade_act: str | None
    closed_at: datetime | None

    @property
    def reason(self) -> Reason:
        return Reason.of(self.detail)


@dataclass(frozen=True)
class Subject:
    """What a verdict or a warning is about: its name, the zone of its place, and the page that shows it."""

    name: str
    zone: str
    page: str  # piece, stack, place or sensor
    page_id: int


@dataclass(frozen=True)
class Event:
    """Something that happened to a body and belongs on its chart."""

    at: datetime
    kind: str  # built, moved, mc_pct, width_mm, gap_mm
    says: str
    value: float | None = None


@dataclass(frozen=True)
class ShopNow:
    """Everything the first page tells of."""

    places: tuple[PlaceNow, ...]
    stacks: tuple[StackNow, ...]
    pieces: tuple[PieceNow, ...]
    warnings: tuple[WarningNow, ...]
    heard_topics: int
    sensors: int
