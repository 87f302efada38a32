"""The warnings of a fit's limits, from how they stand hour by hour.

One opens when a limit becomes near or past, and closes when it is clear again. Once in between it escalates,
and is told again: when it goes past, or, where it opened past, at the midnight at which the wood has gone
half a point of moisture further. What is worse than was told is written down even where nobody is told again.
"""

from collections.abc import Sequence
from dataclasses import replace

from model.watch.air.air_hours import HOUR_MS
from model.watch.state.hysteresis import CLEAR_BY_PCT, EASY, PAST, STANDINGS
from model.watch.state.margins import FitHours
from model.watch.tell.verdicts import LimitNow, limit_reason
from model.watch.tell.warnings import Episode, Stored

WORSE_BY_PCT = 0.5
TIERS = ("season", "week", "morning", "now")


def limits_at(fit: FitHours, column: int) -> list[LimitNow]:
    """The limits of a fit at one of its hours; -1 is the last."""
    assert fit.history is not None
    columns = (fit.margin_mm, fit.history.level, fit.history.since)
    margins, levels, since = (values[:, column].tolist() for values in columns)
    play_mm, near_mm = fit.play_mm.tolist(), fit.near_mm(column).tolist()
    return [
        LimitNow(
            limit.name, limit.direction, limit.severity, limit.reason, margins[row], play_mm[row],
            near_mm[row], levels[row], since[row],
        )
        for row, limit in enumerate(fit.limits)
    ]  # fmt: skip


def tier_of(severity: str, level: int) -> str:
    """How soon a maker wants to know: harm the same morning; else this week."""
    return "morning" if severity == "harms" and level == PAST else "week"


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
    midnights = range(-fit.first % 24, fit.last - fit.first + 1, 24)
    if (
        not fit.changed
        and not over
        and not any(
            _later(other.episode, resumed_ms) or (midnights and other.episode.closed_ms is None)
            for other in stored
        )
    ):
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
        turns = set(fit.history.changes(row, level))
        for column in sorted(turns.union(midnights) if now is not None or turns else turns):
            at_ms = (fit.first + column) * HOUR_MS
            if column in turns and fit.history.level[row, column] == EASY:
                if now is not None:
                    episodes.append(replace(now, closed_ms=at_ms))
                now = None
            elif now is None:
                if column in turns:
                    now = _opened(fit, limits_at(fit, column)[row], at_ms)
            else:
                now = _gone_on(now, fit, row, column, at_ms)
        if now is not None:
            episodes.append(replace(now, closed_ms=fit.last * HOUR_MS) if over else now)
    return episodes, replaced


def _gone_on(now: Episode, fit: FitHours, row: int, column: int, at_ms: int) -> Episode:
    """A warning at a later hour of its limit: as it was, or worse by something worth saying."""
    state = limits_at(fit, column)[row]
    is_past = now.to_verdict == STANDINGS[PAST]
    if state.level == PAST and not is_past:
        return _worse(now, _opened(fit, state, at_ms), at_ms)
    if now.escalated_ms is not None or not is_past:
        return now
    to_go_mm = state.margin_mm - float(fit.margin_toward_limit_mm[row, column])
    worse_mm = now.detail["margin_mm"] - state.margin_mm
    worse = state.level == PAST and worse_mm >= WORSE_BY_PCT / CLEAR_BY_PCT * to_go_mm > 0.0
    return _worse(now, _opened(fit, state, at_ms), at_ms) if worse else now


def _worse(episode: Episode, said: Episode, at_ms: int) -> Episode:
    """A warning that has become worse, with what it was before kept for when that is taken back."""
    kept = ("tier", "to_verdict", "escalated_ms", "detail")
    return replace(
        episode,
        escalated_ms=at_ms if episode.escalated_ms is None else episode.escalated_ms,
        to_verdict=said.to_verdict,
        tier=max(said.tier, episode.tier, key=TIERS.index),
        detail={**said.detail, "worse_ms": at_ms, "opening": {key: getattr(episode, key) for key in kept}},
    )


def _later(episode: Episode, at_ms: int) -> bool:
    """Whether anything happened to a warning after an instant."""
    instants = episode.opened_ms, episode.escalated_ms, episode.closed_ms, episode.detail.get("worse_ms")
    return any(at is not None and at > at_ms for at in instants)


def _as_of(episode: Episode, at_ms: int) -> Episode:
    """A stored warning with what happened to it after an instant taken back."""
    while episode.detail.get("worse_ms", episode.escalated_ms or 0) > at_ms:
        episode = replace(episode, **{"escalated_ms": None, **episode.detail["opening"]})
    return replace(episode, closed_ms=None)


def _opened(fit: FitHours, state: LimitNow, at_ms: int) -> Episode:
    return Episode(
        subject_kind="fit",
        subject_id=fit.fit.id,
        limit_name=state.name,
        tier=tier_of(state.severity, state.level),
        from_verdict=STANDINGS[EASY],
        to_verdict=STANDINGS[state.level],
        detail={"piece": fit.owner.name, "fit": fit.fit.name, **limit_reason(state).document()},
        opened_ms=at_ms,
    )
