"""What to measure next, kept in the book: worked out by the watch, read by pages.

The watch goes over a piece when its outlook of the day is new, and over the stacks when the day or the book
changes. What was put off is not asked for again in weeks, and nothing on the first page for a week after.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from model.answers.worth_measuring import (
    LimitSpread,
    WorthMeasuring,
    measurement_key,
    most_first,
    of_piece,
    of_stack,
)
from model.records.acts.mounts import board_of
from model.records.queries import overview
from model.records.queries.series import YearSpread
from model.records.schema.tables import Measurement, Outlook, Preference, Stay
from model.records.schema.types import to_epoch_ms
from model.records.store import Store
from model.watch.air.air_hours import HOUR_MS
from model.watch.questions.piece_wood import wood_piece
from model.watch.run import watch_sql as ledger
from model.watch.state.outlook_store import Outlooks
from model.watch.tell.verdicts import READY_WITHIN_PCT
from model.wood.material.instruments import SCALE_G
from model.wood.reason import Reason

NAME = "worth measuring"
PUT_OFF = "measurements put off"
KEPT = 24
"""So many are kept; one is asked for at a time."""
PUT_OFF_FOR = timedelta(weeks=6)
QUIET_FOR = timedelta(weeks=1)
DONE_FOR = timedelta(weeks=4)
"""What was measured is not asked for again within so long."""


class MeasureNext:
    """Keeps the answer of one book.

    Parameters
    ----------
    store : Store
    outlooks : Outlooks
        That are kept beside it; a piece is gone over when they have computed it.
    at_once : int, optional
        Pieces of one call; all if not given.
    """

    def __init__(self, store: Store, outlooks: Outlooks, at_once: int | None = None) -> None:
        self._store, self._outlooks, self._at_once = store, outlooks, at_once
        self._seen: tuple[object, ...] | None = None
        self._done: dict[int, tuple[object, list[WorthMeasuring]]] = {}

    def refresh(self, now: datetime) -> int:
        """Go over what the day or a change of the book has made out of date; returns for how many pieces.

        Costs one small read when nothing happened since.
        """
        with ledger.reading(self._store) as bulk:
            counts = ledger.read_counts(bulk)
        seen = (to_epoch_ms(now) // HOUR_MS // 24, counts.book, self._outlooks.computed)
        if seen == self._seen:
            return 0
        with self._store.session() as session:
            moves = select(Stay.piece_id, func.max(Stay.since_at)).group_by(Stay.piece_id)
            moved_at = {row[0]: row[1] for row in session.execute(moves)}
            outlooks = select(Outlook.subject_id, Outlook.detail).where(
                Outlook.subject_kind == "piece", Outlook.quantity == "rh_pct"
            )
            bases = {
                row.subject_id: (row.detail.get("basis"), moved_at.get(row.subject_id))
                for row in session.execute(outlooks)
            }
            due = [piece_id for piece_id, basis in bases.items() if self._basis(piece_id) != basis]
            portion = due if self._at_once is None else due[: self._at_once]
            for piece_id in portion:
                self._done[piece_id] = bases[piece_id], _of_piece(session, piece_id, now)
            for piece_id in self._done.keys() - bases.keys():
                del self._done[piece_id]
            found = [one for _, ones in self._done.values() for one in ones]
            found += _of_stacks(session, now)
        if len(portion) == len(due):
            documents = [one.document() for one in most_first(found)[:KEPT]]
            with self._store.session() as session:
                session.merge(Preference(name=NAME, value={"worth": documents}))
            self._seen = seen
        return len(portion)

    def _basis(self, piece_id: int) -> object:
        return self._done[piece_id][0] if piece_id in self._done else None


def _of_piece(session: Session, piece_id: int, now: datetime) -> list[WorthMeasuring]:
    piece = overview.piece(session, piece_id, now)
    wood = None if piece is None else wood_piece(piece)
    if piece is None or wood is None or piece.retired_at is not None:
        return []
    fits, parts = ({one.id: one.name for one in ones} for ones in (piece.fits, piece.members))
    limits: list[LimitSpread] = []
    mc_pct = {}
    for row in session.scalars(select(Outlook).where(Outlook.piece_id == piece_id)):
        if row.subject_kind == "fit" and row.subject_id in fits:
            detail = row.detail
            seen = Reason.of(detail["seen"])
            limits.append(
                LimitSpread(
                    fits[row.subject_id],
                    row.quantity,
                    "harms" if detail["severity"] == "harms" else "shows",
                    seen,
                    detail["now_mm"],
                    YearSpread.of(row).p50,
                )
            )
        elif row.subject_kind == "member" and row.quantity == "mc_pct" and row.subject_id in parts:
            mc_pct[parts[row.subject_id]] = YearSpread.of(row).p50
    return of_piece(wood, piece, limits, mc_pct, now)


def _of_stacks(session: Session, now: datetime) -> list[WorthMeasuring]:
    found = []
    for stack in overview.stacks(session, now):
        board = board_of(session, stack.id)
        sure = None if board is None else board.moisture(board.mass_g, SCALE_G).uncertainty_pct
        one = of_stack(stack, sure, READY_WITHIN_PCT, now)
        if one is not None:
            found.append(one)
    return found


# ---------------------------------------------------------------- what pages read


def worth_measuring(session: Session, now: datetime) -> list[WorthMeasuring]:
    """What is worth measuring, what matters most first; without what was put off or measured of late."""
    row = session.get(Preference, NAME)
    kept = [] if row is None else [WorthMeasuring.of(document) for document in row.value["worth"]]
    put_off = _put_off(session)
    done = _measured_of_late(session, [one.body_id for one in kept], now)
    return [
        one
        for one in kept
        if one.until_at > now
        and one.key not in done
        and not (one.key in put_off and now - put_off[one.key] < PUT_OFF_FOR)
    ]


def measure_now(session: Session, now: datetime, worth: Sequence[WorthMeasuring]) -> WorthMeasuring | None:
    """The one measurement to ask for today, of those worth it; none for a week after one was put off."""
    if any(now - at < QUIET_FOR for at in _put_off(session).values()):
        return None
    return next((one for one in worth if one.from_at <= now), None)


def put_off(session: Session, key: str, now: datetime) -> None:
    """Ask for a measurement no more for some weeks."""
    kept = {name: at for name, at in _put_off(session).items() if now - at < PUT_OFF_FOR} | {key: now}
    session.merge(Preference(name=PUT_OFF, value={name: at.isoformat() for name, at in kept.items()}))


def _put_off(session: Session) -> dict[str, datetime]:
    row = session.get(Preference, PUT_OFF)
    return {} if row is None else {name: datetime.fromisoformat(at) for name, at in row.value.items()}


def _measured_of_late(session: Session, body_ids: Sequence[int], now: datetime) -> set[str]:
    wanted = select(Measurement.quantity, Measurement.body_id, Measurement.fit_id).where(
        Measurement.body_id.in_(body_ids),
        Measurement.undone_at.is_(None),
        Measurement.at > now - DONE_FOR,
        Measurement.at <= now,
    )
    return {measurement_key(row.quantity, row.body_id, row.fit_id) for row in session.execute(wanted)}
