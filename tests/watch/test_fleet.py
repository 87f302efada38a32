"""A fleet computed anew is, to the last bit, what the watch has on record, on a cluster as in one process."""

from collections.abc import Iterator
from typing import Any

import pytest
from sqlalchemy import delete, select

from model.records.acts import book
from model.records.schema.tables import Checkpoint, Margin, Outlook, PieceRow, Place
from model.records.schema.types import to_epoch_ms
from model.watch.run import watch_sql as ledger
from model.watch.run import workers
from model.watch.run.fleet import FleetCourse, portions, recompute
from model.watch.state import outlook_store
from model.watch.state.outlook_store import Outlooks
from model.watch.state.roster_reader import RosterReader

pytestmark = pytest.mark.slow

HOURS = 15 * 24 + 5
HOMES = 4


@pytest.fixture
def homes(shop: Any) -> Any:
    """Four homes with very different air, a piece in each, one that moved, and a stack; all evaluated."""
    for number in range(HOMES):
        shop.place(f"home {number}", "home")
        shop.sensor(f"sensor {number}", number + 2)
        shop.send(shop.hourly(HOURS, 20.0, 25.0 + 12.0 * number), number + 2)
        shop.piece(shop.cabinet.replace("Wall cabinet", f"cabinet {number}"), number + 2)
    shop.stack(place=2)
    shop.change(
        lambda session: book.move(
            session, session.get_one(PieceRow, 1), session.get_one(Place, 4), shop.hour(7 * 24)
        )
    )
    shop.evaluate(shop.hour(HOURS))
    return shop


def last_hour(shop: Any) -> int:
    return to_epoch_ms(shop.hour(HOURS)) // 3_600_000


def by_key(found: Iterator[FleetCourse]) -> dict[tuple[str, int], FleetCourse]:
    return {(course.kind, course.id): course for course in found}


def same(one: FleetCourse, other: FleetCourse) -> bool:
    return (one.body_ids, one.closest) == (other.body_ids, other.closest) and all(
        getattr(one, name).tobytes() == getattr(other, name).tobytes()
        for name in ("hours", "mc_mean_pct", "profile")
    )


def test_it_is_what_the_watch_has_on_record(homes: Any) -> None:
    found = by_key(recompute(homes.store, last_hour(homes)))
    assert {kind for kind, _ in found} == {"piece", "stack"}
    compared = 0
    with homes.store.session() as session:
        for course in found.values():
            for row, body in enumerate(course.body_ids):
                stored = {
                    to_epoch_ms(point.at) // 3_600_000: point
                    for point in session.scalars(select(Checkpoint).where(Checkpoint.body_id == body))
                }
                for hour, mc in zip(course.hours.tolist(), course.mc_mean_pct[row].tolist(), strict=True):
                    assert stored[hour].mc_mean_pct == mc
                    compared += 1
                assert stored[last_hour(homes)].profile_pct == course.profile[row].astype("<f8").tobytes()
            for (fit, limit), closest in course.closest.items():
                rows = session.scalars(select(Margin).where(Margin.fit_id == fit, Margin.limit_name == limit))
                kept = {to_epoch_ms(row.at) // 3_600_000: row.margin_mm for row in rows}
                assert kept
                # Over every hour: never above what stands on record, and the same where its hour is kept.
                assert closest.margin_mm <= min(kept.values())
                assert kept.get(closest.hour, closest.margin_mm) == closest.margin_mm
                assert course.hours[0] <= closest.hour <= last_hour(homes)
    # 16 midnights and the last hour, of nine bodies.
    assert compared > 9 * 16


def test_portions_hold_everybody_once_and_are_bounded(homes: Any) -> None:
    with ledger.reading(homes.store) as bulk:
        roster = RosterReader().read(bulk)
    until = last_hour(homes)
    tasks = portions(roster, until, 3 * HOURS)
    assert sorted(owner.key for task in tasks for owner in task) == sorted(o.key for o in roster.owners)
    assert len(tasks) >= HOMES
    assert len(portions(roster, until)) == 1
    assert portions(roster, roster.owners[0].start_hour - 1) == []


def foretold_rows(shop: Any, keeper: Outlooks) -> list[str]:
    """The coming year of every piece, computed and taken out again."""
    assert keeper.refresh(shop.hour(HOURS)) == HOMES + 1
    keeper.close()
    with shop.store.session() as session:
        columns = [column for column in Outlook.__table__.columns if column.name != "id"]
        found = sorted(map(repr, session.execute(select(*columns))))
        session.execute(delete(Outlook))
    return found


def test_a_cluster_gives_the_same_to_the_last_bit(homes: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    distributed = pytest.importorskip("distributed", reason="the extra fleet is not installed")
    plain = by_key(recompute(homes.store, last_hour(homes)))
    coming = foretold_rows(homes, Outlooks(homes.store))
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1"
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        spread = by_key(recompute(homes.store, last_hour(homes), client, body_hours=2 * HOURS))
        pids = set(client.run(lambda: __import__("os").getpid()).values())
        address = cluster.scheduler_address
        with monkeypatch.context() as patched:
            patched.setattr(outlook_store, "foretold", None)  # not in this process
            on_workers = foretold_rows(homes, Outlooks(homes.store, scheduler=address))
    assert len(pids) == 2
    assert on_workers == coming
    monkeypatch.setattr(workers, "ANSWER_WAIT_S", 1)  # where no scheduler answers, nothing is left out
    assert foretold_rows(homes, Outlooks(homes.store, scheduler=address)) == coming
    assert spread.keys() == plain.keys()
    for key, course in spread.items():
        assert same(course, plain[key]), key
