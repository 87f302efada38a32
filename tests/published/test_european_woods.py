"""European woods against what is printed of them, and what the trade calls them on each side of the ocean.

Movement for 1 % of moisture content: "Sorption of moisture and dimensional change of wood species used in
historic objects" (Firenze University Press), Table 1, read on the page; and differential shrinkage printed
by the German timber trade association, read elsewhere. Total shrinkage: "The Structural Conservation of Panel
Paintings", p. 15.
"""

import pytest

from model.wood.design.cautions import cautions
from model.wood.material.movement import movement_of, width_at
from model.wood.material.species import (
    EUROPE,
    NORTH_AMERICA,
    UnknownSpecies,
    find_species,
    named_here,
    region_reason,
)
from model.wood.piece import read_piece
from tests.said import said

# Radial and tangential change of width for 1 % of moisture content.
MEASURED = {
    "European oak": (0.0019, 0.0033),
    "European beech": (0.0017, 0.0036),
    "European sycamore": (0.0019, 0.0038),
    "European cherry": (0.0014, 0.0025),
    "European elm": (0.0017, 0.0031),
    "European lime": (0.0019, 0.0030),
    "European larch": (0.0013, 0.0045),
    "Scots pine": (0.0013, 0.0038),
    "Norway spruce": (0.0014, 0.0034),
    "silver fir": (0.0012, 0.0032),
    "European poplar": (0.0012, 0.0027),
    "Cuban mahogany": (0.0011, 0.0028),
}
ASSOCIATION = {
    "European ash": (0.0021, 0.0038),
    "European walnut": (0.0018, 0.0029),
    "silver birch": (0.0029, 0.0041),
    "European Douglas-fir": (0.0015, 0.0027),
    "iroko": (0.0019, 0.0028),
    "sapele": (0.0024, 0.0032),
    "utile": (0.0020, 0.0025),
    "wenge": (0.0022, 0.0034),
    "afrormosia": (0.0018, 0.0032),
}


@pytest.mark.parametrize(
    ("table", "provenance"), [(MEASURED, "read"), (ASSOCIATION, "read_secondary")], ids=["page", "elsewhere"]
)
def test_european_coefficients_as_printed(table, provenance):
    for name, (radial, tangential) in table.items():
        wood = find_species(name)
        assert (wood.c_radial_per_pct, wood.c_tangential_per_pct) == (radial, tangential), name
        assert wood.movement_provenance == provenance, name
        assert wood.facts["c_tangential_per_pct"].source, name


def test_the_printed_coefficient_is_used_where_total_shrinkage_falls_short_of_it():
    # Total tangential shrinkage over a fibre saturation of 30 %.
    for name, total_pct in (
        ("Norway spruce", 7.4),
        ("Scots pine", 7.7),
        ("European ash", 8.3),
        ("European walnut", 6.4),
    ):
        printed = find_species(name).c_tangential_per_pct
        assert 0.14 <= 1.0 - total_pct / 3000.0 / printed <= 0.47, name


def test_european_oak_moves_by_its_printed_coefficient():
    # 300 mm flat-sawn from 10 to 8 %: 300 x 0.0033 x 2 = 1.98 mm.
    moved = width_at(300.0, 10.0, 8.0, movement_of(find_species("European oak"), 0.0)) - 300.0
    assert moved == pytest.approx(-1.98, abs=0.01)


# Common practice, no source.
@pytest.mark.parametrize(
    ("called", "in_america", "in_europe"),
    [
        ("ash", "white ash", "European ash"),
        ("cherry", "black cherry", "European cherry"),
        ("walnut", "black walnut", "European walnut"),
        ("elm", "American elm", "European elm"),
        ("chestnut", "American chestnut", "sweet chestnut"),
        ("larch", "western larch", "European larch"),
        ("sycamore", "American sycamore", "European sycamore"),
    ],
)
def test_one_name_is_another_wood_across_the_ocean(called, in_america, in_europe):
    assert find_species(called, region=NORTH_AMERICA).name == in_america
    assert find_species(called, region=EUROPE).name == in_europe == named_here(called, EUROPE)
    read_as = region_reason(called, EUROPE)
    assert read_as is not None
    assert said(read_as) == (f"Here {called} is read as {in_europe}; in North America it is {in_america}.")
    assert region_reason(in_europe, EUROPE) is None


def test_a_piece_file_is_read_with_the_woods_of_its_region():
    text = """
[piece]
name = "Box"
[part.lid]
species = "ash"
cut = "flat-sawn"
width = 300
mc_pct = 9
thickness = 20
"""
    assert read_piece(text).members["lid"].species.name == "white ash"
    assert read_piece(text, region=EUROPE).members["lid"].species.name == "European ash"


@pytest.mark.parametrize(
    ("called", "offered"),
    [
        ("oak", "must say which (white oak, red oak or European oak?)"),
        ("plywood", "sheet goods hardly move (leave the part out, or name the wood of its edging)"),
        ("MDF", "sheet goods hardly move"),
        ("zebrano", "must be a wood whose movement is published"),
    ],
)
def test_a_name_that_is_no_one_wood_gets_a_choice(called, offered):
    with pytest.raises(UnknownSpecies) as asked:
        find_species(called)
    assert offered in str(asked.value)
    if called == "oak":
        assert find_species("oak", region=EUROPE).name == "European oak"


def test_northern_red_oak_is_reckoned_with_the_larger_figure_of_red_oak_and_says_so():
    # Wood Handbook Table 13-5 prints 0.00369 for commercial red oak; its shrinkage of 8.6 % (Table 4-3) gives
    # 1/(3000/8.6 - 20) = 0.00304, 18 % less.
    oak = find_species("northern red oak")
    assert oak.c_tangential_per_pct == 0.00369
    assert pytest.approx(0.18, abs=0.005) == 1 - 1 / (3000 / 8.6 - 20) / 0.00369
    assert "18 % less" in said(oak.cautions)


def test_a_remembered_wood_is_marked_and_a_printed_one_is_not():
    assert said(find_species("Sitka spruce").cautions) == (
        "How far Sitka spruce moves is from memory, unverified."
    )
    # The printed shrinkage of Table 4-3 gives these; a coefficient once remembered is no longer used.
    for name in ("yellow-poplar", "eastern white pine", "Douglas-fir (coast)", "black walnut", "sugar maple"):
        assert find_species(name).cautions == (), name
        assert find_species(name).movement_provenance != "memory", name


def test_what_is_said_of_a_piece_is_said_once():
    text = "[piece]\nname = 'Box'\n" + "".join(
        f"[member.{name}]\nspecies = 'redwood'\ncut = 'flat-sawn'\nwidth = 300\nmc_pct = 9\nthickness = 20\n"
        for name in ("lid", "front")
    )
    members = read_piece(text).members.values()
    assert said(cautions(members)) == "How far redwood (old growth) moves is from memory, unverified."
