"""Judges the readings that came, before their hours are computed: raises doubts, and takes them back.

What is doubted follows from the readings alone, in whatever order they came: around every hour that changed
the detectors look again, at as much as bears on it, and the record is made to say what they find. What a
person undid stays undone, and what a person raised is left alone.

The judge returns the marks of hours it has seen, and only those may be computed and deleted: a reading that
comes while it looks marks its hour again, and is judged the next time.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from sqlalchemy import text

from model.records.acts.invalidation import mark_hours
from model.records.acts.trusted import ADVICE, take_turn
from model.records.bulk import Bulk
from model.records.schema.types import from_epoch_ms
from model.records.store import Store
from model.watch.air.air_hours import FAR_MS, read_trust
from model.watch.run import watch_sql as ledger
from model.watch.run.rows import as_json
from model.watch.trust import cross_sensor as company
from model.watch.trust import presence, signatures
from model.watch.trust.findings import DAY_MS, HOUR_MS, OPEN_MS, Finding, united
from model.watch.trust.reading import Caches, Library, Span, read_doubts
from model.watch.trust.reconcile import DoubtChange, OnRecord, Region, reconcile

CONTEXT_MS = 24 * HOUR_MS
"""How far from a suspicious span the readings bear on it."""
REACH_MS = 36 * HOUR_MS
"""How far from a changed reading a finding may change."""
LONGEST_MS = 40 * DAY_MS
"""How far the beginning of a finding is looked for; beyond, the record remembers it."""
PORTION_MS = 100 * DAY_MS
"""Readings looked at together, so that a year of one reading a second still fits in memory."""
SLOW_MS = company.DRIFT_DAYS * DAY_MS
LATE_H = 2
"""A change that long ago is looked at by the slow detectors at once, not at the end of the hour."""
MOVED_KNOWN_MS = 12 * HOUR_MS
TRIES = 6

QUICK_KINDS = ("out-of-range", "jump", "stuck", "perhaps-stuck", "pegged", "warm", "moved", "silent")
PRESENCE_KINDS = ("silent",)

Mark = tuple[int, int, int]


@dataclass
class SensorFindings:
    """What was found of one sensor, and where was looked, for some kinds."""

    sensor_id: int
    kinds: tuple[str, ...]
    regions: list[Region]
    findings: list[Finding] = field(default_factory=list)


@dataclass
class Judge:
    """Judges a book again and again.

    What it keeps between two times only saves looking twice; a new judge comes to the same record.

    Attributes
    ----------
    beat : callable
        Called after each sensor, and before each span of its readings.
    caches : Caches
        Whoever else deletes marks has to make the judge `forget`.
    """

    store: Store
    beat: Callable[[], object] = lambda: None
    caches: Caches = field(default_factory=Caches)
    _hour: int | None = None
    _waiting: dict[int, set[int]] = field(default_factory=dict)
    _looked_before: bool = False

    def forget(self) -> None:
        """Look at everything with new eyes: somebody else may have deleted marks of hours that changed."""
        self.caches.forget()

    def judge(self, bulk: Bulk, hour: int, at_ms: int) -> list[Mark]:
        """Judge everything that is marked up to an hour.

        Parameters
        ----------
        bulk : Bulk
            Reads; changes are written in transactions of their own.
        hour : int
            Since 1970; readings up to its end are looked at.
        at_ms : int
            Now, by the book's clock.

        Returns
        -------
        list of (sensor id, hour, revision)
            The marks whose readings have been judged.
        """
        seen: dict[tuple[int, int], int] = {}
        new_hour, self._hour = self._hour != hour, hour
        marks: list[Mark] = []
        book = ledger.read_counts(bulk).book
        for _ in range(TRIES):
            # Each of these goes through every mark: after an import of years they are a million.
            self.beat()
            marks = ledger.read_marks(bulk, hour)
            self.beat()
            fresh = [(sensor, at) for sensor, at, revision in marks if seen.get((sensor, at)) != revision]
            if not fresh and not new_hour:
                break
            self.beat()
            seen.update(((sensor, at), revision) for sensor, at, revision in marks)
            self.beat()
            found = self._look(bulk, fresh, hour, new_hour, book)
            new_hour = False
            if not self._differs(bulk, found):
                break  # what came meanwhile stays marked, and is looked at the next time
            self._write(found, seen, hour, at_ms)
        return [
            (sensor, at, revision) for sensor, at, revision in marks if seen.get((sensor, at)) == revision
        ]

    # ------------------------------------------------------------ looking

    def _look(
        self, bulk: Bulk, fresh: Sequence[tuple[int, int]], hour: int, new_hour: bool, book: int
    ) -> list[SensorFindings]:
        names = dict(bulk.rows("SELECT id, name FROM sensor"))
        trust = read_trust(bulk)
        self.caches.begin(book, trust.kept_since)
        self.caches.changed(fresh)
        self.beat()
        library = Library(bulk, self.caches, trust, names, (hour + 1) * HOUR_MS - 1, self.beat)
        hours: dict[int, set[int]] = {}
        for sensor_id, at in fresh:
            hours.setdefault(sensor_id, set()).add(at)
        touched = _with_company(library, hours)
        self.beat()
        found = []
        for sensor_id, own in sorted(touched.items()):
            found.append(_quick(library, sensor_id, own, hour))
            self.beat()
        late = {at for _, at in fresh if at < hour - LATE_H}
        for sensor_id, own in touched.items():
            self._waiting.setdefault(sensor_id, set()).update(own)
        if new_hour:
            for sensor_id in sorted(names):
                if sensor_id not in touched:
                    last = library.previous_ms(sensor_id, library.end_ms + 1)
                    if last is not None:
                        found.append(_presence(library, sensor_id, last, hour))
                        if not self._looked_before:
                            self._waiting.setdefault(sensor_id, set()).add(last // HOUR_MS)
            self._looked_before = True
        if new_hour or late:
            waiting, self._waiting = self._waiting, {}
            for sensor_id, own in sorted(waiting.items()):
                if sensor_id in names:
                    found += _slow(library, sensor_id, own)
                    self.beat()
        return found

    # ------------------------------------------------------------ writing

    def _differs(self, bulk: Bulk, found: Sequence[SensorFindings]) -> bool:
        stored = read_doubts(bulk, sorted({one.sensor_id for one in found}))
        return any(_changes(found, stored).values())

    def _write(
        self, found: Sequence[SensorFindings], seen: dict[tuple[int, int], int], hour: int, at_ms: int
    ) -> None:
        """Write what differs, mark the hours it bears on, and note those marks as seen."""
        with self.store.session() as session:
            take_turn(session)
            if not self.store.is_sqlite:
                session.execute(text("LOCK TABLE stale_hour IN SHARE ROW EXCLUSIVE MODE"))
            bulk = Bulk(session.connection())
            before = {(s, h): revision for s, h, revision in ledger.read_marks(bulk, hour)}
            changes = _changes(found, read_doubts(bulk, sorted({one.sensor_id for one in found})))
            for sensor_id, own in changes.items():
                for change in own:
                    apply_change(bulk, sensor_id, change, at_ms)
                    if change.kind not in ADVICE:
                        for since, until in change.spans:
                            end = None if until >= FAR_MS else from_epoch_ms(until)
                            mark_hours(session, [sensor_id], from_epoch_ms(since), end)
            for sensor_id, at, revision in ledger.read_marks(bulk, hour):
                # Unless somebody marked it since it was looked at: then it is looked at again.
                if before.get((sensor_id, at)) == seen.get((sensor_id, at)):
                    seen[sensor_id, at] = revision


def apply_change(bulk: Bulk, sensor_id: int, change: DoubtChange, at_ms: int) -> None:
    """Write one change of a sensor's doubts."""
    finding = change.finding
    if finding is None:
        bulk.run("DELETE FROM doubt WHERE id = ?", (change.id,))
        return
    until = None if finding.until_ms == OPEN_MS else bulk.instant(finding.until_ms)
    since = bulk.instant(finding.since_ms)
    assert finding.reason is not None
    reason = as_json(finding.reason.document())
    if change.id is None:
        bulk.run(
            "INSERT INTO doubt (sensor_id, kind, since_at, until_at, reason, raised_at) "
            "VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (sensor_id, kind, since_at) DO NOTHING",
            (sensor_id, finding.kind, since, until, reason, bulk.instant(at_ms)),
        )
    else:
        bulk.run(
            "UPDATE doubt SET since_at = ?, until_at = ?, reason = ? WHERE id = ?",
            (since, until, reason, change.id),
        )


def _changes(
    found: Sequence[SensorFindings], stored: Mapping[int, Sequence[OnRecord]]
) -> dict[int, list[DoubtChange]]:
    changes: dict[int, list[DoubtChange]] = {}
    for one in found:
        own = reconcile(one.findings, stored[one.sensor_id], one.regions, one.kinds)
        changes.setdefault(one.sensor_id, []).extend(own)
    return changes


# ---------------------------------------------------------------- where to look


def _with_company(library: Library, hours: Mapping[int, set[int]]) -> dict[int, set[int]]:
    """The hours at which each sensor has to be looked at again: its own, and those of the ones beside it."""
    touched: dict[int, set[int]] = {sensor_id: set(own) for sensor_id, own in hours.items()}
    for sensor_id, own in hours.items():
        for other, since, until in library.company(sensor_id):
            shared = {h for h in own if since < (h + 1) * HOUR_MS and until > h * HOUR_MS}
            if shared:
                touched.setdefault(other, set()).update(shared)
    return {sensor_id: own for sensor_id, own in touched.items() if sensor_id in library.names}


def _regions(hours: Iterable[int], reach_ms: int) -> list[Region]:
    """Spans around hours, those that come near each other put together, the longest in portions."""
    joined: list[Region] = []
    for hour in sorted(hours):
        low, high = hour * HOUR_MS - reach_ms, (hour + 1) * HOUR_MS - 1 + reach_ms
        if joined and low <= joined[-1][1] + reach_ms and high - joined[-1][0] <= PORTION_MS:
            joined[-1] = (joined[-1][0], high)
        else:
            joined.append((low, high))
    return joined


# ---------------------------------------------------------------- quick detectors


def _quick(library: Library, sensor_id: int, hours: Iterable[int], hour: int) -> SensorFindings:
    found = SensorFindings(sensor_id, QUICK_KINDS, _regions(hours, REACH_MS))
    for region in found.regions:
        found.findings += _around(library, sensor_id, region, hour)
    return found


def _around(library: Library, sensor_id: int, region: Region, hour: int) -> list[Finding]:
    """Everything found that meets a region, seen whole, or marked as going on beyond."""
    low = min(region[0], library.previous_ms(sensor_id, region[0]) or region[0]) - CONTEXT_MS
    high = max(region[1] + CONTEXT_MS, library.next_ms(sensor_id, region[1]) or 0)
    while True:
        findings = _detect(library, sensor_id, (low, high), hour)
        here = [f for f in _joined(findings) if f.meets(*region) and f.kind not in PRESENCE_KINDS]
        earlier = any(f.since_ms - CONTEXT_MS < low for f in here)
        later = any(f.until_ms != OPEN_MS and f.until_ms + CONTEXT_MS > high for f in here)
        earlier = earlier and library.previous_ms(sensor_id, low) is not None
        later = later and library.next_ms(sensor_id, high) is not None
        further = 2 * (high - low)
        wider = (
            max(low - further, region[0] - LONGEST_MS) if earlier else low,
            min(high + further, region[1] + LONGEST_MS) if later else high,
        )
        if wider == (low, high):
            break
        low, high = wider
    return [
        replace(
            f,
            begins_earlier=earlier and f.since_ms - CONTEXT_MS < low,
            ends_later=later and f.until_ms != OPEN_MS and f.until_ms + CONTEXT_MS > high,
        )
        for f in findings
    ]


def _joined(findings: Sequence[Finding]) -> list[Finding]:
    """Those that become one doubt made one, each as far as it reaches."""
    result = [f for f in findings if f.reason is None]
    for kind in sorted({f.kind for f in findings}):
        result += united(f for f in findings if f.kind == kind and f.reason is not None)
    return result


def _detect(library: Library, sensor_id: int, span: Span, hour: int) -> list[Finding]:
    """Everything that is in a span."""
    series = library.series(sensor_id, *span)
    if not len(series):
        return []
    beside = library.beside(sensor_id, *span)
    hung = library.hung(sensor_id)
    edges = [edge for span in hung for edge in span]
    return [
        *signatures.out_of_range(series),
        *signatures.jumps(series, beside),
        *signatures.stuck(series, beside),
        *signatures.pegged(series, beside),
        *company.warm(series, beside),
        *(
            f
            for f in signatures.moved(series, beside)
            if all(abs(f.since_ms - edge) > MOVED_KNOWN_MS for edge in edges)
        ),
        *presence.silences(series.at_ms, hung, hour * HOUR_MS, series.to_the_last),
    ]


def _presence(library: Library, sensor_id: int, last_ms: int, hour: int) -> SensorFindings:
    """Whether a sensor of which nothing new came has fallen silent."""
    found = []
    if hour * HOUR_MS - last_ms > presence.SILENT_LEAST_MS:
        series = library.series(sensor_id, last_ms - CONTEXT_MS, library.end_ms)
        found = presence.silences(series.at_ms, library.hung(sensor_id), hour * HOUR_MS)
    return SensorFindings(sensor_id, PRESENCE_KINDS, [(last_ms + 1, OPEN_MS)], found)


# ---------------------------------------------------------------- slow detectors


def _slow(library: Library, sensor_id: int, hours: Iterable[int]) -> list[SensorFindings]:
    result = []
    own = set(hours)
    beside = SensorFindings(sensor_id, ("drift", "self-heated"), _regions(own, SLOW_MS))
    if library.company(sensor_id):
        for low, high in beside.regions:
            # Whole days: a window of two weeks is looked at whole, or not at all.
            first_day, last_day = (low - SLOW_MS) // DAY_MS, (high + SLOW_MS) // DAY_MS
            span = (first_day * DAY_MS, (last_day + 1) * DAY_MS - 1)
            if library.heard_hours(sensor_id, *span) < company.LEAST_HOURS:
                continue
            series = library.series(sensor_id, *span, by_hour=True)
            others = library.beside(sensor_id, *span, by_hour=True)
            windows_from = first_day + company.DRIFT_DAYS - 1
            beside.findings += company.drift(series, others, windows_from)
            beside.findings += company.self_heated(series, others, windows_from)
    result.append(beside)
    clocks = SensorFindings(sensor_id, ("clock",), _regions(own, 2 * DAY_MS))
    newest = library.previous_ms(sensor_id, library.end_ms + 1)
    for low, high in clocks.regions:
        library.beat()
        first_day, last_day = low // DAY_MS, high // DAY_MS
        for f in presence.wrong_clock(library.days(sensor_id, first_day, last_day)):
            lasts = newest is not None and f.until_ms >= newest
            clocks.findings.append(
                replace(
                    f,
                    until_ms=OPEN_MS if lasts else f.until_ms,
                    begins_earlier=f.since_ms // DAY_MS == first_day,
                    ends_later=not lasts and f.until_ms // DAY_MS == last_day,
                )
            )
    result.append(clocks)
    return result
