"""Warnings as rows of change: told once, escalated once, kept through a changed past."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from model.records.acts import book
from model.records.schema.tables import Notice, PieceRow, Place, Warning
from model.watch.tell.warnings import Episode, Stored, reconcile
from model.wood.piece import read_piece

HOUR_MS = 3_600_000


def episode(opened, closed=None, escalated=None, limit="binds", reason="it binds"):
    return Episode(
        "fit",
        1,
        limit,
        "week",
        "clear",
        "near",
        {"key": "told", "text": reason},
        opened * HOUR_MS,
        None if escalated is None else escalated * HOUR_MS,
        None if closed is None else closed * HOUR_MS,
    )


def test_the_same_episode_is_left_alone():
    changes = reconcile([Stored(1, episode(10), False)], [episode(10)])
    assert len(changes) == 0


def test_a_new_past_changes_the_row_that_opened_at_the_same_instant():
    changes = reconcile([Stored(1, episode(10), True)], [episode(10, closed=40)])
    assert changes.changed == [(1, episode(10, closed=40))]
    assert not changes.added


def test_an_untold_warning_goes_when_the_past_has_it_no_more():
    changes = reconcile([Stored(1, episode(10), False)], [])
    assert changes.removed == [1]


def test_a_told_warning_stays_as_withdrawn():
    changes = reconcile([Stored(1, episode(10, closed=50), True)], [])
    ((id_, kept),) = changes.changed
    assert id_ == 1
    assert kept.closed_ms == kept.opened_ms
    assert kept.detail["key"] == "withdrawn"
    assert len(reconcile([Stored(1, kept, True)], [])) == 0


def test_a_told_warning_that_really_opened_earlier_is_not_told_again():
    changes = reconcile([Stored(1, episode(10), True)], [episode(7)])
    assert changes.changed == [(1, episode(7))]
    assert not changes.added
    assert not changes.removed


@pytest.mark.parametrize("late", [episode(30), episode(30, closed=40), episode(21, closed=22)])
def test_two_warnings_are_one_only_while_each_begins_before_the_other_has_ended(late):
    """Told of 10 to 20: what opens later is another, told anew; so it is the other way round."""
    told = episode(10, closed=20)
    for stored, found in ((told, late), (replace(late, closed_ms=late.closed_ms or 90 * HOUR_MS), told)):
        changes = reconcile([Stored(1, stored, True)], [found])
        assert changes.added == [found]
        assert changes.changed[0][1].detail["key"] == "withdrawn"
    for meets in (episode(20, closed=30), episode(5, closed=10), episode(12, closed=15), episode(5)):
        changes = reconcile([Stored(1, told, True)], [meets])
        assert (changes.added, changes.changed) == ([], [(1, meets)])


def test_a_told_warning_does_not_become_one_of_another_time():
    changes = reconcile([Stored(1, episode(10, closed=20), True)], [episode(30)])
    assert changes.added == [episode(30)]
    assert changes.changed[0][1].detail["key"] == "withdrawn"


# ---------------------------------------------------------------- on a book


@pytest.fixture
def roomy_shop(make_shop):
    """The shop with more room about the front: at 45 % no limit is within a point of moisture."""
    made = make_shop()
    made.place()
    made.sensor()
    made.piece(made.cabinet.replace('gap = "1.2mm"', 'gap = "1.8mm"'))
    return made


def dry_spell(shop, days=40, dry_pct=18.0):
    """A fortnight at 45 %, then drier and drier."""
    hours = days * 24
    fall = np.clip(45.0 - (np.arange(hours) - 14 * 24) / 24.0 * 2.0, dry_pct, 45.0)
    return shop.hourly(hours, 20.0, fall)


@pytest.mark.slow
def test_a_slow_drying_warns_once_near_and_escalates_once_past(shop):
    rows = dry_spell(shop, days=60, dry_pct=8.0)
    seen = []
    for day in range(1, 61):
        shop.send(rows[(day - 1) * 24 : day * 24])
        shop.evaluate(shop.hour(day * 24))
        seen.append([(w.limit_name, w.to_verdict, w.opened_at) for w in shop.warnings()])
    (gap,) = [w for w in shop.warnings() if w.limit_name == "gap-shows"]
    assert gap.escalated_at is not None
    assert gap.escalated_at - gap.opened_at > timedelta(days=2)
    assert gap.closed_at is None
    assert gap.detail["opening"]["to_verdict"] == "near"
    opened = {warning for day in seen for warning in day if warning[0] == "gap-shows"}
    assert {instant for _, _, instant in opened} == {gap.opened_at}


def test_acknowledging_keeps_the_warning_open_until_the_wood_is_back(roomy_shop):
    shop = roomy_shop
    shop.send(dry_spell(shop))
    shop.evaluate(shop.hour(40 * 24))
    shop.change(
        lambda session: book.acknowledge(
            session, session.get_one(Warning, shop.warnings()[0].id), "eased it", shop.hour(40 * 24)
        )
    )
    shop.send(shop.hourly(40 * 24, 20.0, 45.0, first=40 * 24))
    shop.evaluate(shop.hour(80 * 24))
    for warning in shop.warnings():
        assert warning.closed_at is not None
    assert shop.warnings()[0].trade_act == "eased it"


def test_late_readings_that_deny_it_keep_what_was_told_and_delete_what_was_not(roomy_shop):
    shop = roomy_shop
    shop.send([row for row in dry_spell(shop) if row[0] < shop.hour(14 * 24)])
    shop.send(shop.hourly(26 * 24, 20.0, 15.0, first=14 * 24), 1)
    shop.evaluate(shop.hour(40 * 24))
    told, *others = shop.warnings()
    assert others

    def tell(session):
        session.add(Notice(warning_id=told.id, address="somebody", due_at=shop.hour(1)))

    shop.change(tell)
    # A second sensor says that the first stood by the stove: the mean of the two is mild.
    shop.sensor("shelf")
    shop.send(shop.hourly(40 * 24, 20.0, 75.0 + 0.2 * (np.arange(40 * 24) % 7)), 2)
    shop.evaluate(shop.hour(40 * 24))
    left = {warning.id: warning for warning in shop.warnings()}
    assert left[told.id].closed_at == left[told.id].opened_at
    assert left[told.id].reason.key == "withdrawn"
    assert not {other.id for other in others} & {
        w.id for w in left.values() if w.detail["direction"] == "shrinking"
    }
    with shop.store.session() as session:
        assert session.query(Notice).count() == 1


def test_a_piece_that_comes_in_past_a_limit_warns_at_once(make_shop):
    shop = make_shop()
    shop.place()
    shop.sensor()
    shop.piece(shop.cabinet.replace('gap = "1.2mm"', 'gap = "0.1mm"'))
    shop.send(shop.hourly(2, 20.0, 42.0))
    shop.evaluate(shop.hour(2))
    (warning,) = shop.warnings()
    assert (warning.limit_name, warning.to_verdict, warning.tier) == ("binds", "past", "morning")
    assert warning.opened_at == shop.hour(1)  # as soon as there is air to go by


def test_a_retired_piece_s_warnings_end_with_it_and_open_again_when_it_is_restored(roomy_shop):
    shop = roomy_shop
    shop.send(dry_spell(shop, days=60))
    shop.evaluate(shop.hour(60 * 24))
    before = shop.computed()
    number = shop.act(lambda session: book.retire(session, session.get_one(PieceRow, 1), shop.hour(50 * 24)))
    shop.evaluate(shop.hour(60 * 24))
    assert shop.warnings()
    assert {warning.closed_at for warning in shop.warnings()} <= {shop.hour(50 * 24)}
    assert not shop.fit_verdicts()
    shop.take_back(number)
    shop.evaluate(shop.hour(60 * 24))
    assert shop.computed() == before


def test_a_removed_piece_takes_its_warnings_along(make_shop):
    shop = make_shop()
    shop.place()
    shop.sensor()
    piece = read_piece(shop.cabinet)
    number = shop.act(lambda session: book.add_piece(session, piece, session.get_one(Place, 1), shop.hour(0)))
    shop.send(dry_spell(shop))
    shop.evaluate(shop.hour(40 * 24))
    assert shop.warnings()
    shop.take_back(number)
    shop.evaluate(shop.hour(40 * 24))
    assert not shop.warnings()
    assert not shop.fit_verdicts()


@pytest.mark.parametrize(("severity", "tier"), [("harms", "morning"), ("shows", "week")])
def test_harm_is_told_in_the_morning_and_looks_within_the_week(shop, severity, tier):
    shop.send(dry_spell(shop, dry_pct=8.0))
    shop.evaluate(shop.hour(40 * 24))
    past = [w for w in shop.warnings() if w.to_verdict == "past" and w.detail["severity"] == severity]
    assert past
    assert {warning.tier for warning in past} == {tier}


# ---------------------------------------------------------------- escalation


@pytest.mark.parametrize("at_once", [True, False])
def test_one_that_is_past_is_told_again_when_the_wood_goes_half_a_point_further(shop, at_once):
    shop.send(shop.hourly(6 * 24, 20.0, 45.0))
    shop.send(shop.hourly(44 * 24, 20.0, 90.0, first=6 * 24))
    for day in [50] if at_once else range(1, 51):
        shop.evaluate(shop.hour(24 * day))
    told = [w for w in shop.warnings() if w.detail["direction"] == "swelling"]
    assert told
    for warning in told:
        assert warning.to_verdict == "past"
        assert warning.escalated_at is not None
        assert warning.detail["margin_mm"] < warning.detail["opening"]["detail"]["margin_mm"]
