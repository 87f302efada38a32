"""Messages about warnings: planned, sent, retried, and shown when they can't be sent.

Warning and sending are apart. `plan` writes a row for every warning and address that is to hear of it: once
for its opening, once for its escalation, once for going past its limit where it was told as worse before
that, and once for its end where the maker wants to hear of that; the table allows no second. No address
hears of one warning twice within a day, but of its end, and never of less than it was told. `send_due` takes
rows that are due, says in the table that it tries, sends, and says that it has. What waits is told as it
stands when it goes out. Notices of one address that are due together go as one message, but what can't wait
goes at once by itself.

A process that dies between sending and saying so leaves a row that was tried and has no answer. It is tried
again after `LEASE`, and the message says that it may have come before: a maker would rather hear twice of a
binding drawer than never, and nothing that leaves the machine can be both certain and single. A row whose
warning was closed or acknowledged before it was due is dropped.

Addresses hold passwords, so the table has them masked, with a short hash to tell them apart.
"""

import hashlib
import logging
import re
import threading
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import case, delete, exists, select, update
from sqlalchemy.exc import DBAPIError, IntegrityError
from sqlalchemy.orm import Session, aliased

from model.records.clock import Now
from model.records.schema.tables import Notice, Warning
from model.records.store import Store
from model.watch.state import hysteresis as standing
from model.watch.state.hysteresis import STANDINGS
from model.watch.tell.notice_text import CLEARED, ESCALATED, OPENED, PAST, STAGES, message
from model.watch.tell.notice_times import Hours, read_hours
from model.wood.errors import BadInput
from model.wood.reason import Reason
from model.words.display import Display
from model.words.reasons import METRIC, in_sentences

log = logging.getLogger(__name__)

Send = Callable[[str, str, str], str | None]
"""Sends a title and a body to an address; returns what went wrong, None when it went out."""

APART = timedelta(hours=24)
"""How long nothing more of a warning is told after a notice of it (common practice, no source)."""
OLD_NEWS = timedelta(days=7)
"""What happened longer ago and only now became known is on the pages, and sent to nobody."""
STANDS = Warning.closed_at.is_(None), Warning.acknowledged_at.is_(None)
NoticeOfEnd = aliased(Notice)
TRYING = "being sent"
LEASE = timedelta(minutes=2)
WAITS = tuple(timedelta(minutes=m) for m in (1, 5, 15, 60, 180, 360, 720))
"""How long to wait after each failed try; after the last one a notice is given up, and shown."""
MOST_TRIES = len(WAITS) + 1


@dataclass(frozen=True)
class Failing:
    """An address that can't be reached: masked, with how many notices wait, and why."""

    address: str
    notices: int
    tries: int
    problem: str
    given_up: bool


# ---------------------------------------------------------------- addresses


def masked(address: str) -> str:
    """An address without its secrets, told apart from others by a short hash.

    Raises
    ------
    BadInput
        If it is no address that can be notified.
    """
    import apprise

    service = apprise.Apprise.instantiate(address, suppress_exceptions=True)
    if service is None:
        shown = re.sub(r"//[^@/]*@", "//****@", address)
        rule = "must be an address like mailto://, mqtt://, json:// or one of a push service"
        raise BadInput("notify", "address", rule, shown)
    shown = str(service.url(privacy=True)).split("?")[0].rstrip("/")
    return f"{shown}#{hashlib.blake2b(address.encode(), digest_size=3).hexdigest()}"


def send_by_apprise(address: str, title: str, body: str) -> str | None:
    """Send one message; returns what went wrong, None when it went out."""
    import apprise

    service = apprise.Apprise()
    if not service.add(address):
        return "the address is not understood"
    with apprise.LogCapture(level=logging.WARNING, fmt="%(message)s") as said:
        sent = service.notify(title=title, body=body)
    if sent:
        return None
    lines = [line.strip() for line in said.getvalue().splitlines() if line.strip()]
    why = lines[-1] if lines else "the other side did not take it"
    return why.replace(address, masked(address))[:200]


def send_test(address: str, send: Send = send_by_apprise) -> str | None:
    """Send a test message now; returns what went wrong, None when it went out.

    Raises
    ------
    BadInput
        If it is no address that can be notified.
    """
    masked(address)
    return send(address, "paneltide: a test", in_sentences(Reason("notice-test")))


# ---------------------------------------------------------------- planning


def stage_of(warning: Warning) -> str:
    """How far a warning has come: opened, worse, or past its limit after it had become worse before that."""
    if warning.escalated_at is None:
        return OPENED
    before = (warning.detail or {}).get("opening") or {}
    went_past = (
        warning.to_verdict == STANDINGS[standing.PAST]
        and before.get("to_verdict") == (STANDINGS[standing.NEAR])
    )
    return PAST if went_past and before.get("escalated_ms") is not None else ESCALATED


def plan(store: Store, now: datetime, addresses: Sequence[str]) -> int:
    """Write a row for every open warning that an address has not been told of; returns how many.

    None where another process has just written one: the next look goes on.
    """
    try:
        with store.session() as session:
            hours = read_hours(session)
            known = _by_mask([*addresses, *hours.addresses])
            _drop_stale(session)
            open_now = session.scalars(select(Warning).where(*STANDS)).all()
            told = sum(
                _add(session, warning, mask, hours, now)
                for warning in open_now
                for mask, address in known.items()
                if hours.wants(address, warning.tier, mask)
                and now - (warning.escalated_at or warning.opened_at) <= OLD_NEWS
            )
            return told + (_plan_ends(session, known, hours, now) if hours.clear_again else 0)
    except IntegrityError:
        return 0


def _plan_ends(session: Session, known: Mapping[str, str], hours: Hours, now: datetime) -> int:
    """One row for each address that was told of a warning which has ended since."""
    told = select(Notice.warning_id, Notice.address).where(Notice.sent_at.is_not(None)).distinct()
    ended = told.join(Warning, Warning.id == Notice.warning_id).where(
        Warning.closed_at >= now - OLD_NEWS,
        ~exists().where(
            NoticeOfEnd.warning_id == Notice.warning_id,
            NoticeOfEnd.address == Notice.address,
            NoticeOfEnd.stage == CLEARED,
        ),
    )
    rows = [
        Notice(warning_id=warning.id, address=mask, stage=CLEARED, due_at=hours.due_at(warning.tier, now))
        for warning, mask in session.execute(ended.with_only_columns(Warning, Notice.address))
        if mask in known and hours.wants(known[mask], warning.tier, mask)
    ]
    session.add_all(rows)
    return len(rows)


def _add(session: Session, warning: Warning, mask: str, hours: Hours, now: datetime) -> int:
    """One row; none where the address has heard as much, or one still waits."""
    stage = stage_of(warning)
    rows = session.scalars(
        select(Notice).where(
            Notice.warning_id == warning.id, Notice.address == mask, Notice.stage.in_(STAGES)
        )
    ).all()
    told_at = max((row.sent_at for row in rows if row.sent_at is not None), default=None)
    due_at = hours.due_at(warning.tier, now, None if told_at is None else told_at + APART)
    is_news = all(STAGES.index(row.stage) < STAGES.index(stage) for row in rows)
    waiting = [row for row in rows if row.sent_at is None and row.tries < MOST_TRIES]
    if not is_news:
        return 0
    if waiting:  # it becomes the worse news when it goes out, which may now have to be sooner
        session.execute(
            update(Notice)
            .where(Notice.id.in_([row.id for row in waiting]), Notice.tries == 0, Notice.due_at > due_at)
            .values(due_at=due_at)
            .execution_options(synchronize_session=False)
        )
        return 0
    session.add(Notice(warning_id=warning.id, address=mask, stage=stage, due_at=due_at))
    return 1


def _drop_stale(session: Session) -> None:
    """Rows not yet tried whose warning was closed or acknowledged meanwhile, or whose end was none."""
    over = select(Warning.id).where(
        Warning.id == Notice.warning_id,
        case(
            (Notice.stage == CLEARED, Warning.closed_at.is_(None)),
            else_=Warning.closed_at.is_not(None) | Warning.acknowledged_at.is_not(None),
        ),
    )
    session.execute(
        delete(Notice)
        .where(Notice.sent_at.is_(None), Notice.tries == 0, exists(over))
        .execution_options(synchronize_session=False)
    )


def _by_mask(addresses: Iterable[str]) -> dict[str, str]:
    found = {}
    for address in addresses:
        if address.strip():
            try:
                found[masked(address.strip())] = address.strip()
            except BadInput as problem:
                log.warning("%s", problem)
    return found


# ---------------------------------------------------------------- sending


def send_due(
    store: Store,
    now: datetime,
    addresses: Sequence[str],
    send: Send = send_by_apprise,
    display: Display = METRIC,
) -> int:
    """Send what is due; returns how many notices went out."""
    with store.session() as session:
        hours = read_hours(session)
        known = _by_mask([*addresses, *hours.addresses])
        due = session.execute(
            select(Notice.id, Notice.address, Notice.due_at, Warning.tier)
            .join(Warning, Warning.id == Notice.warning_id)
            .where(Notice.sent_at.is_(None), Notice.tries < MOST_TRIES, Notice.due_at <= now)
            .order_by(Notice.due_at, Notice.id)
        ).all()
    parcels: dict[tuple[str, int], list[tuple[int, datetime]]] = {}
    for id_, mask, due_at, tier in due:
        if mask in known:
            parcels.setdefault((mask, id_ if tier == "now" else 0), []).append((id_, due_at))
    sent = 0
    for (mask, alone), rows in parcels.items():
        is_digest = hours.digest != "single" and not alone
        sent += _send(store, now, known[mask], rows, send, display, is_digest)
    return sent


def _send(
    store: Store,
    now: datetime,
    address: str,
    rows: Sequence[tuple[int, datetime]],
    send: Send,
    display: Display,
    is_digest: bool,
) -> int:
    """Send one message about some notices, taken so that no other process sends them too.

    A digest also names what the address was told of before and stands open still.
    """
    taken: list[int] = []
    again = False
    with store.session() as session:
        for id_, due_at in rows:
            before = session.scalar(select(Notice.problem).where(Notice.id == id_))
            changed = session.execute(
                update(Notice)
                .where(Notice.id == id_, Notice.due_at == due_at, Notice.sent_at.is_(None))
                .values(tries=Notice.tries + 1, due_at=now + LEASE, problem=TRYING)
                .returning(Notice.id)
                .execution_options(synchronize_session=False)
            )
            if changed.first() is not None:
                taken.append(id_)
                again |= before == TRYING
        if not taken:
            return 0
        found = session.execute(
            select(Notice, Warning).join(Warning, Warning.id == Notice.warning_id).where(Notice.id.in_(taken))
        ).all()
        for notice, warning in found:
            if notice.stage != CLEARED:
                _worsen(session, notice, stage_of(warning))
        told = [(notice.stage, warning) for notice, warning in found]
        open_still = _told_before(session, found[0][0].address, told) if is_digest else []
        title, body = message(told, again, display, open_still)
    try:
        problem = send(address, title, body)
    except Exception as error:  # whatever a service does, the next address must hear
        log.exception("sending a notice failed")
        problem = str(error)[:200] or type(error).__name__
    with store.session() as session:
        for notice in session.scalars(select(Notice).where(Notice.id.in_(taken))):
            if problem is None:
                notice.sent_at, notice.problem = now, None
            else:
                notice.problem = problem
                notice.due_at = now + WAITS[min(notice.tries, len(WAITS)) - 1]
    if problem is not None:
        log.warning("a notice to %s was not sent: %s", masked(address), problem)
        return 0
    return len(taken)


def _told_before(session: Session, mask: str, told: Sequence[tuple[str, Warning]]) -> list[Warning]:
    """Open warnings that an address has heard of, but for those in this message; the oldest first."""
    sent = select(Notice.warning_id).where(Notice.address == mask, Notice.sent_at.is_not(None))
    wanted = select(Warning).where(*STANDS, Warning.id.in_(sent)).order_by(Warning.opened_at, Warning.id)
    return [warning for warning in session.scalars(wanted) if warning not in [one for _, one in told]]


def _worsen(session: Session, notice: Notice, stage: str) -> None:
    """Make a notice that goes out one of what its warning is by now, unless that has a row of its own."""
    if STAGES.index(stage) <= STAGES.index(notice.stage):
        return
    others = select(Notice.stage).where(
        Notice.warning_id == notice.warning_id, Notice.address == notice.address, Notice.id != notice.id
    )
    if stage not in set(session.scalars(others)):
        notice.stage = stage


# ---------------------------------------------------------------- showing and running


def failing(session: Session) -> list[Failing]:
    """Addresses with notices that could not be sent, for a page to show."""
    found: dict[str, list[Notice]] = {}
    for notice in session.scalars(
        select(Notice)
        .where(Notice.sent_at.is_(None), Notice.problem.is_not(None), Notice.problem != TRYING)
        .order_by(Notice.address, Notice.id)
    ):
        found.setdefault(notice.address, []).append(notice)
    return [
        Failing(
            address,
            len(notices),
            max(notice.tries for notice in notices),
            notices[-1].problem or "",
            any(notice.tries >= MOST_TRIES for notice in notices),
        )
        for address, notices in found.items()
    ]


def run(
    store: Store,
    now: Now,
    stop: threading.Event,
    addresses: Sequence[str],
    interval_s: float = 5.0,
    send: Send = send_by_apprise,
    display: Display = METRIC,
) -> None:
    """Plan and send until told to stop; made for a thread beside the watch, which it never delays."""
    while not stop.is_set():
        try:
            plan(store, now(), addresses)
            send_due(store, now(), addresses, send, display)
        except DBAPIError as error:
            log.warning("notices wait for the database: %s", error.orig)
        stop.wait(interval_s)
