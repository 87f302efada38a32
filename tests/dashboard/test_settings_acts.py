"""What is kept on the page of settings, and how it is taken back: who the client calls, labels."""

import pytest

from dashboard.forms import acts
from dashboard.forms.correcting import NEW
from dashboard.pages.lumber import glue, witness
from dashboard.pages.places import place_edit
from dashboard.pages.sensors import hanging
from dashboard.pages.shop import settings
from dashboard.paper.sheet import contact_of
from dashboard.shell.static_html import still
from dashboard.shell.view import Context, View
from model.answers.adhesives import adhesive_named, adhesives
from model.records.schema.tables import Place, Preference, Sensor, Stay
from model.wood.errors import BadInput
from model.words.display import Display

LABEL = {"name": "yellow glue", "least": "7", "most": "30", "mc": "10", "rh": "", "clamp": "0.5"}


@pytest.fixture
def view(book, now):
    return View(Context(book.store, lambda: now), Display("metric"), now)


def preferences(view):
    with view.store.session() as session:
        return {row.name: row.value for row in session.query(Preference)}


def undo(act, view):
    return acts.take_back(view, act.undo)


# ---------------------------------------------------------------- who the client calls


def test_who_the_client_calls_is_set_seen_and_taken_back(view):
    assert "Nobody is named on the client sheets yet" in still(settings.layout(view))
    typed = {"name": "The bench by the river", "line": "555 0100", "link": "tel:5550100"}
    first = settings.name_contact(0, typed, view)
    assert first.says == "The bench by the river stands on the client sheets from now on."
    with view.store.session() as session:
        found = contact_of(session)
    assert (found.name, found.line, found.link) == ("The bench by the river", "555 0100", "tel:5550100")
    shown = still(settings.layout(view))
    assert "At the foot of every client sheet stands: The bench by the river, 555 0100." in shown
    with view.store.session() as session:
        assert "value='tel:5550100'" in str(settings.contact_part(session, view))
    second = settings.name_contact(0, typed | {"name": "Two benches"}, view)
    assert undo(second, view).says == "The bench by the river stands on the client sheets again."
    with pytest.raises(BadInput, match="can't be taken back any more"):
        undo(second, view)
    assert undo(first, view).says == "Nobody stands on the client sheets again."


def test_the_first_contact_taken_back_leaves_none(view):
    before = preferences(view)
    act = settings.name_contact(0, {"name": "Two benches", "line": "", "link": ""}, view)
    assert undo(act, view).says == "Nobody stands on the client sheets again."
    assert preferences(view) == before


@pytest.mark.parametrize(
    ("typed", "named"),
    [
        ({"name": "Two benches", "link": "javascript:alert(1)"}, "link"),
        ({"name": "", "line": " ", "link": "https://two-benches.example"}, "name"),
    ],
)
def test_a_contact_that_is_wrong_names_its_field(view, typed, named):
    with pytest.raises(BadInput) as refused:
        settings.name_contact(0, typed, view)
    assert refused.value.what == named
    assert preferences(view) == {}


def test_names_with_marks_in_them_stay_names(view):
    settings.name_contact(0, {"name": "<b>Two</b> benches", "line": "", "link": ""}, view)
    shown = still(settings.layout(view))
    assert "<b>Two</b>" not in shown
    assert "&lt;b&gt;Two&lt;/b&gt; benches" in shown


# ---------------------------------------------------------------- adhesives


def test_a_kept_label_is_taken_back(view):
    before = preferences(view)
    act = glue.keep_label(0, LABEL, view)
    with view.store.session() as session:
        assert adhesives(session)["yellow glue"].least_c == 7.0
    assert undo(act, view).says == "The adhesives are as they were; yellow glue is the usual one."
    with view.store.session() as session:
        assert adhesives(session)["yellow glue"].source != "label"
    assert preferences(view) == before


def test_the_usual_glue_is_the_one_before_again(view):
    glue.keep_label(0, LABEL, view)
    before = preferences(view)["adhesives"]
    act = glue.make_usual("hide glue", {}, view)
    with view.store.session() as session:
        assert adhesive_named(session).name == "hide glue"
    undo(act, view)
    assert preferences(view)["adhesives"] == before
    with view.store.session() as session:
        assert adhesive_named(session).name == "yellow glue"


def test_labels_changed_since_are_not_taken_back(view):
    act = glue.keep_label(0, LABEL, view)
    with view.store.session() as session:
        session.merge(Preference(name="adhesives", value={"list": [], "usual": "epoxy"}))
    with pytest.raises(BadInput, match="it was changed again since"):
        undo(act, view)
    assert preferences(view)["adhesives"] == {"list": [], "usual": "epoxy"}


# ---------------------------------------------------------------- what other pages keep


def test_a_witness_board_begun_by_mistake_is_the_one_before_again(view, book):
    witness.begin(book.stack, {"mass": "1240", "mc": "8", "by": "meter"}, view)
    act = witness.begin(book.stack, {"mass": "900", "mc": "9", "by": "oven"}, view)
    assert undo(act, view).says == "The board that weighed 1240 g is kept with the stack again."
    first = witness.begin(book.stack, {"mass": "1240", "mc": "8", "by": "meter"}, view)
    with view.store.session() as session:
        session.delete(session.get(Preference, f"witness board of stack {book.stack}"))
    with pytest.raises(BadInput, match="changed again"):
        undo(first, view)


def test_a_place_recorded_by_mistake_goes_again(view):
    typed = {"name": "Attic", "kind": "storage", "zone": "UTC", "offset": "0", "latitude": "", "note": ""}
    act = place_edit.EDIT.save(NEW, typed, view)
    with view.store.session() as session:
        assert session.query(Place).filter(Place.name == "Attic").one()
    back = undo(act, view)
    assert (back.says, back.href) == ("Attic is out of the book again.", "/places")
    with view.store.session() as session:
        assert session.query(Place).filter(Place.name == "Attic").all() == []


def test_a_place_where_a_piece_stands_now_stays(view, book, now):
    typed = {"name": "Attic", "kind": "storage", "zone": "UTC", "offset": "0", "latitude": "", "note": ""}
    act = place_edit.EDIT.save(NEW, typed, view)
    with view.store.session() as session:
        attic = session.query(Place).filter(Place.name == "Attic").one()
        session.query(Stay).filter(Stay.piece_id == book.bench).one().place_id = attic.id
    with pytest.raises(BadInput) as refused:
        undo(act, view)
    assert f"{refused.value.what} {refused.value.rule}" == (
        "Attic can't be taken out of the book: Hall bench stands there"
    )


def test_a_swap_taken_back_leads_to_the_old_sensor(view, now):
    typed = {"name": "bench, new", "topics": "yes", "at": now.strftime("%Y-%m-%d")}
    act = hanging.swap(1, typed, view)
    back = undo(act, view)
    assert (back.says, back.href) == ("bench hangs there again, with all that was sent since.", "/sensor/1")
    with view.store.session() as session:
        assert session.query(Sensor).filter(Sensor.name == "bench, new").all() == []
        assert session.get(Sensor, 1).retired_at is None
