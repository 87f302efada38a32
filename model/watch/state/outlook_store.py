"""The outlook of every piece on the book: computed once a day, kept in its table, read by pages and commands.

`Outlooks.refresh` belongs to the watch's process: it computes what the day or a change of the book has made
out of date and replaces a piece's rows together. Computing it again from the same book gives the same rows.
"""

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import delete, insert

from model.records.bulk import Bulk
from model.records.queries.outlooks import NAMES
from model.records.schema.tables import Outlook, PieceRow
from model.records.schema.types import from_epoch_ms, to_epoch_ms
from model.records.store import Store
from model.watch.air.air_hours import HOUR_MS
from model.watch.air.climate import SILENT_AFTER_H
from model.watch.air.climate_prior import Surroundings, seasons_of
from model.watch.air.gap_fill import NO_AIR, HourlyAir
from model.watch.run import watch_sql as ledger
from model.watch.run.workers import Helpers
from model.watch.state import read_back as resume
from model.watch.state.outlook import (
    DAYS,
    QUANTILES,
    YEARS,
    Ahead,
    LimitAhead,
    look_ahead,
    spread,
)
from model.watch.state.outlook_request import OutlookRequest, surroundings_on_book
from model.watch.state.preventive_humidity import lever_of, stays_document
from model.watch.state.roster import Assembly, PlaceOnBook
from model.watch.state.roster_reader import RosterReader
from model.watch.state.states import States
from model.watch.tell.prospect_warnings import EVEN_PCT, LIKELY_PCT, say_today
from model.watch.tell.verdicts import LATER, SOONER
from model.wood.climate.seasonal_model import Season

Floats = NDArray[np.float64]

DIGITS = 4
PIECES_A_TASK = 10
"""Pieces handed to a worker at once: a second or two of work."""
FORM = 5
"""Counted up when the rows come to hold something new, so that those stored before are computed again."""


class Outlooks:
    """Keeps the outlooks of one book.

    Parameters
    ----------
    store : Store
    years : int
        Plausible years, even.
    at_once : int, optional
        Pieces of one call, where the caller has other things to see to in between; all if not given.
    scheduler : str
        Address of a Dask scheduler whose workers compute, so many pieces at once each; this process if empty.
    """

    def __init__(
        self, store: Store, years: int = YEARS, at_once: int | None = None, scheduler: str = ""
    ) -> None:
        self._store, self._years, self._at_once = store, years, at_once
        self._helpers = Helpers(scheduler) if scheduler else None
        self._reader = RosterReader()
        self._seen: tuple[object, ...] | None = None
        self.computed = 0  # so many outlooks so far

    def refresh(self, now: datetime) -> int:
        """Compute what is out of date; returns for how many pieces that was.

        Costs one small read when nothing happened since. A piece waits for its states: one that the watch
        has not yet taken to this day's midnight is left for the next call. Late readings and changes of the
        book bring the outlook of the pieces they concern up to date as well.
        """
        midnight = to_epoch_ms(now) // HOUR_MS // 24 * 24
        with ledger.reading(self._store) as bulk:
            seen = (midnight, ledger.read_counts(bulk))
            if self._seen == seen:
                return 0
            due, waiting = self._due(bulk, midnight)
            airs = ledger.read_airs(bulk) if due else {}
            requests = [_request(bulk, one, airs) for one in due]
        requests = [request for request in requests if len(request.airs.get(request.place_id, NO_AIR))]
        workers = self._helpers.count() if self._helpers is not None and requests else 0
        if self._at_once is not None and len(requests) > self._at_once * max(workers, 1):
            requests, waiting = requests[: self._at_once * max(workers, 1)], True
        if requests:
            done = self._compute(requests, {one.owner.id: one.basis for one in due}, workers)
            waiting = waiting or done < len(requests)
            self.computed += done
        self._seen = None if waiting else seen
        return len(requests)

    def close(self) -> None:
        """Let the workers go."""
        if self._helpers is not None:
            self._helpers.close()

    def _due(self, bulk: Bulk, midnight: int) -> tuple[list["_Due"], bool]:
        """Pieces whose outlook is not of what is known now, and whether one has no states yet."""
        stored = {
            piece: _loaded(detail).get("basis")
            for piece, detail in bulk.rows(
                "SELECT subject_id, detail FROM outlook WHERE subject_kind = 'piece' AND quantity = 'rh_pct'"
            )
        }
        measured = {
            row[0]: row
            for row in bulk.rows(
                "SELECT place_id, COUNT(*), SUM(temperature_c), SUM(rh_pct), "
                f"{bulk.instant_of('MAX(hour_at)')} FROM air_hour "
                "WHERE basis = 'measured' AND hour_at < ? GROUP BY place_id",
                (bulk.instant(midnight * HOUR_MS),),
            )
        }
        roster = self._reader.read(bulk)
        learned = resume.read_learned(bulk, roster.owners)
        due, waiting = [], False
        for owner in roster.owners:
            hour = max(midnight, owner.start_hour)
            place_id = owner.place_at(hour)
            if owner.kind != "piece" or not owner.bodies or owner.until <= hour or place_id is None:
                continue
            air = measured.get(place_id)
            if air is None or _silent(roster.places[place_id], air[-1] // HOUR_MS, hour):
                continue
            found = resume.read_states(bulk, {hour: [body.id for body in owner.bodies]})
            states = resume.states_at(owner, hour, found)
            if states is None:
                waiting = True
                continue
            owner = resume.as_learned(owner, hour, learned)
            basis = _basis(owner, hour, states, (roster.places[place_id], air))
            if stored.get(owner.id) != basis:
                due.append(_Due(owner, hour, place_id, states, basis))
        return due, waiting

    def _compute(self, requests: Sequence[OutlookRequest], basis: Mapping[int, str], workers: int) -> int:
        """Compute and write pieces, on the workers where there are any; returns how many came."""
        surroundings = surroundings_on_book(self._store)
        known: dict[tuple[int, int], Season] = {}
        for request in requests:
            key = request.place_id, request.hour
            if key not in known:
                air = request.airs[request.place_id]
                (known[key],) = seasons_of(surroundings[request.place_id], air, [request.hour])
        if not workers:
            seasons = [known[request.place_id, request.hour] for request in requests]
            return sum(map(self._write, foretold(requests, seasons, surroundings, basis, self._years)))
        assert self._helpers is not None
        # Pieces of one place together, so that its air and its season are handed over once.
        ordered = sorted(requests, key=lambda request: (request.place_id, request.owner.id))
        given = []
        for at in range(0, len(ordered), PIECES_A_TASK):
            own = [
                replace(request, airs={request.place_id: request.airs[request.place_id]})
                for request in ordered[at : at + PIECES_A_TASK]
            ]
            around = {request.place_id: surroundings[request.place_id] for request in own}
            own_basis = {request.owner.id: basis[request.owner.id] for request in own}
            seasons = [known[request.place_id, request.hour] for request in own]
            given.append((own, seasons, around, own_basis, self._years))
        done = 0
        for found in self._helpers.each(_all_foretold, given):
            done += sum(map(self._write, found))
        return done

    def _write(self, found: "_Foretold") -> int:
        """Replace a piece's rows, unless the piece was taken out meanwhile."""
        owner = found.owner
        with self._store.session() as session:
            if session.get(PieceRow, owner.id) is not None:
                session.execute(delete(Outlook).where(Outlook.piece_id == owner.id))
                session.execute(insert(Outlook), found.rows)
                at = from_epoch_ms(found.hour * HOUR_MS)
                say_today(session, owner.name, at, {fit.name: fit.id for fit in owner.fits}, found.said)
        return 1


@dataclass(frozen=True)
class _Foretold:
    """A piece's rows of `outlook`, and what is said of its limits."""

    owner: Assembly
    hour: int
    rows: list[dict[str, Any]]
    said: list[dict[str, Any]]


def foretold(
    requests: Sequence[OutlookRequest],
    seasons: Sequence[Season],
    surroundings: Mapping[int, Surroundings],
    basis: Mapping[int, str],
    years: int,
) -> Iterator[_Foretold]:
    """What is to be written of each piece; it needs no database."""
    for ahead in look_ahead(requests, seasons, DAYS, years):
        owner = ahead.request.owner
        around = surroundings[ahead.request.place_id]
        details = [limit_detail(ahead, limit, around) for limit in ahead.limits]
        said = [statement_of(limit, one) for limit, one in zip(ahead.limits, details, strict=True)]
        rows = rows_of(ahead, around, details, next_of(said), basis[owner.id])
        yield _Foretold(owner, ahead.request.hour, rows, said)


def _all_foretold(*given: Any) -> list[_Foretold]:
    return list(foretold(*given))


def _silent(place: PlaceOnBook, last: int, hour: int) -> bool:
    """Whether a place is silent at an hour, by its last measured one, so that nothing is predicted."""
    return hour > last + 1 + SILENT_AFTER_H[place.kind]


@dataclass(frozen=True)
class _Due:
    """A piece to compute: where it is, in which state, and what its outlook will rest on."""

    owner: Assembly
    hour: int
    place_id: int
    states: States
    basis: str


def _basis(owner: Assembly, hour: int, states: States, air: object) -> str:
    """A short word for all that an outlook rests on; another word asks for another outlook."""
    hashed = hashlib.blake2b(digest_size=12)
    hashed.update(states.profile.tobytes() + states.variance_pct2.tobytes())
    fits = [(fit.name, fit.fit, fit.gaps) for fit in owner.fits]
    hashed.update(repr((FORM, hour, air, owner.bodies, fits)).encode())
    hashed.update(b"".join(repr(body.learned).encode() for body in owner.bodies if body.learned))
    return hashed.hexdigest()


def _request(bulk: Bulk, due: _Due, airs: Mapping[int, HourlyAir]) -> OutlookRequest:
    """An owner at an hour, as the watch would ask for it."""
    owner, hour, states = due.owner, due.hour, due.states
    ids = [body.id for body in owner.bodies]
    kept = resume.read_states(bulk, {at: ids for at in owner.kept_hours if at <= hour})
    there = [(row, body) for row, body in enumerate(owner.bodies) if states.hour[row] == hour]

    def then(body_id: int, at: int) -> float:
        return float(kept[body_id, at][3])

    return OutlookRequest(
        owner,
        hour,
        due.place_id,
        {body.name: states.profile[row] for row, body in there},
        airs,
        {body.name: float(states.variance_pct2[row]) for row, body in there},
        then,
    )


# ---------------------------------------------------------------- rows


def rows_of(
    ahead: Ahead,
    surroundings: Surroundings,
    details: Sequence[dict[str, Any]],
    coming: Sequence[Mapping[str, Any]],
    basis: str = "",
) -> list[dict[str, Any]]:
    """The rows of `outlook` of one piece."""
    request = ahead.request
    bodies = {body.name: body.id for body in request.owner.bodies}
    fits = {fit.name: fit.id for fit in request.owner.fits}
    known = ahead.season
    about_air = {
        "place_id": request.place_id,
        "known_from": known.expectation.source,
        "climate_known": surroundings.known,
        "seen_share": round(known.seen_share, 3),
        "measured_days": known.measured_days,
        "years": ahead.years,
        "basis": basis,
    }
    series: list[tuple[str, int, str, Floats, dict[str, Any]]] = [
        ("piece", request.owner.id, "rh_pct", spread(ahead.air.rh_pct), about_air | {"next": coming}),
        ("piece", request.owner.id, "temperature_c", spread(ahead.air.temperature_c), about_air),
    ]
    for name, mc_pct in ahead.mc_pct.items():
        series.append(("member", bodies[name], "mc_pct", spread(mc_pct), {}))
        series.append(("member", bodies[name], "width_mm", spread(ahead.width_mm[name]), {}))
    for limit, detail in zip(ahead.limits, details, strict=True):
        series.append(("fit", fits[limit.fit], limit.limit.name, limit.spread_mm, detail))
    at = from_epoch_ms(request.hour * HOUR_MS)
    return [
        {
            "subject_kind": kind,
            "subject_id": subject,
            "quantity": quantity,
            "piece_id": request.owner.id,
            "at": at,
            "detail": detail,
            **{name: np.asarray(row, dtype="<f4").tobytes() for name, row in zip(NAMES, values, strict=True)},
        }
        for kind, subject, quantity, values, detail in series
    ]


def next_of(said: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """The limits not past today that one year in ten or more passes, those first that most years pass.

    Within those and within the rest harms come before shows, then the earlier.
    """
    likely = [dict(one) for one in said if not one["is_past"] and one["chance_pct"] >= LIKELY_PCT]
    return sorted(
        likely, key=lambda one: (one["chance_pct"] < EVEN_PCT, one["severity"] != "harms", one["low_days"])
    )


def statement_of(limit: LimitAhead, detail: Mapping[str, Any]) -> dict[str, Any]:
    """What is said today of a limit's coming year.

    `low_days` and `high_days` are when, as `LimitAhead.crossing_window` has it, counted from the outlook's
    midnight; None where no year crosses. `reason_key` is what leads there: the room as it is, or the seasons
    to come.
    """
    low_days, high_days = limit.crossing_window() or (None, None)
    return {
        "fit": limit.fit,
        "limit": limit.limit.name,
        "direction": limit.limit.direction,
        "severity": limit.limit.severity,
        "seen": limit.limit.reason.document(),
        "is_past": limit.now_mm < 0.0,
        "chance_pct": round(100.0 * limit.chance, 1),
        "low_days": low_days,
        "high_days": high_days,
        "reason_key": "season" if detail["if_it_stays"] is None else "room-as-it-is",
        "lever": detail["lever"],
    }


def limit_detail(ahead: Ahead, limit: LimitAhead, surroundings: Surroundings) -> dict[str, Any]:
    """What a page says of one limit in the coming year.

    `chance` is the share of the years in which it is crossed. `crossing` is when, the same days as in `next`.
    It, `lever` and `if_it_stays` are given where the limit is likely enough to ask for them, and is not past
    now. `clears` is when a limit that is past now comes back by itself, where most years bring it back.
    """
    detail: dict[str, Any] = {
        "direction": limit.limit.direction,
        "severity": limit.limit.severity,
        "seen": limit.limit.reason.document(),
        "play_mm": round(float(limit.limit.play_mm), DIGITS),
        "now_mm": round(limit.now_mm, DIGITS),
        "chance": round(limit.chance, 3),
        "crossing": None,
        "lever": None,
        "if_it_stays": None,
        "clears": None,
    }
    if limit.now_mm < 0.0:
        detail["clears"] = clears_of(limit)
        return detail
    if 100.0 * limit.chance < LIKELY_PCT:
        return detail
    first_days = limit.crossing_quantile(QUANTILES[0])
    window = limit.crossing_window()
    detail["crossing"] = None if window is None else dict(zip(("low_days", "high_days"), window, strict=True))
    fit = ahead.fits[limit.fit]
    from_days = int(first_days) if np.isfinite(first_days) else 0
    lever = lever_of(ahead.request, fit, limit.limit.name, ahead.season, surroundings, from_days)
    detail["lever"] = lever.document()
    detail["if_it_stays"] = stays_document(ahead.request, fit, limit.limit.name, (SOONER, LATER))
    return detail


def clears_of(limit: LimitAhead) -> dict[str, int] | None:
    """Days until a limit past now is inside again, to the 10th and 90th percentile of the years that bring
    it back; None where fewer than half do."""
    inside = limit.path_mm >= 0.0
    days = (np.argmax(inside, axis=0) + 1.0)[inside.any(axis=0)]
    if len(days) < inside.shape[1] / 2.0:
        return None
    low, high = np.quantile(days, (QUANTILES[0], QUANTILES[-1]))
    return {"low_days": int(low), "high_days": int(np.ceil(high))}


def _loaded(document: Any) -> Any:
    return json.loads(document) if isinstance(document, str) else document
