"""A case drawn: chosen, typed, judged before it is recorded, and the piece's face from then on."""

import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from dashboard.figures.drawing import words_of
from dashboard.pages.pieces import case, case_asked, client_page, piece, shop_figures
from dashboard.pages.shop import today
from dashboard.paper.job import JobFacts, job_sheet
from dashboard.shell.static_html import text_of
from dashboard.shell.view import Context, View
from model.answers.annual_range import HomeYear
from model.records.acts import book as acts
from model.records.acts.shop_figures import figures_of
from model.records.queries import overview as queries
from model.records.queries.answers import Judgement
from model.records.schema.tables import PieceRow
from model.wood.design import patterns
from model.wood.design.cut_list import CutRow, board_feet_in_all
from model.wood.errors import BadInput
from model.wood.piece import read_piece, write_piece
from model.words.display import Display
from model.words.display import plain as plain_text

TOY = '''
"""A bread board."""

from model.wood.design.patterns import blocks
from model.wood.design.patterns.base import Case, CasePattern, CaseSize


def make(case: Case) -> None:
    wide = case.size("width")
    case.part("board", "across", wide, 2 * wide, 19.0)
    blocks.ends_of(case, "board", wide / 2 - 20.0, wide / 2, "breadboard", at_edge=False)
    case.draw(case.front, "board", 0, 0, 2 * wide, wide, "across")


PATTERN = CasePattern(
    key="bread board", what="One board with ends.", choices=(), make=make,
    sizes=(CaseSize("width", "width of the board", (10, 6, 18), (250, 150, 450)),),
)
'''


def view_of(book, now, units="inch", **query) -> View:
    return View(Context(book.store, lambda: now), Display(units), now, query)


def plain(page) -> str:
    return " ".join(text_of(page).replace("\u00a0", " ").split())


def typed(book, **more) -> dict[str, str]:
    return {
        "name": "Valley chest", "species": "black walnut", "mc_pct": "8", "place": str(book.shop),
        "since": "2026-02-01", "depth": "18", **more,
    }  # fmt: skip


def chest(book, now, **more) -> case_asked.Made:
    return case_asked.make_case(
        patterns.pattern_named("chest of drawers"), typed(book, **more), view_of(book, now)
    )


def test_every_case_can_be_chosen_by_its_drawing(book, now):
    told = plain(case.layout(view_of(book, now)))
    for key in patterns.patterns():
        assert key[0].upper() + key[1:] in told
    assert "Record it part by part" in told


def test_a_case_is_judged_for_its_home_while_it_is_typed(book, now):
    told = plain(case.layout(view_of(book, now, pattern="chest of drawers", **typed(book))))
    assert "Drawer bottom × 4: stays free" in told
    assert "Side panel × 2: stays free" in told
    assert "board feet of solid wood" in told
    assert "anchor it to the wall" in told
    assert "side panel × 2 14 in 13- 7/8 to 14- 3/32 in, best 13- 31/32" in told
    # The top's slot and the gap above a front are set out too, that by the month it is fitted.
    assert "fastener distance 15 in" in told
    assert "slot length 7/16 in" in told
    assert "Gap above each front, by the month it is fitted opening Jan Feb" in told


def test_what_would_harm_is_drawn_before_it_is_recorded(book, now):
    """A runner glued across a cherry side 18 in deep splits it in a dry winter."""
    free = {"species": "black cherry", "sides": "slab", "inside": "runners"}
    assert all(fit.verdict != "past" for fit in chest(book, now, **free).fits)
    glued = chest(book, now, **free, **{"held.runner": "glued"})
    worst = glued.fits[0]
    assert (worst.name, worst.verdict, worst.parts) == ("runner", "past", ("side",))
    assert "the side is held across its grain" in worst.said
    assert plain_text(worst.said).endswith("Glue the front 3 in only, and slot what lies behind.")
    drawn = case.drawn_anew(
        glued.request.pattern, typed(book, **free, **{"held.runner": "glued"}), view_of(book, now)
    )
    drawing = str(drawn[case.LIVE][0].to_plotly_json())
    assert "would-harm" in drawing
    # Nothing is drawn over it: the mark of a place to watch would hide it.
    assert "'marked'" not in drawing
    # Said again where it is recorded, and nothing is said there of a case that bears its home.
    told = " ".join(text_of(drawn[case.HARM]).split())
    assert told.startswith("Built so, it comes to harm. Runner × 8: at the dampest the side is held")
    assert told.endswith("Record it only if it is built so already.")
    assert case.would_harm(chest(book, now, **free)) == []
    # It may have been built so: it can be recorded all the same.
    assert glued.piece.fits["runner"].document()["fixing"] == "tight"


def test_a_dovetailed_case_says_that_its_grain_runs_all_round(book, now):
    told = " ".join(chest(book, now, sides="dovetailed").notes)
    assert "Grain runs all round and moves together: join it any way." in told
    # Another wood at one corner makes a step there.
    told = " ".join(chest(book, now, sides="dovetailed", **{"part.top.species": "mahogany"}).notes)
    assert "All round, but not alike: a step of up to" in told
    assert "rain" not in " ".join(chest(book, now).notes)


def test_metric_and_inch_shops_have_usual_figures_of_their_own(book, now):
    pattern = patterns.pattern_named("drawer")
    asked = {"species": "black walnut", "mc_pct": "8"}
    inch = case_asked.make_case(pattern, asked, view_of(book, now))
    metric = case_asked.make_case(pattern, asked, view_of(book, now, "metric"))
    assert inch.request.sizes["depth"] == pytest.approx(457.2)
    assert metric.request.sizes["depth"] == 450.0


def test_wood_that_nobody_metered_is_assumed_and_said_to_be(book, now):
    made = chest(book, now, mc_pct="")
    assert made.request.mc_pct == 6.5  # February
    assert any("Nobody metered this wood" in note for note in made.notes)
    assert {member.mc_basis for member in made.piece.members.values()} == {"assumed"}


def test_a_case_drawn_is_recorded_and_is_the_piece_s_face(book, now):
    view = view_of(book, now)
    case.save(patterns.pattern_named("chest of drawers"), typed(book), view)
    with book.store.session() as session:
        row = session.query(PieceRow).filter_by(name="Valley chest").one()
        recorded, piece_id = acts.load_piece(session, row), row.id
        found = queries.piece(session, piece_id, now)
    assert recorded.case is not None
    assert recorded.members["drawer bottom"].alike == 4
    assert read_piece(write_piece(recorded)) == recorded
    assert found is not None
    (drawing,) = piece.face(found)
    assert drawing.className == "case-view"
    told = plain(piece.layout(view, piece_id))
    assert "Drawer bottom × 4" in told.replace("drawer bottom", "Drawer bottom")
    label = client_page._picture(found, recorded).children[0].tree[1]["aria-label"]
    assert label.startswith("Valley chest from the front")
    assert label.endswith("to scale")


def test_the_worst_piece_of_today_stands_on_the_first_page_with_its_case_drawn(book, now):
    view = view_of(book, now)
    case.save(patterns.pattern_named("chest of drawers"), typed(book), view)
    with book.store.session() as session:
        piece_id = session.query(PieceRow.id).filter_by(name="Valley chest").scalar()
        found = queries.piece(session, piece_id, now)
        shop = queries.shop(session, now)
    past = Judgement("past", {"key": "told", "text": "it binds"})
    worst = replace(found, judgement=past, fits=tuple(replace(fit, judgement=past) for fit in found.fits))
    shown = str(today.note(replace(shop, pieces=(worst, replace(worst, name="Low chest"))), view))
    assert shown.count("small-view") == 1
    assert "small-view" not in str(today.note(replace(shop, pieces=()), view))


def test_what_is_wrong_is_said_in_one_sentence(book, now):
    view = view_of(book, now)
    pattern = patterns.pattern_named("chest of drawers")
    assert "must be 12 to 26 in" in plain(
        case.drawn_anew(pattern, typed(book, depth="60"), view)[case.LIVE][0]
    )
    with pytest.raises(BadInput, match="wood must be given"):
        case.save(pattern, typed(book, species=""), view)
    with pytest.raises(BadInput, match="name must be given"):
        case.save(pattern, typed(book, name=" "), view)


@pytest.fixture
def toy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    (tmp_path / "bread_board.py").write_text(TOY, "utf-8")
    monkeypatch.setattr(patterns, "__path__", [*patterns.__path__, str(tmp_path)])
    patterns._registry.cache_clear()
    yield
    sys.modules.pop("model.wood.design.patterns.bread_board", None)
    patterns._registry.cache_clear()


def test_a_new_pattern_is_one_new_file(book, now, toy):
    """It is chosen by its drawing, typed, judged and recorded, and a piece file may name it."""
    assert "Bread board" in plain(case.layout(view_of(book, now)))
    told = plain(case.layout(view_of(book, now, pattern="bread board", species="sycamore", mc_pct="8")))
    assert "Board ends × 2: stays free" in told
    asked = 'pattern = "bread board"\nspecies = "hard maple"\ncut = "flat-sawn"\nmc_pct = 8'
    text = f'[piece]\nname = "Gift"\n[case]\n{asked}'
    assert read_piece(text).members["board"].width_mm == 254.0
    drawn = case_asked.usual_case(patterns.pattern_named("bread board"), view_of(book, now))
    assert [one.name for one in drawn.front] == ["board"]
    assert words_of(case.case_drawing(drawn)) is not None


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs poppler (Debian package poppler-utils)")
def test_a_drawn_case_has_its_cut_list_and_its_drawer_gaps_on_the_job_sheet(book, now):
    made = chest(book, now, drawers="3")
    low, high = (dict.fromkeys(made.piece.members, end) for end in (6.0, 11.0))
    facts = JobFacts(made.piece, HomeYear("", low, high), "Dry flat", now, "UTC", now)
    pdf = job_sheet(facts, Display("inch"))
    ran = subprocess.run(["pdftotext", "-raw", "-", "-"], input=pdf, capture_output=True, check=True)
    told = " ".join(ran.stdout.decode().replace("\u00a0", " ").split())
    assert "What to cut" in told
    assert "drawer bottom × 3" in told
    assert "board feet of solid wood" in told
    assert "Gap above each front, by the month it is fitted" in told
    best = next(row for row in made.cuts if row.name == "side panel")
    assert best.width_least_mm <= best.width_mm <= best.width_most_mm
    # By hand: 20 boards of 12 by 12 by 1 in are 20 board feet.
    inch = 25.4
    row = CutRow("a", "a", 20, "ash", 12 * inch, 12 * inch, inch, None, None, None)
    assert board_feet_in_all((row,)) == pytest.approx(20.0)


def test_a_single_part_may_differ_and_a_tight_opening_is_hatched(book, now):
    differs = {
        "part.front 3.cut": "quarter-sawn",
        "part.side panel.width": "14 7/8",
        "fit.front 1.gap": "0.001",
    }
    made = chest(book, now, drawers="3", depth="19", **differs)
    assert made.piece.members["front 3"].ring_angle_deg == 90.0
    assert made.piece.members["front 2"].ring_angle_deg == 0.0
    assert made.piece.members["side panel"].width_mm == pytest.approx(14.875 * 25.4)
    tight = next(fit for fit in made.fits if fit.name == "front 1")
    assert tight.verdict == "past"
    assert "at the dampest" in tight.said
    # What to do instead is what the shop's rule would have left.
    assert plain_text(tight.said).endswith("Leave 7/64 in.")
    told = plain(case.single_parts(made, typed(book), view_of(book, now))[0])
    assert "Gap as built" in told
    # A typed value survives a change of size.
    assert chest(book, now, drawers="3", depth="19", width="34", **differs).piece.members[
        "side panel"
    ].width_mm == (made.piece.members["side panel"].width_mm)


def test_a_shop_s_own_figures_are_kept_and_drawn_with(book, now):
    view = view_of(book, now)
    shop_figures.keep(0, {"stile": "2 1/2", "groove": ""}, view)
    with book.store.session() as session:
        assert figures_of(session) == {"stile": pytest.approx(63.5)}
    made = chest(book, now, depth="19")
    assert made.piece.fits["side panel"].document()["sight_width"] == pytest.approx(14 * 25.4)
    assert "usual 2-1/4" in plain(shop_figures.layout(view))
    shop_figures.keep(0, {"stile": ""}, view)
    assert chest(book, now, depth="19").piece.fits["side panel"].document()["sight_width"] == pytest.approx(
        14.5 * 25.4
    )
