"""The plan: its state in its address, its verdicts and reasons, its card, and what is recorded from it."""

import json
import re
from urllib.parse import parse_qsl, urlsplit

import pytest

from dashboard.figures.corners import Pin, corners_drawing
from dashboard.figures.drawing import words_of
from dashboard.figures.plan import Front, front_drawing
from dashboard.forms import drafts
from dashboard.forms.asking import asked_in_units
from dashboard.pages.pieces import record
from dashboard.pages.plans import plan, plan_asked
from dashboard.shell.app import build_app
from dashboard.shell.static_html import still, text_of
from dashboard.shell.view import Context, View, address
from model.wood.errors import BadInput
from model.words.display import Display

DOOR = {
    "role": "door", "width": "18 in", "length": "26 in", "thickness": "3/4 in", "species": "black walnut",
    "cut": "flat-sawn", "mc": "8.1", "home": "given", "low": "20", "high": "55",
}  # fmt: skip


def view_of(book, now, query=None, units="inch") -> View:
    return View(Context(book.store, lambda: now), Display(units), now, query or {})


def plain(page) -> str:
    return " ".join(text_of(page).replace("\u00a0", " ").split())


# ---------------------------------------------------------------- what is asked


def test_an_address_means_the_same_to_a_viewer_in_other_units(book, now):
    typed = asked_in_units(
        plan_asked.FORM, {**DOOR, "width": "18", "length": "26", "thickness": "3/4"}, "inch"
    )
    assert typed["width"] == "18 in"
    found = [
        plan_asked.plan_of(typed, view_of(book, now, units=units)).comparison.part
        for units in ("inch", "metric")
    ]
    assert found[0] == found[1]
    assert found[0].width_mm == pytest.approx(457.2)


def test_the_plan_marks_a_remembered_wood_and_says_how_a_name_was_read(book, now):
    told = plain(plan.layout(view_of(book, now, {**DOOR, "species": "redwood"})))
    assert "Here redwood is read as redwood (old growth); in Europe it is Scots pine." in told
    # Above the comparison, and on the cut card below it.
    assert told.count("How far redwood (old growth) moves is from memory, unverified.") >= 2


def test_a_stack_brings_its_wood_and_its_moisture(book, now):
    asked = {key: value for key, value in DOOR.items() if key not in ("species", "mc")}
    comparison = plan_asked.plan_of({**asked, "stack": str(book.stack)}, view_of(book, now)).comparison
    part = comparison.part
    assert part.species.name == "sugar maple"
    # Its last checkpoint: 8.0 less 0.05 a day for a fortnight.
    assert part.mc_pct == pytest.approx(7.3)
    # How sure that is comes with it, to the saw: not a meter's point, as nobody metered it since.
    cuts = [cut for choice in comparison.choices for cut in choice.layout.cuts]
    assert {cut["mc_doubt_pct"] for cut in cuts} == {part.mc_doubt_pct}
    assert part.mc_doubt_pct not in (None, 1.0)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"width": ""}, "Width across the grain must be given."),
        ({"species": "formica"}, "Wood must name a wood that is known here"),
        ({"mc": "damp"}, "Moisture content of the stock must be a number"),
        ({"low": "55", "high": "20"}, "Dampest humidity there must be over the driest"),
        ({"role": "lid"}, "Part must be one of side, door, top, back, bottom"),
        ({"stack": "999"}, "The stack it is cut from must be one in the book"),
        ({"face": "varnish of the moon"}, "Finish is not in the table"),
    ],
)
def test_what_is_wrong_is_one_sentence_over_the_form_and_beside_its_field(book, now, change, says):
    page = plan.layout(view_of(book, now, {**DOOR, **change}))
    assert plain(page).count(says) == 2
    assert "Compare" in plain(page)


def test_a_home_of_which_nothing_is_recorded_counts_on_the_usual_and_says_so(book, now):
    told = plain(plan.layout(view_of(book, now, {**DOOR, "home": "usual"})))
    assert "what is usual in heated homes, 6 to 11 %" in told
    # A fortnight is recorded at the flat: it is joined to the usual, and can only widen it.
    told = plain(plan.layout(view_of(book, now, {**DOOR, "home": str(book.flat)})))
    assert "At Dry flat the wood comes to" in told
    assert "only 14 days are recorded there" in told


# ---------------------------------------------------------------- what is told


def test_three_ways_stand_side_by_side_with_verdicts_and_reasons(book, now):
    page = plan.layout(view_of(book, now, DOOR))
    told = plain(page)
    assert "A door, 18 × 26 in, of black walnut, flat-sawn, stock at 8.1 %" in told
    for words in ("Solid slab", "Frame and panel", "Sheet goods", "May be fixed across it", "Weighs"):
        assert words in told
    assert "Does not suit." in told
    document = still(page)
    assert document.count('class="front"') == 3
    assert 'aria-label="does not suit"' in document
    # Every reason is told in the viewer's own unit.
    assert " mm" not in told
    metric = plain(plan.layout(view_of(book, now, DOOR, "metric")))
    assert re.search(r"\d in\b", metric) is None
    assert " mm" in metric


def test_the_choice_taken_is_in_the_address_and_leads_on(book, now):
    page = plan.layout(view_of(book, now, {**DOOR, "choose": "slab"}))
    assert "Cut it today as a solid slab" in plain(page)
    hrefs = [part.split('"')[0] for part in still(page).replace("&amp;", "&").split('href="')[1:]]
    (on,) = [href for href in hrefs if href.startswith("/plan/record")]
    assert dict(parse_qsl(urlsplit(on).query)) == {**DOOR, "choose": "slab"}
    (on,) = [href for href in hrefs if href.startswith("/rehearse")]
    assert dict(parse_qsl(urlsplit(on).query))["first"] == "plan-slab"
    assert [href for href in hrefs if href.startswith("/plan/card.pdf")]


def test_a_sides_grain_is_told_round_the_case_and_across(book, now):
    told = plain(plan.layout(view_of(book, now, {**DOOR, "role": "side"})))
    assert "Grain runs all round and moves together" in told
    # 18 in of walnut: 18 x 0.00274 for each point of the home's year is held back at a crossed corner.
    assert "Grain crosses at a corner: one side would move" in told
    assert "Grain round the case" not in plain(plan.layout(view_of(book, now, DOOR)))


def test_sheet_goods_that_do_not_move_have_nothing_to_cut_or_record(book, now):
    query = {**DOOR, "role": "back", "choose": "sheet"}
    assert "Nothing of it moves enough to follow" in plain(plan.layout(view_of(book, now, query)))
    assert "nothing to record" in plain(plan.record_layout(view_of(book, now, query)))


def test_what_is_recorded_from_a_plan_is_the_plan(book, now):
    view = view_of(book, now, {**DOOR, "choose": "framed"})
    page = plan.record_layout(view)
    draft = next(part.data for part in page.children if getattr(part, "id", None) == record.DRAFT)
    checked = drafts.check(json.loads(json.dumps(draft)))
    assert checked.problems == []
    planned = plan_asked.plan_of(plan_asked.asked_of(view.query), view).comparison.choice("framed").piece
    assert set(checked.piece.fits) == set(planned.fits)
    for name, member in planned.members.items():
        assert checked.piece.members[name].width_mm == pytest.approx(member.width_mm, abs=0.01)
        assert checked.piece.members[name].mc_pct == 8.1


def test_a_plan_that_is_none_is_not_recorded(book, now):
    assert "There is no plan at this address." in plain(plan.record_layout(view_of(book, now, {})))


@pytest.mark.parametrize("units", ["inch", "metric"])
def test_the_card_comes_as_one_page(book, now, units):
    client = build_app(book.store, lambda: now).server.test_client()
    query = {**DOOR, "choose": "framed", "units": units}
    answer = client.get(address("plan", "card.pdf", **query, fit="panel_in_grooves"))
    assert (answer.status_code, answer.mimetype) == (200, "application/pdf")
    assert answer.data.count(b"/Type /Page\n") == 1
    assert "door-as-planned-panel-in-grooves-cut-card.pdf" in answer.headers["Content-Disposition"]
    assert client.get(address("plan", "card.pdf", **query, fit="hinge")).status_code == 404
    refused = client.get(address("plan", "card.pdf", **{**query, "width": "wide"}, fit="panel_in_grooves"))
    assert refused.status_code == 422
    assert "width across the grain" in refused.get_data(as_text=True)


def test_the_plan_can_be_read_before_a_script_has_run(book, now):
    client = build_app(book.store, lambda: now).server.test_client()
    document = client.get(address("plan", **DOOR)).get_data(as_text=True)
    assert "Three ways to build it" in document
    assert 'aria-current="page"' in document


# ---------------------------------------------------------------- drawings and words


def test_a_front_is_told_in_words_too():
    front = Front("framed", "Frame and panel", 457.2, 660.4, 57.15, 1, 2.5, 8.0)
    tree = front_drawing(front, 8.0, Display("inch"))
    assert "its panel 5/16\u00a0in in its grooves" in tree[1]["aria-label"]
    assert "moves 3/32\u00a0in" in "".join(words_of(tree))
    metric = front_drawing(front, 8.0, Display("metric"))
    assert "moves 2.5\u00a0mm" in "".join(words_of(metric))


def test_rules_side_by_side_have_one_scale():
    def bar(movement_mm: float) -> float:
        front = Front("slab", "Solid slab", 457.2, 660.4, movement_mm=movement_mm)
        (d,) = [
            part[1]["d"] for part in front_drawing(front, 8.0, Display("inch"))[2:]
            if part[1].get("class") == "dimension"
        ]  # fmt: skip
        return float(d.split("H")[1]) - float(d[1:].split(" ")[0])

    assert bar(8.0) == pytest.approx(4 * bar(2.0), rel=0.01)


def test_pins_stay_on_their_drawing():
    pins = [Pin("behind a case on an outside wall", 14.0, 54.0), Pin("in a cold corner", 10.0, 99.0)]
    for width in (900, 360):
        tree = corners_drawing(pins, Display("metric"), width)
        assert "behind a case on an outside wall 54\u00a0%" in tree[1]["aria-label"]
        texts = [part for part in tree[2:] if part[0] == "text" and part[1].get("font-size") == 14]
        assert all(0 <= part[1]["x"] <= width for part in texts)


def test_a_design_that_is_none_is_refused(book, now):
    with pytest.raises(BadInput):
        plan_asked.plan_of({}, view_of(book, now))
