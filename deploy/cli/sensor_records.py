"""The records that commands on sensors and their readings print with `--json`."""

from typing import Any

from model.answers.document import Instant, JsonDocument


class HungRecord(JsonDocument):
    """Where a sensor hangs since when."""

    sensor: str
    place: str | None
    since_at: Instant | None


class AcceptedWhereRecord(JsonDocument):
    """Where a sensor that was accepted hangs since when, or what wood it is on."""

    sensor: str
    place: str | None
    wood: str | None
    since_at: Instant | None


class SaidOfWoodRecord(JsonDocument):
    """What a reading of wood comes to, in % or mm, and its ±."""

    value: float
    uncertainty: float


class OnWoodRecord(JsonDocument):
    """What a sensor on wood is on, its last reading in g, %, ohms or mm, and what it measures."""

    on: str
    sends: str
    last: float | None
    measures: str
    said: SaidOfWoodRecord | None


class NowhereRecord(JsonDocument):
    """Readings that belong to no place."""

    sensor: str
    readings: int
    place: str | None
    since_at: Instant | None


class RejectedLineRecord(JsonDocument):
    """A line that was left out."""

    line: int
    reason: str


class ImportRecord(JsonDocument):
    """Of `import-readings`."""

    accepted: int
    duplicate: int
    rejected: int
    rejected_lines: list[RejectedLineRecord]
    lines: int
    sensors: dict[str, int]
    created: list[str]
    columns: list[str]
    notes: list[str]
    hung: list[HungRecord]
    belong_to_no_place: list[NowhereRecord]


class ColumnsRecord(JsonDocument):
    """Of `import-readings --show-columns`."""

    file: str
    reasons: list[str]


class ListedSensorRecord(JsonDocument):
    """A sensor that was accepted."""

    name: str
    place: str | None
    wood: OnWoodRecord | None
    topics: list[str]
    last_observed_at: Instant | None
    temperature_c: float | None
    rh_pct: float | None
    presence: str | None
    battery_pct: float | None
    doubts: list[str]


class TwoRoomsRecord(JsonDocument):
    """Two sensors of one place that stand in different air."""

    place: str
    sensors: list[str]
    apart_pct: float


class SeenFieldRecord(JsonDocument):
    """A number in a message: where it stands, and how it is written."""

    at: str
    value: Any


class ProposedSensorRecord(JsonDocument):
    """What would become a sensor."""

    part: str | None
    name: str
    quantities: list[str]


class ProposalRecord(JsonDocument):
    """What a topic is taken for."""

    sensors: list[ProposedSensorRecord]
    presence: bool
    confidence: Any
    reasons: list[str]


class UnknownTopicRecord(JsonDocument):
    """A topic that nobody has accepted."""

    topic: str
    messages_kept: int
    last_at: Instant
    last_payload: str
    fields: list[SeenFieldRecord]
    proposal: ProposalRecord | None


class SensorsRecord(JsonDocument):
    """Of `sensors`."""

    sensors: list[ListedSensorRecord]
    two_rooms: list[TwoRoomsRecord]
    unknown_topics: list[UnknownTopicRecord]
    is_full: bool
    dismissed_topics: list[str]


class AcceptedRecord(JsonDocument):
    """Of `sensors accept`, one for each topic."""

    sensors: list[str]
    topics: list[str]
    readings: int
    rejected: int
    hung: list[AcceptedWhereRecord]


class RejectedMessageRecord(JsonDocument):
    """A message that could not become a reading."""

    received_at: Instant
    topic: str
    reason: str
    size: int


class RejectedMessagesRecord(JsonDocument):
    """Of `rejected`."""

    kept: int
    messages: list[RejectedMessageRecord]


class SaltCheckRecord(JsonDocument):
    """Of `salt-check`: true humidity is intercept + slope × reading."""

    sensor: str
    since_at: Instant
    intercept_pct: float
    slope: float
    uncertainty_pct: float
    evidence: dict[str, Any]


class ReadingSeenRecord(JsonDocument):
    """One observation in a message."""

    observed_at: Instant | None
    temperature_c: float | None
    rh_pct: float | None


class MessageReadRecord(JsonDocument):
    """Of `sensors accept --show`: how the last message would be read."""

    topic: str
    reads: list[ReadingSeenRecord]
