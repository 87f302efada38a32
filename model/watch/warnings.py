"""Warnings as rows of change: opened, escalated once, closed; told once, however often they are computed.

The warnings of a limit follow from its standings alone, so whatever order readings come in, the same rows
result. When late readings change the past, what was computed is compared with what is stored: a row keeps
its identity, its acknowledgement and its notices as long as the new past still has a warning there; one that
nobody was told of goes when the past no longer has it; one that was told stays, closed as it opened.
"""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from model.watch.air_hours import HOUR_MS
from model.watch.bulk import Bulk
from model.watch.margins import Crossing, FitHours
from model.watch.rows import as_json
from model.watch.standing import EASY, PAST, STANDINGS
from model.watch.verdicts import LimitNow, limit_reason, sentence

HARM_SOON_DAYS = 14.0


@dataclass(frozen=True)
class Episode:
    """A warning as the data have it; instants in milliseconds since 1970."""

    subject_kind: str
    subject_id: int
    limit_name: str
    tier: str
    from_verdict: str
    to_verdict: str
    reason: str
    detail: dict[str, Any]
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


# ---------------------------------------------------------------- from standings


def limit_at(fit: FitHours, row: int, column: int) -> LimitNow:
    """One limit of a fit at one of its hours."""
    assert fit.history is not None
    limit = fit.limits[row]
    return LimitNow(
        name=limit.name,
        direction=limit.direction,
        severity=limit.severity,
        says=limit.says,
        margin_mm=float(fit.margin_mm[row, column]),
        play_mm=float(fit.play_mm[row]),
        level=int(fit.history.level[row, column]),
        since_hour=int(fit.history.since[row, column]),
        crossing=fit.crossing[row][column],
    )


def limits_now(fit: FitHours) -> list[LimitNow]:
    """The limits of a fit at its last hour."""
    return [
        LimitNow(
            limit.name, limit.direction, limit.severity, limit.says, now.margin_mm, play_mm,
            now.level, now.since, crossing[-1],
        )
        for limit, now, play_mm, crossing in zip(
            fit.limits, fit.latest, fit.play_mm.tolist(), fit.crossing, strict=True
        )
    ]  # fmt: skip


def tier_of(severity: str, level: int, crossing: Crossing | None) -> str:
    """How soon a maker wants to know: harm, or harm two weeks off, the same morning; else this week."""
    if severity == "harms":
        soon = crossing is not None and crossing.get("days") is not None
        if level == PAST or (soon and crossing is not None and crossing["days"] <= HARM_SOON_DAYS):
            return "morning"
    return "week"


def episodes_of(fit: FitHours, stored: Sequence[Stored]) -> tuple[list[Episode], list[Stored]]:
    """The warnings of a fit that are open at its first hour or open later, and the stored ones they replace.

    Parameters
    ----------
    fit : FitHours
        Settled.
    stored : sequence of Stored
        Those of this fit that were open at or after its first hour.
    """
    assert fit.history is not None
    resumed_ms = (fit.first - 1) * HOUR_MS
    over = fit.last == fit.owner.until  # followed no more: what is open then ends with it
    if not fit.changed and not over and not any(_later(other.episode, resumed_ms) for other in stored):
        return [], []
    episodes: list[Episode] = []
    replaced: list[Stored] = []
    for row, limit in enumerate(fit.limits):
        own = [other for other in stored if other.episode.limit_name == limit.name]
        later = [other for other in own if other.episode.opened_ms > resumed_ms]
        replaced += later
        level = int(fit.before.standing.level[row]) if fit.before is not None else EASY
        now: Episode | None = None
        before = [other for other in own if other.episode.opened_ms <= resumed_ms]
        if level > EASY and before:
            last = max(before, key=lambda other: other.episode.opened_ms)
            replaced.append(last)
            now = _as_of(last.episode, resumed_ms)
        for column in fit.history.changes(row, level):
            new = int(fit.history.level[row, column])
            at_ms = (fit.first + column) * HOUR_MS
            state = limit_at(fit, row, column)
            if now is None:
                now = _opened(fit, state, at_ms)
            elif new == PAST and now.escalated_ms is None and now.to_verdict != STANDINGS[PAST]:
                now = _escalated(now, _opened(fit, state, at_ms), at_ms)
            elif new == EASY:
                episodes.append(replace(now, closed_ms=at_ms))
                now = None
        if now is not None:
            episodes.append(replace(now, closed_ms=fit.last * HOUR_MS) if over else now)
    return episodes, replaced


def _escalated(episode: Episode, said: Episode, at_ms: int) -> Episode:
    """A warning that has gone on to past, with how it opened kept for when that is taken back."""
    opening = {key: getattr(episode, key) for key in ("tier", "to_verdict", "reason", "detail")}
    return replace(
        episode,
        escalated_ms=at_ms,
        to_verdict=said.to_verdict,
        tier=said.tier,
        reason=said.reason,
        detail={**said.detail, "opening": opening},
    )


def _later(episode: Episode, at_ms: int) -> bool:
    """Whether anything happened to a warning after an instant."""
    return any(
        at is not None and at > at_ms for at in (episode.opened_ms, episode.escalated_ms, episode.closed_ms)
    )


def _as_of(episode: Episode, at_ms: int) -> Episode:
    """A stored warning with what happened to it after an instant taken back."""
    if episode.escalated_ms is not None and episode.escalated_ms > at_ms:
        episode = replace(episode, escalated_ms=None, **episode.detail["opening"])
    return replace(episode, closed_ms=None)


def _opened(fit: FitHours, state: LimitNow, at_ms: int) -> Episode:
    key, reason = limit_reason(state)
    return Episode(
        subject_kind="fit",
        subject_id=fit.fit.id,
        limit_name=state.name,
        tier=tier_of(state.severity, state.level, state.crossing),
        from_verdict=STANDINGS[EASY],
        to_verdict=STANDINGS[state.level],
        reason=sentence(reason),
        detail={
            "key": key,
            "piece": fit.owner.name,
            "fit": fit.fit.name,
            "says": state.says,
            "direction": state.direction,
            "severity": state.severity,
            "margin_mm": state.margin_mm,
            "play_mm": state.play_mm,
            "crossing": dict(state.crossing) if state.crossing else None,
        },
        opened_ms=at_ms,
    )


# ---------------------------------------------------------------- against what is stored


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
                reason=f"withdrawn, late readings show otherwise: {other.episode.reason}",
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
    "subject_kind", "subject_id", "limit_name", "tier", "from_verdict", "to_verdict", "reason", "detail",
    "opened_at", "escalated_at", "closed_at",
)  # fmt: skip


def read_stored(bulk: Bulk, subject_kind: str, since_ms: int) -> dict[int, list[Stored]]:
    """The stored warnings of one kind of subject that were open at or after an instant, by subject."""
    ms = bulk.instant_of
    found: dict[int, list[Stored]] = {}
    for id_, subject, limit, tier, from_, to, reason, detail, opened, escalated, closed, told in bulk.rows(
        "SELECT id, subject_id, limit_name, tier, from_verdict, to_verdict, reason, detail, "
        f"{ms('opened_at')}, {ms('escalated_at')}, {ms('closed_at')}, "
        "CASE WHEN acknowledged_at IS NOT NULL OR EXISTS "
        "(SELECT 1 FROM notice WHERE notice.warning_id = warning.id) THEN 1 ELSE 0 END FROM warning "
        "WHERE subject_kind = ? AND (closed_at IS NULL OR closed_at >= ? OR opened_at >= ?) ORDER BY id",
        (subject_kind, bulk.instant(since_ms), bulk.instant(since_ms)),
    ):
        document = json.loads(detail) if isinstance(detail, str) else detail
        episode = Episode(
            subject_kind, subject, limit, tier, from_, to, reason, document, opened, escalated, closed
        )
        found.setdefault(subject, []).append(Stored(id_, episode, bool(told)))
    return found


def write_changes(bulk: Bulk, changes: Iterable[Changes]) -> None:
    """Write what `reconcile` found."""

    def values(episode: Episode) -> tuple[Any, ...]:
        return (
            episode.subject_kind, episode.subject_id, episode.limit_name, episode.tier,
            episode.from_verdict, episode.to_verdict, episode.reason, as_json(episode.detail),
            *(None if at is None else bulk.instant(at)
              for at in (episode.opened_ms, episode.escalated_ms, episode.closed_ms)),
        )  # fmt: skip

    changes = list(changes)
    bulk.each("DELETE FROM warning WHERE id = ?", [(id_,) for c in changes for id_ in c.removed])
    setting = ", ".join(f"{column} = ?" for column in _COLUMNS)
    bulk.each(
        f"UPDATE warning SET {setting} WHERE id = ?",
        [(*values(episode), id_) for c in changes for id_, episode in c.changed],
    )
    bulk.each(
        f"INSERT INTO warning ({', '.join(_COLUMNS)}) VALUES ({', '.join('?' * len(_COLUMNS))})",
        [values(episode) for c in changes for episode in c.added],
    )
