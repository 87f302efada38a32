"""What a maker meets on a piece's page: what to do first, what is alike once, the worst opened."""

import re
from datetime import UTC, datetime, timedelta

import pytest

from dashboard.pages.pieces import piece_acts
from dashboard.pages.pieces.piece import strictest
from dashboard.pages.pieces.piece_fits import called_together
from dashboard.shell.app import build_app
from dashboard.shell.view import Context, View
from model.records.acts import book as records
from model.records.queries.answers import Coming
from model.records.schema.tables import PieceRow, Place
from model.wood.piece import read_piece
from model.wood.reason import Reason
from model.words.display import Display

DRAWERS = """
[piece]
name = "Map chest"
[part.top]
species = "black walnut"
cut = "flat-sawn"
width = "18in"
mc_pct = 8
thickness = "3/4in"
[fit.top]
kind = "top-on-fasteners"
part = "top"
fixed = "centre"
fastener = "button"
fastener_distance = "8in"
button_gap = "1/8in"
engagement = "3/8in"
""" + "".join(
    f"""
[part.{which}_drawer_bottom]
species = "American sycamore"
cut = "quarter-sawn"
width = "15in"
mc_pct = 8
thickness = "3/8in"
role = "bottom of the {which} drawer"
[fit.{which}_drawer_bottom]
kind = "drawer-bottom"
part = "{which}_drawer_bottom"
slot_length = "1/2in"
"""
    for which in ("upper", "middle", "lower")
)


@pytest.fixture
def page(book, now):
    """The page of a chest, as a browser first meets it."""

    def read(piece_id: int) -> str:
        client = build_app(book.store, lambda: now).server.test_client()
        whole = client.get(f"/piece/{piece_id}").get_data(as_text=True)
        return whole[whole.index("<main") : whole.index("</main>")]

    return read


@pytest.fixture
def map_chest(book, now) -> int:
    with book.store.session() as session:
        shop = session.get_one(Place, book.shop)
        return records.add_piece(session, read_piece(DRAWERS, "t"), shop, now - timedelta(days=3)).id


def summaries(document: str) -> list[str]:
    return [re.sub(r"<[^>]+>", "", one) for one in re.findall(r"<summary>(.*?)</summary>", document)]


def test_what_to_do_stands_before_the_drawings(page, book):
    document = page(book.chest)
    first = [document.index(words) for words in ("Add a measurement", ">Now<", ">To do<", ">Fits<")]
    assert first == sorted(first)
    assert document.index("Go and see it.") < document.index(">Fits<")
    assert document.index(">Archive<") < document.index(">Now<")


def test_three_drawer_bottoms_that_are_alike_are_one_row(page, map_chest):
    document = page(map_chest)
    assert [one for one in summaries(document) if "drawer bottom" in one.lower()] == [
        "All three drawer bottoms, no answer yet"
    ]
    parts = document[document.index(">Parts<") :]
    assert parts.count("American sycamore") == 1
    assert "all three drawer bottoms" in parts


def test_a_drawer_bottom_cut_otherwise_has_a_row_of_its_own(page, map_chest, book):
    with book.store.session() as session:
        fits = session.get_one(PieceRow, map_chest).fits
        lower = next(fit for fit in fits if fit.name == "lower_drawer_bottom")
        lower.document = {**lower.document, "slot_length": 9.0}
    told = [one for one in summaries(page(map_chest)) if "drawer bottom" in one.lower()]
    assert sorted(told) == ["Both drawer bottoms, no answer yet", "Lower drawer bottom, no answer yet"]


def test_only_the_worst_fit_is_open(page, map_chest):
    fits = re.findall(r'<details[^>]*class="fit"[^>]*>', page(map_chest))
    assert [" open" in fit for fit in fits] == [True, False]


def test_things_alike_are_called_once():
    assert called_together(["drawer_bottom_1", "drawer_bottom_2"]) == "both drawer bottoms"
    assert called_together(["door_left", "door_right"]) == "both doors"
    assert called_together(["top"]) == "top"


def test_a_piece_that_was_archived_is_followed_again(page, book, now):
    view = View(Context(book.store, lambda: now), Display(), now)
    assert piece_acts.retire(book.bench, {}, view).says == "Hall bench is archived."
    document = page(book.bench)
    assert "Follow it again" in document
    assert ">Archive<" not in document
    assert piece_acts.restore(book.bench, {}, view).says == "Hall bench is followed again."
    with book.store.session() as session:
        assert session.get_one(PieceRow, book.bench).retired_at is None
    assert ">Archive<" in page(book.bench)


def test_of_two_humidities_for_one_end_the_stricter_is_what_to_do():
    def coming(limit: str, direction: str, rh_pct: float | None) -> Coming:
        lever = None if rh_pct is None else {"advised_rh_pct": rh_pct, "enough": True}
        seen, at = Reason("told", {"text": limit}), datetime(2026, 2, 3, tzinfo=UTC)
        return Coming("fit", limit, direction, "harms", seen, 60.0, at, at, at, lever)

    damp, damper = coming("a", "swelling", 53.0), coming("b", "swelling", 60.0)
    dry, unprevented = coming("c", "shrinking", 30.0), coming("d", "shrinking", None)
    assert strictest([damper, damp, dry, unprevented]) == [damp, dry, unprevented]


def test_every_width_and_what_is_left_is_said_with_how_sure_it_is(page, book):
    document = re.sub(r"<[^>]+>", "", page(book.bench)).replace("\u00a0", " ")
    fits, parts = document.split("Least sure")[0].rsplit("Parts", 1)
    assert "14-1/2 ± 3/64 in" in parts
    assert "8.0 ± 0.1 %" in parts
    assert re.search(r"\d ± \d+/\d+ in", fits)
    assert "measure its width today, and ± 3/64 in becomes ± 1/64 in." in document
