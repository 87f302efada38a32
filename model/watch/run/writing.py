"""Computed results as rows, written in short transactions: nobody else can write while one is open."""

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from model.records.bulk import Bulk
from model.records.store import Store
from model.watch.air.climate import Climate
from model.watch.air.gap_fill import HourlyAir
from model.watch.air.places import air_then
from model.watch.run import watch_sql as ledger
from model.watch.run.computing import Computed
from model.watch.run.rows import Row, learned_rows, margin_rows, verdict_row
from model.watch.run.tasks import Known, Tally
from model.watch.run.watch_sql import Counts
from model.watch.state.margins import Resumed
from model.watch.state.roster import Assembly
from model.watch.state.states import widened_sd_pct
from model.watch.tell.fit_warnings import episodes_of, limits_at
from model.watch.tell.verdicts import AirThen, Judged, verdict_of, verdict_of_piece
from model.watch.tell.warnings import Changes, Stored, reconcile, write_changes

ROWS_AT_ONCE = 2_000
"""Rows of one transaction: less than a tenth of a second, for which who stores readings waits in silence."""
PAUSE_S = 0.02
"""Between two of them on SQLite, where whoever waits only looks from time to time whether it is free."""


@dataclass
class Results:
    """What is written in one transaction. Instants of its rows are in milliseconds since 1970."""

    airs: list[tuple[int, HourlyAir, list[int]]] = field(default_factory=list)
    rewinds: list[tuple[Assembly, int]] = field(default_factory=list)
    checkpoints: list[Row] = field(default_factory=list)
    learned: list[Row] = field(default_factory=list)
    margins: list[Row] = field(default_factory=list)
    verdicts: list[Row] = field(default_factory=list)
    changes: list[Changes] = field(default_factory=list)
    retired: list[Assembly] = field(default_factory=list)
    marks: list[tuple[int, int, int]] = field(default_factory=list)

    def count(self) -> int:
        """How many rows are to be written, about."""
        own = (
            len(self.checkpoints)
            + len(self.learned)
            + len(self.margins)
            + len(self.verdicts)
            + len(self.marks)
        )
        return own + len(self.rewinds) + sum(len(hours) for _, _, hours in self.airs)

    def write(self, bulk: Bulk) -> None:
        for place_id, air, hours in self.airs:
            ledger.write_air(bulk, place_id, air, hours)
        ledger.delete_from(bulk, self.rewinds)
        bulk.insert("checkpoint", ledger.CHECKPOINT, instants(bulk, self.checkpoints, 1))
        bulk.insert("learned", ledger.LEARNED, instants(bulk, self.learned, 1))
        bulk.insert("margin", ledger.MARGIN, instants(bulk, self.margins, 2, 8))
        write_changes(bulk, self.changes)
        ledger.put_verdicts(bulk, instants(bulk, self.verdicts, 3, 4, 5))
        ledger.end_retired(bulk, self.retired)
        ledger.delete_marks(bulk, self.marks)


class ResultWriter:
    """Gathers results and writes them in transactions that stay short.

    Parameters
    ----------
    store : Store
    counts : Counts
        When what is written was computed.
    tally : Tally
        Counts what is written.
    """

    def __init__(self, store: Store, counts: Counts, tally: Tally) -> None:
        self._store, self._tally = store, tally
        self.counts = counts
        self.rows = Results()

    def flush_if_full(self) -> None:
        """Write what was gathered once it is enough for a transaction; called where it is whole."""
        if self.rows.count() >= ROWS_AT_ONCE:
            self.flush()
            if self._store.is_sqlite:
                time.sleep(PAUSE_S)

    def flush(self) -> None:
        """Write what was gathered, if anything was.

        Raises
        ------
        Overtaken
            If another watch wrote since, or the book changed.
        """
        if not (self.rows.count() or self.rows.changes or self.rows.retired):
            return
        rows, self.rows = self.rows, Results()
        with ledger.writing(self._store, self.counts) as bulk:
            rows.write(bulk)
        self.counts = self.counts.after_writing()
        self._tally.add("air_hours", sum(len(hours) for _, _, hours in rows.airs))
        self._tally.add("checkpoints", len(rows.checkpoints))
        self._tally.add("margins", len(rows.margins))
        self._tally.add("marks", len(rows.marks))
        for name, of in (("opened", "added"), ("changed", "changed"), ("withdrawn", "removed")):
            self._tally.add(name, sum(len(getattr(change, of)) for change in rows.changes))


AirsThen = dict[tuple[int | None, int], AirThen]


def add_computed(
    rows: Results,
    one: Computed,
    hour: int,
    climates: Mapping[int, Climate],
    stored: Mapping[int, Sequence[Stored]],
    airs_then: AirsThen,
) -> Known:
    """Add the rows of a computed owner; returns where it now is. `airs_then` keeps what several ask alike."""
    task, owner = one.task, one.task.owner
    rewind = task.rewind_hour()
    if rewind is not None:
        rows.rewinds.append((owner, rewind))
    rows.verdicts += _verdicts(one, hour, climates, airs_then)
    if task.rests:  # nothing but the verdicts is other than it was
        assert task.known is not None
        return replace(task.known, judged_hour=hour)
    rows.checkpoints += one.checkpoints
    rows.learned += learned_rows(owner, task.begin + 1 if rewind is None else rewind)
    resumed = dict(task.known.resumed) if task.known else {}
    for fit in one.fits:
        rows.margins += margin_rows(fit, owner.kept_hours)
        episodes, replaced = episodes_of(fit, stored.get(fit.fit.id, ()))
        if episodes or replaced:
            rows.changes.append(reconcile(replaced, episodes))
        resumed[fit.fit.id] = Resumed(fit.fit.limit_names, fit.standing)
    learned = {body.id: body.steps[-1] for body in owner.bodies if body.steps}
    return Known(task.end, one.states, resumed, learned, is_last=True, judged_hour=hour)


def _verdicts(one: Computed, hour: int, climates: Mapping[int, Climate], airs_then: AirsThen) -> list[Row]:
    """The verdicts of an owner and its fits at an hour, by its states where it ends."""
    owner, end = one.task.owner, one.task.end
    if owner.until <= hour:
        return []
    stood = owner.place_at(max(hour - 1, owner.start_hour)), hour
    if stood not in airs_then:
        airs_then[stood] = air_then(owner, hour, climates)
    variances = one.states.variance_pct2.tolist()
    judged: dict[str, Judged] = {}
    rows = []
    for fit in one.fits:
        variance = max(variances[k] for k in owner.rows_of_fit[fit.fit.id])
        sd_pct = widened_sd_pct(variance, hour - end)
        judged[fit.fit.name] = verdict_of(limits_at(fit, -1), airs_then[stood], sd_pct)
        rows.append(verdict_row("fit", fit.fit.id, judged[fit.fit.name], hour, end))
    if owner.kind == "piece":
        problem = "its members were measured later" if owner.fits and not judged else ""
        rows.append(verdict_row("piece", owner.id, verdict_of_piece(judged, hour, problem), hour, end))
    return rows


def instants(bulk: Bulk, rows: Sequence[Row], *columns: int) -> list[Row]:
    """Rows with the milliseconds of some columns as the database has instants."""
    if bulk.instant(0) == 0:
        return list(rows)

    return [
        tuple(bulk.instant(value) if k in columns else value for k, value in enumerate(row)) for row in rows
    ]
