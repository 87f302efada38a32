"""What a year lived counts as missed, false and early, on warnings and answers made by hand."""

from datetime import timedelta

import pytest
from sqlalchemy import select

from model.records.schema.tables import FitRow, Notice, Statement, Warning
from model.wood.piece import read_piece
from tests.bench.year_counts import Answer, count, table
from tests.bench.year_world import HOUR, Chest, Lot
from tests.watch.conftest import CABINET, START

PIECE = read_piece(CABINET)
FIT = next(iter(PIECE.fits))
END = START + timedelta(days=300)


@pytest.fixture
def chest(shop):
    return shop  # with its wall cabinet


def warned(shop, opened_day, closed_day=None, until_day=40, limit="next binds", to="near"):
    def write(session):
        fit = session.scalars(select(FitRow).where(FitRow.name == FIT)).one()
        at = START + timedelta(days=opened_day)
        session.add(
            Warning(
                subject_kind="fit", subject_id=fit.id, limit_name=limit, tier="morning", from_verdict="clear",
                to_verdict=to, detail={"key": "next"}, opened_at=at,
                closed_at=None if closed_day is None else START + timedelta(days=closed_day),
            )
        )  # fmt: skip
        if limit.startswith("next "):
            session.add(
                Statement(
                    fit_id=fit.id, limit_name="binds", said_at=at, chance_pct=60.0, from_at=at,
                    until_at=START + timedelta(days=until_day), reason_key="season",
                )
            )  # fmt: skip

    shop.change(write)


def counted(shop, past_day, severity="harms", lots=()):
    hour = None if past_day is None else 24 * past_day - 1
    chest = Chest(PIECE, {(FIT, "binds"): hour}, {(FIT, "binds"): severity})
    return count(shop.store, [chest], lots, START, END)


def test_harm_with_a_warning_open_the_day_before_is_not_missed(chest):
    warned(chest, 10)
    found = counted(chest, 30)
    assert (found.harms, found.missed, found.false, found.leads) == (1, 0, 0, [20.0])


@pytest.mark.parametrize("opened_day", [None, 30])
def test_harm_without_one_or_with_one_too_late_is_missed(chest, opened_day):
    if opened_day is not None:
        warned(chest, opened_day)
    assert counted(chest, 30).missed == 1


def test_harm_whose_warning_was_taken_back_before_is_missed_and_false_if_it_comes_too_late(chest):
    warned(chest, 10, closed_day=20, until_day=25)
    found = counted(chest, 30)
    assert (found.missed, found.false, found.leads) == (1, 1, [])


def test_a_warning_handed_over_to_that_of_what_is_past_counts_as_open(chest):
    warned(chest, 10, closed_day=25)
    warned(chest, 24, limit="binds", to="past")
    found = counted(chest, 30)
    assert (found.missed, found.missed_at_all, found.leads) == (0, 0, [20.0])


def test_what_never_comes_is_false_once_its_last_day_has_gone_and_not_before_the_year_is_over(chest):
    warned(chest, 10, until_day=40)
    assert counted(chest, None).false == 1
    warned(chest, 11, until_day=400)
    assert counted(chest, None).false == 0


def test_what_only_shows_is_never_a_missed_harm(chest):
    found = counted(chest, 30, severity="shows")
    assert (found.harms, found.missed) == (0, 0)


def test_days_early_and_late_of_ready_are_counted(chest):
    def lot(ready_day):
        return Lot("lot", {}, 0, None if ready_day is None else 24 * ready_day, False)

    window = START + timedelta(days=8), START + timedelta(days=20), START + timedelta(days=3)
    lots = [
        (lot(10), Answer(24 * 7, window)),
        (lot(30), Answer(24 * 35, window)),
        (lot(None), Answer(24)),
        (lot(5), Answer()),
        # Ready before it was asked: from then on it is ready, and counts as ready at the asking.
        (
            lot(2),
            Answer(24 * 3, (START + timedelta(days=3), START + timedelta(days=4), START + timedelta(days=3))),
        ),
    ]
    found = counted(chest, None, lots=lots)
    assert found.ready_days == [-3.0, 5.0, 1.0]
    assert (found.stacks, found.ready_only_said, found.ready_unsaid) == (5, 1, 1)
    assert (found.windows, found.in_window) == (3, 2)
    assert "+1 days" in table(found, 1.0)


def test_notices_are_counted(chest):
    warned(chest, 10)

    def note(session):
        warning = session.scalars(select(Warning)).one()
        session.add(Notice(warning_id=warning.id, address="json://x", stage="opened", due_at=START + HOUR))

    chest.change(note)
    assert counted(chest, 30).notices == 1
