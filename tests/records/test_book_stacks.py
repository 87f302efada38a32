"""Writing stacks into the book: what each change stores, refuses, and takes back."""

from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import func, select

from model.records.acts import book, measured
from model.records.acts.revisions import recorded, take_back
from model.records.schema.tables import Stack
from model.wood.errors import BadInput

AT = datetime(2026, 3, 1, 9, 20, tzinfo=UTC)
DAY = timedelta(days=1)


MAPLE = {"species": "hard maple", "thickness_mm": 25.4, "mc_pct": 9.5, "stickered": True}


def test_a_stack_is_recorded_moved_and_corrected(session, places):
    with recorded(session, "entry", AT) as entry:
        stack = book.add_stack(session, "maple 4/4", MAPLE, places[0], AT, destination=places[1])
    assert (stack.start_mc_pct, stack.destination_id) == (9.5, 2)
    with recorded(session, "move", AT) as move:
        book.move(session, stack, places[1], AT + DAY)
    with recorded(session, "correction", AT) as correction:
        book.replace_stack(session, stack, {**MAPLE, "mc_pct": 10.0, "mc_basis": "assumed"})
    assert (stack.start_mc_pct, stack.start_basis) == (10.0, "assumed")
    with pytest.raises(BadInput, match="was changed again since, so this entry can't be taken back"):
        take_back(session, entry.id, AT)
    for revision in (correction, move, entry):
        take_back(session, revision.id, AT)
    assert session.scalar(select(func.count()).select_from(Stack)) == 0


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"species": "unobtainium"}, "stack lot: species"),
        ({"thickness_mm": None}, "thickness_mm must be given"),
        ({"thickness_mm": 0.5}, "thickness_mm must be a number in 2 to 150 mm, got 0.5"),
        ({"mc_pct": "wet"}, "mc_pct must be a number in 0 to 60 %, got 'wet'"),
        ({"stickered": "yes"}, "stickered must be true or false"),
        ({"mc_low_pct": 9.9}, "mc_pct must lie between the driest and the wettest board"),
        ({"colour": "white"}, "colour must be one of"),
    ],
)
def test_a_senseless_stack_is_refused_in_one_sentence(session, places, change, says):
    with pytest.raises(BadInput, match=says):
        book.add_stack(session, "lot", {**MAPLE, **change}, places[0], AT)


def test_a_stack_s_name_is_free_again_when_it_was_retired(session, places):
    first = book.add_stack(session, "maple", MAPLE, places[0], AT)
    with pytest.raises(BadInput, match="stack name must be given and not yet taken"):
        book.add_stack(session, "maple", MAPLE, places[0], AT)
    book.retire(session, first, AT + DAY)
    assert book.add_stack(session, "maple", MAPLE, places[0], AT).id != first.id


def test_a_stack_has_no_width_to_measure(session, places):
    stack = book.add_stack(session, "maple", MAPLE, places[0], AT)
    with pytest.raises(BadInput, match="quantity must be mc_pct for a stack"):
        measured.record_measurement(session, stack, "width_mm", 150.0, AT + DAY)
