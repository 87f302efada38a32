"""What detectors found against the doubts on record: what to raise, change and take back. Pure."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from model.watch.trust.findings import OPEN_MS, Finding, united, without
from model.wood.reason import Reason

Region = tuple[int, int]


@dataclass(frozen=True)
class OnRecord:
    """A doubt on record; instants in ms since 1970, `OPEN_MS` for one that lasts."""

    id: int
    kind: str
    since_ms: int
    until_ms: int
    reason: Reason
    undone: bool

    def meets(self, since_ms: int, until_ms: int) -> bool:
        return self.since_ms <= until_ms and self.until_ms >= since_ms


@dataclass(frozen=True)
class DoubtChange:
    """What to do to one doubt, and the spans of readings it makes count or count no more.

    Attributes
    ----------
    id : int or None
        The row; none for a new one.
    finding : Finding or None
        What it is to say; none when it is taken back.
    """

    id: int | None
    finding: Finding | None
    kind: str
    spans: tuple[Region, ...]


def reconcile(
    found: Iterable[Finding], stored: Sequence[OnRecord], regions: Sequence[Region], kinds: Sequence[str]
) -> list[DoubtChange]:
    """The changes that make one sensor's record say what was found.

    Parameters
    ----------
    found : iterable of Finding
        Everything of these kinds that meets the regions, or overlaps what does, with its whole extent.
    stored : sequence of OnRecord
        The sensor's doubts, undone ones too.
    regions : sequence of (since, until)
        Where was looked; doubts that lie wholly elsewhere are left alone.

    Returns
    -------
    list of DoubtChange
        Takings back first, then changes, then new ones, so that no two share a beginning in between.
    """
    gone: list[DoubtChange] = []
    altered: list[DoubtChange] = []
    added: list[DoubtChange] = []
    for kind in kinds:
        mine = [row for row in stored if row.kind == kind]
        doubts = [finding for finding in found if finding.kind == kind and finding.reason is not None]
        # One that lies elsewhere may be one doubt with one that doesn't.
        wanted = [
            finding
            for finding in united(_stretched(finding, mine) for finding in doubts)
            if any(finding.meets(*region) for region in regions)
        ]
        looked = [*regions, *((f.since_ms, f.until_ms) for f in wanted)]
        here = [row for row in mine if any(row.meets(*span) for span in looked)]
        undone = []
        for row in (row for row in here if row.undone):
            until = _end_of_undone(row, wanted)
            undone.append((row.since_ms, until))
            if until != row.until_ms:
                closed = Finding(kind, row.since_ms, until, row.reason)
                altered.append(DoubtChange(row.id, closed, kind, ()))
        pieces = [piece for finding in wanted for piece in without(finding, undone)]
        live = [row for row in here if not row.undone]
        for piece in pieces:
            match = _same(piece, live)
            if match is None:
                added.append(DoubtChange(None, piece, kind, ((piece.since_ms, piece.until_ms),)))
                continue
            live.remove(match)
            said = (piece.since_ms, piece.until_ms, piece.reason)
            if (match.since_ms, match.until_ms, match.reason) != said:
                altered.append(DoubtChange(match.id, piece, kind, _differences(match, piece)))
        gone += [DoubtChange(row.id, None, kind, ((row.since_ms, row.until_ms),)) for row in live]
    return [*gone, *altered, *added]


def _stretched(finding: Finding, rows: Sequence[OnRecord]) -> Finding:
    """A finding that goes on beyond what was looked at reaches as far as the record says."""
    since, until = finding.since_ms, finding.until_ms
    for row in rows:
        if row.meets(finding.since_ms - 1, finding.until_ms):
            since = min(since, row.since_ms) if finding.begins_earlier else since
            until = max(until, row.until_ms) if finding.ends_later else until
    return replace(finding, since_ms=since, until_ms=until)


def _end_of_undone(row: OnRecord, wanted: Sequence[Finding]) -> int:
    """An undone doubt that was open ends where what it spoke of ended."""
    if row.until_ms != OPEN_MS:
        return row.until_ms
    ends = [f.until_ms for f in wanted if f.since_ms <= row.since_ms <= f.until_ms]
    if not ends:
        ends = [f.until_ms for f in wanted if f.since_ms > row.since_ms][:1]
        return row.since_ms if not ends or ends[0] != OPEN_MS else OPEN_MS
    return ends[0]


def _same(piece: Finding, live: Sequence[OnRecord]) -> OnRecord | None:
    """The doubt that says the same: of one beginning, else the first that overlaps."""
    for row in live:
        if row.since_ms == piece.since_ms:
            return row
    return next((row for row in live if row.meets(piece.since_ms, piece.until_ms)), None)


def _differences(row: OnRecord, piece: Finding) -> tuple[Region, ...]:
    spans = []
    for a, b in ((row.since_ms, piece.since_ms), (row.until_ms, piece.until_ms)):
        if a != b:
            spans.append((min(a, b), max(a, b)))
    return tuple(spans)
