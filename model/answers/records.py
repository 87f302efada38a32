"""How places, stacks and pieces stand, as typed records: of `state --json`, `/api` and what MQTT is told."""

from typing import Literal

from pydantic import Field

from model.answers.document import (
    VERSION,
    ChancePct,
    DegreesC,
    Factor,
    Instant,
    JsonDocument,
    McPct,
    Mm,
    RhPct,
)

Verdict = Literal["clear", "near", "past", "unknown"]
Direction = Literal["swelling", "shrinking"]
Severity = Literal["shows", "harms"]


class ReasonedRecord(JsonDocument):
    """What has a reason, said in the units of the settings."""

    reason: str
    """The reason, as a sentence."""
    reason_key: str
    """The reason's key, which stays the same whatever the numbers in it are."""


class JudgedRecord(ReasonedRecord):
    """How something stands now."""

    now: Verdict
    """`unknown` is never an all-clear."""
    since_at: Instant | None
    """Since when it stands so; null when that isn't known."""
    is_current: bool
    """False while it is being worked out: no answer yet."""


class ComfortRecord(JsonDocument):
    """The humidity a room should be held at, within 25 to 60 % and what cold windows bear [whole %]."""

    low_rh_pct: RhPct | None
    """Null where nothing asks for a range, or none suits; `reason` then says why."""
    high_rh_pct: RhPct | None
    reason: str | None
    """Why there is no range; null where there is one, or where nothing stands there that asks for one."""


class NamedRecord(JsonDocument):
    """A place, a stack or a piece."""

    id: int
    """Stays when it is given another name."""
    name: str


class PlaceRecord(JudgedRecord, NamedRecord):
    """A place with its air in its latest hour."""

    kind: Literal["shop", "storage", "home"]
    hour_at: Instant | None
    """When that hour begins; null before any air is known."""
    temperature_c: DegreesC | None
    rh_pct: RhPct | None
    emc_pct: McPct | None
    """Moisture content that wood settles to in that air."""
    basis: Literal["measured", "estimated"] | None
    last_reading_at: Instant | None
    range: ComfortRecord
    """That suits every piece which stands there."""


class WindowRecord(JsonDocument):
    """From when to when: the 10th to the 90th percentile of plausible years."""

    from_at: Instant
    until_at: Instant


class ReadyRecord(ReasonedRecord):
    """Whether a stack is ready for where it goes."""

    is_ready: bool
    never_here: bool
    """The air where it lies will not bring it there."""
    from_at: Instant | None
    """Null with `until_at` where it is ready already, or no date can be given."""
    until_at: Instant | None
    target_mc_pct: McPct | None


class MoistureRecord(JsonDocument):
    """Moisture content inside a part or a stack; null before it is followed."""

    at: Instant | None
    mc_mean_pct: McPct | None
    mc_doubt_pct: McPct | None
    """Half of the way from the 10th to the 90th percentile."""
    mc_face_pct: McPct | None
    mc_core_pct: McPct | None
    mc_back_pct: McPct | None
    width_mm: Mm | None
    """Across the grain; null of a stack."""
    estimated_hours: int | None
    """Hours up to `at` for which the air is estimated."""


class IntakeRecord(JsonDocument):
    """What was metered and seen of a stack when it was recorded."""

    mc_pct: McPct
    mc_doubt_pct: McPct
    doubt_by_pct: dict[str, McPct] | None
    correction_pct: McPct | None
    """Added to each reading for the wood's temperature."""
    wood_correction_pct: McPct | None
    """Added on average because the meter was set for another wood."""
    readings_pct: list[McPct] | None
    wood_c: DegreesC | None
    set_for_wood: bool | None
    set_for: str | None
    """The wood that the meter was set for instead."""
    booklet_pct: McPct | None
    sealed_ends: bool
    how: str | None
    depth: str | None
    prongs: str | None
    rest_until: str | None
    reason: str
    """What is to be known of it, as sentences; empty when there is nothing."""


class StackRecord(MoistureRecord, ReasonedRecord, NamedRecord):
    """A stack of lumber."""

    place: str | None
    for_: str | None = Field(alias="for")
    """The place it is meant for."""
    ready: ReadyRecord
    since_at: Instant | None
    is_current: bool
    """False while it is being worked out: no answer yet."""
    intake: IntakeRecord | None
    """Null where its record can't be read."""
    rate_factor: Factor | None
    """How fast it follows its air against what is computed, as its measurements say; null without any."""
    rate_doubt: Factor | None
    """The factor by which that may be more or less, to the 10th and the 90th percentile."""
    settles_pct: McPct | None
    """How far above the table it settles, as its measurements say."""
    settles_doubt_pct: McPct | None


class PreventRecord(JsonDocument):
    """The humidity that keeps a limit from being passed; one of the two is null."""

    at_most_rh_pct: RhPct | None = None
    at_least_rh_pct: RhPct | None = None
    enough: bool
    """Whether that alone prevents it."""


class NextRecord(ReasonedRecord):
    """A limit that may be passed within the coming year, as said on the day `said_at`."""

    fit: str
    limit: str
    direction: Direction
    severity: Severity
    chance_pct: ChancePct
    from_at: Instant
    until_at: Instant
    said_at: Instant
    prevent: PreventRecord | None


class SinceRecord(JsonDocument):
    """A stretch in which a limit was passed."""

    fit: str
    limit: str
    direction: Direction
    severity: Severity
    from_at: Instant
    until_at: Instant | None
    """Null while it lasts."""
    worst_mm: Mm
    """How far past, at most."""
    worst_at: Instant


class DoubtRecord(JsonDocument):
    """Where the ± of a width comes from."""

    largest: str
    by_source_mm: dict[str, Mm]
    measured_better_mm: Mm | None
    """What it would be after the measurement that helps most."""
    reason: str | None


class PartRecord(MoistureRecord):
    """A part of a piece."""

    name: str
    width_doubt_mm: Mm | None
    doubt: DoubtRecord | None
    movement_factor: Factor | None
    """How much it moves against what is computed, as its measurements say; null before a width or a gap."""
    movement_doubt: Factor | None
    """The ± of that, to the 10th and the 90th percentile."""
    rate_factor: Factor | None
    """As of a stack."""
    rate_doubt: Factor | None
    settles_pct: McPct | None
    settles_doubt_pct: McPct | None


class LimitRecord(JsonDocument):
    """One way that a fit runs out."""

    name: str
    direction: Direction
    severity: Severity
    margin_mm: Mm
    """What is left before it; negative is past it."""
    margin_doubt_mm: Mm | None
    play_mm: Mm
    """The margin as built."""
    now: Verdict
    clears: WindowRecord | None
    """Of one that is past: when it comes back by itself; null when that isn't likely or not known."""


class FitRecord(JudgedRecord):
    """A place in a piece where a part's movement has to go."""

    name: str
    kind: str
    limits: list[LimitRecord]


class ProvenanceRecord(JsonDocument):
    """How the figures of a part are known."""

    wood: str
    movement: str
    source: str
    face: str | None
    """Of the finish on its face; null of bare wood."""
    back: str | None


class PieceRecord(JudgedRecord, NamedRecord):
    """A built piece."""

    place: str | None
    next: list[NextRecord] | None
    """Limits that the coming year may pass, the worst first; empty when none is likely, null if not known."""
    next_reason: str | None
    """Why `next` isn't known."""
    since: list[SinceRecord]
    range: ComfortRecord
    parts: list[PartRecord]
    fits: list[FitRecord]
    provenance: dict[str, ProvenanceRecord] | None
    """By part; null where its record can't be read."""


class WarningRecord(ReasonedRecord):
    """A warning that is open."""

    about: Literal["fit", "stack", "place", "sensor", "piece"]
    tier: Literal["now", "morning", "week", "season"]
    from_: Verdict = Field(alias="from")
    to: Verdict
    opened_at: Instant
    acknowledged_at: Instant | None
    trade_act: str | None


class AnswerRecord(JsonDocument):
    """An answer about the whole book."""

    version: Literal[1] = VERSION
    at: Instant
    """The book's clock."""


class PlacesRecord(AnswerRecord):
    """Every place."""

    places: list[PlaceRecord]


class StacksRecord(AnswerRecord):
    """Every stack in use."""

    stacks: list[StackRecord]


class PiecesRecord(AnswerRecord):
    """Every piece that is followed."""

    pieces: list[PieceRecord]


class MeasureRecord(JsonDocument):
    """A measurement worth making: what it would decide, how sure it would make us, and while it is useful."""

    about: Literal["piece", "stack"]
    id: int
    name: str
    part: str | None
    fit: str | None
    act: Literal["caliper", "gauge", "strip", "meter", "weigh"]
    """`strip` is a letter that a client reads."""
    quantity: Literal["width_mm", "gap_mm", "mc_pct"]
    decides: Literal["harms", "ready", "shows"]
    reason: str
    reason_key: str
    doubt_mm: float | None
    then_mm: float | None
    """The ± now and once it is measured, of what is left before a limit; null of a stack."""
    doubt_pct: float | None
    then_pct: float | None
    """The same of a stack's moisture content; null of a piece."""
    from_at: Instant
    until_at: Instant
    is_asked: bool
    """The one that the first page asks for now."""


class MeasuresRecord(AnswerRecord):
    """What to measure next, what matters most first."""

    measure: list[MeasureRecord]


class StateRecord(PiecesRecord, StacksRecord, PlacesRecord, MeasuresRecord):
    """How everything stands now."""

    warnings: list[WarningRecord]


class PieceNextRecord(NextRecord):
    """An entry of `next` and whose it is."""

    piece_id: int
    piece: str


class ComingRecord(AnswerRecord):
    """What the coming year may bring, of every piece: harms before shows, then the earlier."""

    next: list[PieceNextRecord]
    not_known: list[str]
    """Pieces of which that isn't known."""


class StackReadyRecord(JsonDocument):
    """Whether one stack is ready."""

    stack: str
    place: str | None
    for_: str | None = Field(alias="for")
    ready: ReadyRecord


class OnlineRecord(JsonDocument):
    """Whether what is published is being kept up to date."""

    version: Literal[1] = VERSION
    is_online: bool


class ReadingRecord(JsonDocument):
    """One reading, as it was sent."""

    timestamp_utc: Instant
    sensor: str
    topic: str | None
    temperature_c: float | None
    rh_pct: float | None


class ProblemRecord(JsonDocument):
    """Why there is no answer (RFC 9457)."""

    type: str
    """`about:blank`: the status says what kind of problem it is."""
    title: str
    status: int
    detail: str
