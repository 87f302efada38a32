"""What a detector finds in a sensor's readings, and spans of it put together."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from model.wood.reason import Reason

MINUTE_MS = 60_000
HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
OPEN_MS = 1 << 62
"""The end of a span that lasts."""


@dataclass(frozen=True)
class Finding:
    """A span of readings that looks wrong, both ends included; instants in ms since 1970.

    Attributes
    ----------
    until_ms : int
        `OPEN_MS` while it lasts.
    reason : Reason or None
        Why; none when it looked wrong and something speaks for it: no doubt, but its whole extent
        had to be seen.
    begins_earlier, ends_later : bool
        Whether it goes on beyond what was looked at.
    """

    kind: str
    since_ms: int
    until_ms: int
    reason: Reason | None
    begins_earlier: bool = False
    ends_later: bool = False

    def meets(self, since_ms: int, until_ms: int) -> bool:
        return self.since_ms <= until_ms and self.until_ms >= since_ms


def united(findings: Iterable[Finding]) -> list[Finding]:
    """Findings of one kind that overlap or follow within a millisecond made one, in order; the reason of the
    first stands."""
    result: list[Finding] = []
    for finding in sorted(findings, key=lambda f: (f.since_ms, f.until_ms)):
        last = result[-1] if result else None
        if last is None or finding.since_ms > last.until_ms + 1:
            result.append(finding)
            continue
        later = finding if finding.until_ms > last.until_ms else last
        result[-1] = replace(
            last,
            until_ms=later.until_ms,
            begins_earlier=last.begins_earlier
            or (finding.begins_earlier and finding.since_ms == last.since_ms),
            ends_later=later.ends_later,
        )
    return result


def without(finding: Finding, spans: Sequence[tuple[int, int]]) -> list[Finding]:
    """What is left of a finding outside of spans, both ends of which are included."""
    left = [finding]
    for since, until in spans:
        pieces = []
        for piece in left:
            if not piece.meets(since, until):
                pieces.append(piece)
                continue
            if piece.since_ms < since:
                pieces.append(replace(piece, until_ms=since - 1, ends_later=False))
            if piece.until_ms > until:
                pieces.append(replace(piece, since_ms=until + 1, begins_earlier=False))
        left = pieces
    return left
