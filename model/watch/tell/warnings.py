"""Warnings as rows of change: opened, escalated once, closed; told once, however often they are computed.

Warnings follow from what is known alone, so whatever order readings come in, the same rows result. When
late readings change the past, what was computed is compared with what is stored: a row keeps its identity,
its acknowledgement and its notices as long as the new past still has a warning there; one that nobody was
told of goes when the past no longer has it; one that was told stays, closed as it opened.
"""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from model.records.bulk import Bulk
from model.watch.run.rows import as_json


@dataclass(frozen=True)
class Episode:
    """A warning as the data have it; instants in milliseconds since 1970."""

    subject_kind: str
    subject_id: int
    limit_name: str
    tier: str
    from_verdict: str
    to_verdict: str
    detail: dict[str, Any]  # its reason, as JSON
    opened_ms: int
    escalated_ms: int | None = None
    closed_ms: int | None = None


@dataclass(frozen=True)
class Stored:
    """A warning as it is stored."""

    id: int
    episode: Episode
    told: bool  # acknowledged, or a notice of it exists


@dataclass
class Changes:
    """What to write so that the stored warnings are what the data have."""

    added: list[Episode] = field(default_factory=list)
    changed: list[tuple[int, Episode]] = field(default_factory=list)
    removed: list[int] = field(default_factory=list)

    def __len__(self) -> int:
        return len(self.added) + len(self.changed) + len(self.removed)


def reconcile(stored: Sequence[Stored], episodes: Sequence[Episode]) -> Changes:
    """What to write so that these stored warnings become these episodes.

    A stored warning is the episode that opened at the same instant; of those left over, one that people were
    told of becomes the episode it overlaps, so that nobody is told again.
    """
    changes = Changes()
    left = {_key(episode): episode for episode in episodes}
    unmatched = []
    for other in stored:
        episode = left.pop(_key(other.episode), None)
        if episode is None:
            unmatched.append(other)
        elif episode != other.episode:
            changes.changed.append((other.id, episode))
    for other in sorted(unmatched, key=lambda other: other.id):
        if not other.told:
            changes.removed.append(other.id)
            continue
        match = next((e for e in left.values() if _overlap(e, other.episode)), None)
        if match is not None:
            left.pop(_key(match))
            changes.changed.append((other.id, match))
        elif other.episode.closed_ms != other.episode.opened_ms:
            closed = replace(
                other.episode,
                closed_ms=other.episode.opened_ms,
                escalated_ms=None,
                detail={**other.episode.detail, "key": "withdrawn", "was": other.episode.detail},
            )
            changes.changed.append((other.id, closed))
    changes.added = list(left.values())
    return changes


def _key(episode: Episode) -> tuple[str, int, str, int]:
    return episode.subject_kind, episode.subject_id, episode.limit_name, episode.opened_ms


def _overlap(one: Episode, other: Episode) -> bool:
    if one.limit_name != other.limit_name or one.subject_id != other.subject_id:
        return False
    ends = [episode.closed_ms for episode in (one, other)]
    return (ends[1] is None or one.opened_ms <= ends[1]) and (ends[0] is None or other.opened_ms <= ends[0])


_COLUMNS = (
    "subject_kind", "subject_id", "limit_name", "tier", "from_verdict", "to_verdict", "detail",
    "opened_at", "escalated_at", "closed_at",
)  # fmt: skip


def read_stored(bulk: Bulk, subject_kind: str, since_ms: int) -> dict[int, list[Stored]]:
    """The stored warnings of one kind of subject that were open at or after an instant, by subject."""
    ms = bulk.instant_of
    found: dict[int, list[Stored]] = {}
    for id_, subject, limit, tier, from_, to, detail, opened, escalated, closed, told in bulk.rows(
        "SELECT id, subject_id, limit_name, tier, from_verdict, to_verdict, detail, "
        f"{ms('opened_at')}, {ms('escalated_at')}, {ms('closed_at')}, "
        "CASE WHEN acknowledged_at IS NOT NULL OR EXISTS "
        "(SELECT 1 FROM notice WHERE notice.warning_id = warning.id) THEN 1 ELSE 0 END FROM warning "
        "WHERE subject_kind = ? AND (closed_at IS NULL OR closed_at >= ? OR opened_at >= ?) ORDER BY id",
        (subject_kind, bulk.instant(since_ms), bulk.instant(since_ms)),
    ):
        document = json.loads(detail) if isinstance(detail, str) else detail
        episode = Episode(subject_kind, subject, limit, tier, from_, to, document, opened, escalated, closed)
        found.setdefault(subject, []).append(Stored(id_, episode, bool(told)))
    return found


def write_changes(bulk: Bulk, changes: Iterable[Changes]) -> None:
    """Write what `reconcile` found."""

    def values(episode: Episode) -> tuple[Any, ...]:
        return (
            episode.subject_kind, episode.subject_id, episode.limit_name, episode.tier,
            episode.from_verdict, episode.to_verdict, as_json(episode.detail),
            *(None if at is None else bulk.instant(at)
              for at in (episode.opened_ms, episode.escalated_ms, episode.closed_ms)),
        )  # fmt: skip

    changes = list(changes)
    bulk.each("DELETE FROM warning WHERE id = ?", [(id_,) for c in changes for id_ in c.removed])
    changed = [(*values(episode), id_) for c in changes for id_, episode in c.changed]
    bulk.update("warning", _COLUMNS, ("id",), changed)
    bulk.insert("warning", _COLUMNS, [values(episode) for c in changes for episode in c.added])
