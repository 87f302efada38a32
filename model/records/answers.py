"""What the book answers a page: plain frozen records in SI, made by `queries`, or by hand in a test."""

from dataclasses import asdict, dataclass, field
from datetime import datetime

from model.records.tables import Document


@dataclass(frozen=True)
class Judgement:
    """How something stands, and why. Unknown with its reason where the watch has not said anything yet."""

    verdict: str = "unknown"
    reason: str = "not evaluated yet"
    detail: Document = field(default_factory=dict)
    since_at: datetime | None = None
    evaluated_at: datetime | None = None


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


@dataclass(frozen=True)
class Moisture:
    """A body's moisture at a checkpoint; `width_mm` is none for a stack."""

    at: datetime
    mc_mean_pct: float
    mc_face_pct: float
    mc_core_pct: float
    mc_back_pct: float
    width_mm: float | None
    estimated_hours: int


@dataclass(frozen=True)
class MarginNow:
    """What is left before one limit."""

    limit_name: str
    direction: str
    severity: str
    margin_mm: float
    play_mm: float
    at: datetime


@dataclass(frozen=True)
class FitNow:
    """One fit of a piece and how it stands."""

    id: int
    name: str
    kind: str
    document: Document
    judgement: Judgement = Judgement()
    margins: tuple[MarginNow, ...] = ()


@dataclass(frozen=True)
class MemberNow:
    """One member of a piece and its moisture."""

    id: int
    name: str
    document: Document
    start_at: datetime
    start_mc_pct: float
    start_basis: str
    moisture: Moisture | None = None


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
    """One piece, its members and fits, and where it stands. Moisture, margins and stays come with `piece`."""

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


@dataclass(frozen=True)
class Ready:
    """Whether a stack is ready for where it goes, as the watch stored it.

    Attributes
    ----------
    is_ready : bool
    never_here : bool
        Whether the air where it stands will not bring it there.
    reason : str
        In sentences.
    from_at, until_at : datetime or None
        When it will be, from the 10th to the 90th percentile of plausible years; both None where it is
        ready already, or no date can be given.
    target_mc_pct : float or None
        What it should have [%].
    """

    is_ready: bool = False
    never_here: bool = False
    reason: str = "Not worked out yet"
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
        return cls(**{**kept, **instants})

    def document(self) -> Document:
        """As JSON has it, with its instants."""
        return asdict(self)


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

    @property
    def ready(self) -> Ready:
        return Ready.of(self.judgement)


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
    reason: str
    detail: Document
    opened_at: datetime
    acknowledged_at: datetime | None
    trade_act: str | None
    closed_at: datetime | None


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
