"""What the forms do to the book, and that undoing does undo."""

from zoneinfo import ZoneInfo

import pytest

from dashboard.forms import drafts, recorded_draft
from dashboard.pages.lumber import stack_acts, stack_edit, stock, witness
from dashboard.pages.pieces import piece_acts, record
from dashboard.shell.links import Links
from dashboard.shell.static_html import text_of
from model.records.queries import overview as queries
from model.records.schema.tables import (
    FitRow,
    Measurement,
    PieceRow,
    Stack,
)
from model.wood.errors import BadInput
from tests.dashboard.acted import newest, row, undo

# ---------------------------------------------------------------- stock


ASH = {
    "name": "Ash, 4/4",
    "species": "white ash",
    "thickness": "1-1/4",
    "mc": "9.5 %",
    "stickered": "no",
    "since": "2026-02-01",
}


def test_a_stack_is_recorded_in_the_forms_unit_and_taken_out_again(book, view):
    act = stack_acts.add(ASH | {"place": str(book.shop), "destination": str(book.flat)}, view)
    with book.store.session() as session:
        (stack,) = [one for one in queries.stacks(session, view.now) if one.name == "Ash, 4/4"]
    assert stack.document["thickness_mm"] == pytest.approx(31.75)
    assert stack.document["stickered"] is False
    assert stack.start_mc_pct == 9.5
    assert stack.destination.name == "Dry flat"
    # Midnight in the shop's zone, which lies five hours behind UTC in winter.
    assert stack.start_at.isoformat() == "2026-02-01T05:00:00+00:00"
    # Its number may be given again: no other stack gets its board.
    witness.begin(stack.id, {"mass": "1240", "mc": "8", "by": "meter"}, view)
    undo(act, view)
    assert row(book.store, Stack, stack.id) is None
    with book.store.session() as session:
        assert witness.board_of(session, stack.id) is None


def test_a_stack_is_taken_in_as_the_yard_sells_and_meters_it(book, view):
    asked = {
        "name": "Ash, 8/4", "thickness": "8/4", "mc": "8.1, 8.4, 9.0", "how": "pin meter", "depth": "surface",
        "wood_temperature": "50", "set_for_wood": "no", "sealed_ends": "yes", "prongs": "in",
        "rest_until": "2026-03-12",
    }  # fmt: skip
    act = stack_acts.add(ASH | asked | {"place": str(book.shop)}, view)
    stack_id = int(act.href.rsplit("/", 1)[1])
    page = " ".join(text_of(stock.stack_layout(view, stack_id)).replace("\u00a0", " ").split())
    # Half a point for each 10 °F below 70 °F: Wood Handbook ch. 13.
    assert "Recorded at 9.5 ± 3.0 % on Feb 1 by pin meter." in page
    assert "Three boards ran from 9.1 to 10.0 %." in page
    assert "1 point added to each reading of a pin meter in wood at 50 °F (Wood Handbook)." in page
    assert "The meter was not set for white ash, and nothing corrects its readings for that." in page
    assert "The meter read the surface and not the inside of 2 in stock." in page
    assert "Its ends are sealed." in page
    assert "Prong test: they pinch in." in page
    assert "Rests until Mar 12." in page
    shown = str(stack_edit.EDIT.layout(view, stack_id))
    for typed in ("8.1, 8.4, 9", "'50'", "2026-03-12"):
        assert typed in shown


def test_a_stack_tells_which_wood_its_meter_was_set_for(book, view):
    asked = {"name": "Ash", "thickness": "4/4", "mc": "9", "how": "pin meter", "set_for": "Douglas-fir"}
    act = stack_acts.add(ASH | asked | {"place": str(book.shop)}, view)
    page = " ".join(text_of(stock.stack_layout(view, int(act.href.rsplit("/", 1)[1]))).split())
    page = page.replace("\u00a0", " ")
    # By hand from FPL-GTR-6 table 1, from memory: ln(2190 / 1660) / ln(2190 / 690) = 0.24 above 8 %.
    assert "Recorded at 8.2 ± 1.2 %" in page
    assert "taken off the readings of a pin meter set for Douglas-fir (coast), in white ash" in page
    assert "(from memory, unverified)" in page


def test_several_readings_of_a_stack_are_one_measurement(book, view):
    typed = {"mc": "8,2 8,6", "how": "pinless meter", "at": "2026-02-09", "set_for_wood": "no"}
    act = stack_acts.meter(book.stack, typed, view)
    assert "is recorded" in act.says
    assert "was not set for" in act.says
    found = newest(book.store, Measurement)
    assert found.value == pytest.approx(8.4)
    assert found.uncertainty > 2.0


def test_a_stack_metered_today_is_followed_from_now_and_not_from_midnight(book, view, now):
    today = now.astimezone(ZoneInfo("America/New_York")).strftime("%Y-%m-%d")
    act = stack_acts.add(ASH | {"place": str(book.shop), "since": today}, view)
    with book.store.session() as session:
        assert session.get_one(Stack, int(act.href.rsplit("/", 1)[1])).start_at == now


@pytest.mark.parametrize(
    ("key", "value", "named"),
    [
        ("thickness", "thick", "thickness"),
        ("mc", "", "moisture content"),
        ("species", "plywood", "species"),
        ("since", "tomorrow", "metered on"),
        ("place", "", "where it stands"),
        ("name", "", "stack name"),
    ],
)
def test_a_stack_that_is_wrong_names_its_field(book, view, key, value, named):
    with pytest.raises(BadInput) as error:
        stack_acts.add(ASH | {"place": str(book.shop), key: value}, view)
    assert named in error.value.what


def test_a_metered_reading_can_be_taken_back(book, view):
    act = stack_acts.meter(book.stack, {"mc": "8.4", "how": "pin meter", "at": "2026-02-05"}, view)
    assert newest(book.store, Measurement).value == 8.4
    undo(act, view)
    assert newest(book.store, Measurement).undone_at == view.now


def test_a_stack_is_moved_and_brought_back(book, view):
    act = stack_acts.move(book.stack, {"place": str(book.flat), "at": "2026-02-05"}, view)
    assert act.says == "Maple, spring batch stands at Dry flat."
    assert undo(act, view).says == "Maple, spring batch stands at Shop again."


def test_a_stack_used_up_is_followed_again_when_undone(book, view):
    act = stack_acts.retire(book.stack, {}, view)
    assert row(book.store, Stack, book.stack).retired_at == view.now
    undo(act, view)
    assert row(book.store, Stack, book.stack).retired_at is None


# ---------------------------------------------------------------- pieces


def test_a_piece_is_moved_and_brought_back(book, view):
    act = piece_acts.move(book.bench, {"place": str(book.flat), "at": "2026-02-06"}, view)
    with book.store.session() as session:
        assert queries.piece(session, book.bench, view.now).place.name == "Dry flat"
    assert undo(act, view).says == "Hall bench stands at Shop again."


@pytest.mark.parametrize(
    ("what", "value", "quantity", "stored"),
    [
        ("mc", "7.6", "mc_pct", 7.6),
        ("width", "14-15/32", "width_mm", 367.50625),
    ],
)
def test_what_was_measured_is_stored_in_si(book, view, what, value, quantity, stored):
    typed = {"what": f"{what}:{book.bench_panel}", "value": value, "how": "caliper", "at": "2026-02-08"}
    act = piece_acts.measure(book.bench, typed, view)
    measurement = newest(book.store, Measurement)
    assert measurement.quantity == quantity
    assert measurement.value == pytest.approx(stored)
    assert measurement.body_id == book.bench_panel
    undo(act, view)
    assert newest(book.store, Measurement).undone_at is not None


def test_a_gap_is_measured_at_a_fit_that_has_one(book, view):
    with book.store.session() as session:
        piece = session.get(PieceRow, book.bench)
        door = FitRow(name="door", kind="front-in-opening", document={"parts": ["back"], "gap": 1.6})
        piece.fits.append(door)
        session.flush()
        number = door.id
    piece_acts.measure(book.bench, {"what": f"gap:{number}", "value": "3/64", "at": "2026-02-08"}, view)
    measurement = newest(book.store, Measurement)
    assert (measurement.quantity, measurement.fit_id) == ("gap_mm", number)
    assert measurement.value == pytest.approx(1.190625)


def test_measuring_something_on_another_piece_is_refused(book, view):
    with pytest.raises(BadInput, match="must be something on this piece"):
        piece_acts.measure(book.bench, {"what": f"mc:{book.chest_panel}", "value": "8"}, view)


def test_a_piece_followed_no_more_is_followed_again_when_undone(book, view):
    act = piece_acts.retire(book.bench, {}, view)
    assert row(book.store, PieceRow, book.bench).retired_at == view.now
    undo(act, view)
    assert row(book.store, PieceRow, book.bench).retired_at is None


def a_draft(book):
    draft = drafts.new_draft("inch")
    draft["piece"] = {"name": "Coat rack", "place": str(book.shop), "since": "2026-02-01"}
    draft["members"][0] |= {
        "name": "back",
        "species": "white ash",
        "width": "14-1/2",
        "mc_pct": "8",
        "thickness": "5/8",
    }
    fit = drafts.new_fit("panel-in-groove", ["back"], 1) | {"sight_width": "14", "groove_depth": "3/8"}
    draft["fits"].append(fit)
    return draft


def test_a_draft_is_recorded_and_taken_out_again(book, view):
    act = record.save(a_draft(book), None, view)
    number = newest(book.store, PieceRow).id
    assert row(book.store, PieceRow, number).name == "Coat rack"
    assert act.href == f"/piece/{number}"
    links = Links("key")
    with book.store.session() as session:
        token = links.make(session, number)
    undo(act, view)
    assert row(book.store, PieceRow, number) is None
    with book.store.session() as session:
        assert links.shown(session, token) is None


def test_a_draft_with_something_missing_is_not_recorded(book, view):
    draft = a_draft(book)
    draft["members"][0]["width"] = ""
    with pytest.raises(BadInput, match="width"):
        record.save(draft, None, view)


def test_a_correction_is_taken_back_to_what_was_recorded(book, view):
    with book.store.session() as session:
        before = queries.piece(session, book.bench, view.now)
    draft = recorded_draft.draft_of(
        {
            "piece": before.document,
            "part": {member.name: member.document for member in before.members},
            "fit": {fit.name: fit.document for fit in before.fits},
        },
        "inch",
    )
    draft["members"][0]["cut"] = "quarter-sawn"
    act = record.save(draft, book.bench, view)
    with book.store.session() as session:
        after = queries.piece(session, book.bench, view.now)
    assert after.members[0].document["cut"] == "quarter-sawn"
    assert after.members[0].id == before.members[0].id
    undo(act, view)
    with book.store.session() as session:
        assert queries.piece(session, book.bench, view.now).members[0].document["cut"] == "flat-sawn"
    with pytest.raises(BadInput, match="any more"):
        undo(act, view)


# ---------------------------------------------------------------- places, sensors, trust, warnings
