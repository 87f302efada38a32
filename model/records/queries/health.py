"""How the running parts are, for /healthz and doctor."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import func, select, text
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session

from model.records.clock import Now, machine_now
from model.records.schema.tables import Pulse, Reading, Sensor, Verdict
from model.records.store import Store, cause_of

PULSE_EVERY_S = 60.0
"""Between signs of life of a part with which nothing changes: each is a page written to the disk."""
# Three missed minutes is more than a busy machine.
SILENT_AFTER = timedelta(minutes=3)

INGEST = "ingest"
"""Name of the part that listens; of several that share the messages each has more behind it."""


def is_ingest(part: str) -> bool:
    """Whether a sign of life is of a part that listens."""
    return part == INGEST or part.startswith(f"{INGEST} ")


def health(store: Store, now: Now) -> dict[str, Any]:
    """The service's health as plain JSON values.

    Parameters
    ----------
    store : Store
        The book.
    now : Now
        The book's clock, which the sample shop runs faster than the machine's.

    Returns
    -------
    dict
        `ok`, `at`, `broker_connected` (none when no ingest ever ran), `last_reading_at`,
        `last_evaluation_at`, `database_writable`, `parts` (by name: `at`, `alive`, and what the
        part says of itself) and `problems` (sentences).
    """
    problems: list[str] = []
    answer: dict[str, Any] = {
        "ok": False,
        "at": now().isoformat(),
        "broker_connected": None,
        "last_reading_at": None,
        "last_evaluation_at": None,
        "database_writable": False,
        "parts": {},
        "problems": problems,
    }
    try:
        with store.engine.connect() as connection:
            newest = (
                select(func.max(Reading.observed_at))
                .where(Reading.sensor_id == Sensor.id)
                .correlate(Sensor)
                .scalar_subquery()
            )
            # One seek a sensor; a pass over every reading would make a monitor's question cost seconds.
            heard = [at for at in connection.scalars(select(newest).select_from(Sensor)) if at is not None]
            answer["last_reading_at"] = _iso(max(heard, default=None))
            answer["last_evaluation_at"] = _iso(connection.scalar(select(func.max(Verdict.evaluated_at))))
            for part, at, detail in connection.execute(select(Pulse.part, Pulse.at, Pulse.detail)):
                # Pulses are by the machine's clock.
                told: dict[str, Any] = detail or {}
                alive = machine_now() - at <= SILENT_AFTER and not told.get("stopped")
                answer["parts"][part] = {"at": _iso(at), "alive": alive, **told}
        answer["database_writable"] = writable(store)
    except SQLAlchemyError as error:
        problems.append(f"the database can't be used: {cause_of(error)}")
        return answer
    listening = [told for part, told in answer["parts"].items() if is_ingest(part)]
    others_listen = any(told["alive"] for told in listening)
    for part, told in answer["parts"].items():
        if told.get("stopped"):
            # One of several was taken away on purpose; the last one is missed.
            if not others_listen:
                problems.append(f"{part} was stopped at {told['at']}")
        elif not told["alive"]:
            problems.append(f"{part} has not been heard of since {told['at']}")
    if listening:
        answer["broker_connected"] = any(told["alive"] and told.get("broker_connected") for told in listening)
        if not answer["broker_connected"]:
            problems.append("the broker is not connected")
    if not answer["database_writable"]:
        problems.append("the database can't be written")
    answer["ok"] = not problems
    return answer


@dataclass(frozen=True)
class Ear:
    """How the part that listens is doing, by its last sign of life."""

    at: datetime
    connected: bool
    reason: str
    since_at: datetime
    messages: int

    def silent(self, now: datetime) -> bool:
        """Whether it has stopped, or hasn't been heard of for too long."""
        return now - self.at > SILENT_AFTER


def listening(session: Session) -> Ear | None:
    """The part that listens, or several of them as one; none when none ever did, or all were stopped."""
    ears = []
    for part, at, told in session.execute(select(Pulse.part, Pulse.at, Pulse.detail)):
        if is_ingest(part) and "broker" in told and not told.get("stopped"):
            broker = told["broker"]
            since_at = datetime.fromisoformat(broker["since"])
            ears.append(Ear(at, broker["connected"], broker["reason"], since_at, told["received"]))
    newest = max((ear.at for ear in ears), default=None)
    if newest is None:
        return None
    alive = [ear for ear in ears if newest - ear.at <= SILENT_AFTER]
    first = max(alive, key=lambda ear: ear.connected)
    return Ear(
        newest,
        first.connected,
        first.reason,
        min(ear.since_at for ear in alive),
        sum(ear.messages for ear in alive),
    )


def writable(store: Store) -> bool:
    """Whether a write would be taken, tried and taken back."""
    try:
        with store.engine.connect() as connection:
            if store.is_sqlite:
                connection.execute(text("PRAGMA busy_timeout = 500"))
            connection.execute(text("UPDATE pulse SET at = at WHERE part = ''"))
            connection.rollback()
    except SQLAlchemyError:
        return False
    return True


def _iso(at: datetime | None) -> str | None:
    return None if at is None else at.isoformat()
