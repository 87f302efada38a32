"""The records that commands which ask or write the book print with `--json`."""

from typing import Literal

from pydantic import Field

from deploy.cli.wood_records import OpenDocument
from model.answers.document import Instant, JsonDocument
from model.answers.records import Direction, NextRecord, Severity


class DoneRecord(JsonDocument):
    """What a command has recorded, changed or written."""

    kind: Literal["place", "piece", "stack", "sensor", "topic", "contact", "book", "file"]
    name: str
    """Of a file its path."""
    says: str


class ListFaultRecord(JsonDocument):
    """What is wrong in a list."""

    line: int
    column: str
    rule: str
    got: str


class ListRowRecord(JsonDocument):
    """A line of a list, as it is read."""

    line: int
    cells: dict[str, str]


class ListRecord(JsonDocument):
    """Of `stack import` and `piece import`."""

    kept: bool
    """False where it was only shown, or has a fault: then nothing of it is recorded."""
    rows: list[ListRowRecord]
    faults: list[ListFaultRecord]


class CopiedRecord(JsonDocument):
    """How many rows of each table came over, each proven by count and checksum."""

    rows: dict[str, int]
    proven: bool


class BackupRecord(CopiedRecord):
    """Of `backup`."""

    archive: str
    dropped: list[str]
    """Older archives that went."""


class RestoreRecord(CopiedRecord):
    """Of `restore`."""

    book: str


class MoveRecord(RestoreRecord):
    """Of `move`."""

    changed_meanwhile: list[str]
    """Tables of the old book that changed while it was copied: move again."""


class GlueReasonRecord(OpenDocument):
    """A reason, with its numbers, each with its unit."""

    key: str
    against: bool
    says: str


class GlueStackRecord(JsonDocument):
    """A stack in the glue-up."""

    name: str
    verdict: Literal["go", "wait", "not today"]
    is_ready: bool
    why: list[str]
    reasons: list[str]
    says: str


class GlueUpRecord(OpenDocument):
    """Of `glue-up`."""

    question: str
    subject: str
    verdict: Literal["go", "wait", "not today"]
    reasons: list[GlueReasonRecord]
    earliest: dict[str, int] | None
    """In how many days from now it may be otherwise."""
    holds_until: dict[str, int] | None
    stacks: list[GlueStackRecord]


class DeliveryLimitRecord(JsonDocument):
    """How near a limit comes once it is there."""

    fit: str
    limit: str
    direction: Direction
    severity: Severity
    says: str
    margin_mm: float
    after_days: float | None


class DeliverRecord(JsonDocument):
    """Of `deliver`."""

    piece: str
    place: str
    answer: Literal["deliver", "hold", "unknown"]
    reasons: list[str]
    reason_keys: list[str]
    advice: list[str]
    recorded_days: float
    there_pct: float | None
    now_pct: float | None
    mc_low_pct: float | None
    mc_high_pct: float | None
    rh_low_pct: float | None
    rh_high_pct: float | None
    closest: list[DeliveryLimitRecord]
    year_may_harm: bool


class ComparedRecord(JsonDocument):
    """A measurement beside what was foretold, in the unit that ends its quantity's name."""

    piece: str
    member: str
    fit: str | None
    quantity: str
    at: Instant
    predicted: float | None
    measured: float
    uncertainty: float
    """± of the measurement, to the 10th and the 90th percentile."""
    how: str
    error: float | None
    doubt: float | None
    """± of the prediction, as known just before the measurement."""
    known_at: Instant | None
    """The instant up to which the prediction knew."""
    band_low: float | None
    band_high: float | None
    """Between the two a reading as good as this one should lie, eight times in ten."""
    is_within: bool | None
    is_letter: bool
    """Read by a client off the gap strip."""


class CoverageRecord(JsonDocument):
    """How many readings had a band, and how many lay within it: 8 in 10 should."""

    count: int
    within: int
    letters: int
    """Of `count` those read by clients off the gap strip."""
    letters_within: int


class AgreementSpreadRecord(OpenDocument):
    """Bias and spread of one quantity."""

    quantity: str
    count: int


class ForetoldRecord(JsonDocument):
    """Of `foretold`."""

    compared: list[ComparedRecord]
    by_piece: dict[str, list[AgreementSpreadRecord]]
    overall: list[AgreementSpreadRecord]
    coverage: CoverageRecord
    coverage_by_piece: dict[str, CoverageRecord]


class PercentilesRecord(JsonDocument):
    """Of plausible years."""

    p10: float
    p50: float
    p90: float


class OutlookMarginRecord(JsonDocument):
    """What is left before a limit."""

    margin_mm: PercentilesRecord


class OutlookMonthRecord(JsonDocument):
    """The means of a month."""

    month: str
    air: dict[str, PercentilesRecord]
    members: dict[str, dict[str, PercentilesRecord]]
    fits: dict[str, dict[str, OutlookMarginRecord]]


class OutlookLimitRecord(OpenDocument):
    """A limit over the coming year."""

    fit: str
    limit: str
    direction: Direction
    severity: Severity
    chance: float
    """Of being passed, 0 to 1."""


class OutlookRecord(JsonDocument):
    """Of `outlook`."""

    piece: str
    at: Instant
    years: int
    known_from: str
    climate_known: bool
    seen_share: float
    next: list[NextRecord]
    months: list[OutlookMonthRecord]
    limits: list[OutlookLimitRecord]


class FindingRecord(JsonDocument):
    """What was looked at."""

    what: str
    state: Literal["well", "look", "amiss"]
    found: str
    remedy: str


class SettingRecord(JsonDocument):
    """A setting, secrets masked, and where its value came from."""

    name: str
    value: str
    from_: str = Field(alias="from")
    meaning: str


class DoctorRecord(JsonDocument):
    """Of `doctor`."""

    well: bool
    findings: list[FindingRecord]
    settings: list[SettingRecord]


class OpenDoubtRecord(JsonDocument):
    """The oldest doubt that still holds."""

    sensor: str
    kind: str
    since_at: Instant


class StatusRecord(JsonDocument):
    """Of `status`."""

    well: bool
    troubles: list[str]
    readings: int | None
    """Of the last hour, from `heard` of `sensors` sensors."""
    heard: int
    sensors: int
    oldest_doubt: OpenDoubtRecord | None
    free_mb: float | None
    days_left: float | None
    backup_at: Instant | None
    version: str
    schema_revision: str


class FleetRowRecord(JsonDocument):
    """A piece or a stack, computed anew."""

    kind: Literal["piece", "stack"]
    name: str
    mc_low_pct: float
    mc_high_pct: float
    fit: str | None
    limit: str | None
    least_mm: float | None
    least_at: Instant | None
    member_hours: int
    differs_pct: float


class FleetRecord(JsonDocument):
    """Of `fleet`."""

    until: Instant
    pieces: int
    stacks: int
    member_hours: int
    seconds: float
    differ: int
    rows: list[FleetRowRecord]


class WatchRecord(JsonDocument):
    """Of `watch --once`."""

    as_of: Instant
    counts: dict[str, int]
    durations_s: dict[str, float]


class OpenBrokerRecord(JsonDocument):
    """Of `open-broker`: what is typed into a sensor."""

    hosts: list[str]
    port: int
    user: str
    password: str


class SecureBrokerRecord(JsonDocument):
    """Of `secure-broker`."""

    folder: str
    homes: dict[str, str]
    """The folder of each home."""
    mqtt_url: str | None
    """Null where that user was there already."""


class NewTokenRecord(JsonDocument):
    """A token that was made."""

    name: str
    token: str
    """Shown this once."""


class GivenTokenRecord(JsonDocument):
    """A token that is good; itself it is kept nowhere."""

    name: str
    given_at: Instant


class TokensRecord(JsonDocument):
    """Every token that is good, the oldest first."""

    tokens: list[GivenTokenRecord]
