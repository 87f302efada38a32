"""Wood Handbook (FPL-GTR-190, 2010) Tables 13-5 and 13-6, eq. 13-2 and 13-3.

data/table_13_5_read.csv holds only rows read on the printed page; remembered rows are no expected values.
"""

import csv
from pathlib import Path

import pytest

from model.wood.material.movement import Movement, movement_of, width_at
from model.wood.material.species import find_species
from model.wood.material.species_record import coefficient_from_shrinkage

DATA = Path(__file__).parent / "data"


def _read(name):
    with (DATA / name).open(encoding="utf-8", newline="") as lines:
        return {row["common_name"]: row for row in csv.DictReader(lines)}


COEFFICIENTS = _read("table_13_5_read.csv")
SHRINKAGE = _read("table_4_3_and_4_4_read.csv")

# The handbook gives these woods the coefficients of their group, so they don't follow from their own
# shrinkage. (Black maple and "Oak, black" are so too; their shrinkage is remembered and not compared here.)
GROUP_COEFFICIENTS = {"green ash": "white ash", "sweet birch": "yellow birch", "cedar elm": "winged elm"}
# "Oak, black" prints the line of California black oak and is not used for eastern black oak.
NOT_USED = {"black oak"}

PAIRS = [
    (name, direction, float(row[f"c_{direction}_per_pct"]), float(SHRINKAGE[name][f"{direction}_pct"]))
    for name, row in COEFFICIENTS.items()
    if name in SHRINKAGE
    for direction in ("radial", "tangential")
]
# One number each of two rows was read: radial of black willow in the table, of white fir in the example.
PAIRS += [("black willow", "radial", 0.00112, 3.3), ("white fir", "radial", 0.00112, 3.3)]


@pytest.mark.parametrize("name", [name for name in COEFFICIENTS if name not in NOT_USED])
def test_coefficients_as_printed(name):
    row = COEFFICIENTS[name]
    wood = find_species(name)
    assert wood.c_radial_per_pct == float(row["c_radial_per_pct"])
    assert wood.c_tangential_per_pct == float(row["c_tangential_per_pct"])
    assert wood.facts["c_radial_per_pct"].provenance == "read"


def test_black_oak_has_its_own_coefficients_and_california_black_oak_the_printed_ones():
    printed = COEFFICIENTS["black oak"]
    california = find_species("California black oak")
    assert california.c_radial_per_pct == float(printed["c_radial_per_pct"])
    assert california.c_tangential_per_pct == float(printed["c_tangential_per_pct"])
    assert find_species("black oak").facts["c_tangential_per_pct"].provenance == "derived"


def test_as_many_pairs_were_read_as_the_note_says():
    # 74 with both numbers read on the page, 8 with the shrinkage read elsewhere.
    elsewhere = sum(SHRINKAGE[name]["provenance"] == "read_secondary" for name, *_ in PAIRS)
    assert (len(PAIRS) - elsewhere, elsewhere) == (74, 8)


@pytest.mark.parametrize(("name", "direction", "printed", "shrinkage_pct"), PAIRS)
def test_coefficients_follow_from_shrinkage(name, direction, printed, shrinkage_pct):
    """C = 1/(100 FSP/S - FSP + 10) with FSP 30, eq. 13-3 at 10 %: to one unit of the last printed digit."""
    computed = coefficient_from_shrinkage(shrinkage_pct)
    if name in GROUP_COEFFICIENTS:
        group = COEFFICIENTS[GROUP_COEFFICIENTS[name]]
        assert printed == float(group[f"c_{direction}_per_pct"])
        assert abs(computed - printed) > 1.5e-5
    else:
        assert computed == pytest.approx(printed, abs=1.05e-5)


# Computed independently from the identity.
@pytest.mark.parametrize(
    ("shrinkage_pct", "coefficient"),
    [(7.1, 0.00248425), (3.7, 0.00126452), (9.9, 0.00353319), (7.8, 0.00274262)],
)
def test_identity_computed_independently(shrinkage_pct, coefficient):
    assert coefficient_from_shrinkage(shrinkage_pct) == pytest.approx(coefficient, abs=5e-9)


# Coefficients of the woods most used for furniture, read on the page and written out here.
@pytest.mark.parametrize(
    ("name", "radial", "tangential"),
    [
        ("black cherry", 0.00126, 0.00248),
        ("sugar maple", 0.00165, 0.00353),
        ("red maple", 0.00137, 0.00289),
        ("black walnut", 0.00190, 0.00274),
        ("white ash", 0.00169, 0.00274),
        ("white oak", 0.00180, 0.00365),
        ("red oak", 0.00158, 0.00369),
        ("yellow birch", 0.00256, 0.00338),
        ("American beech", 0.00190, 0.00431),
        ("American basswood", 0.00230, 0.00330),
        ("butternut", 0.00116, 0.00223),
        ("red alder", 0.00151, 0.00256),
    ],
)
def test_furniture_woods(name, radial, tangential):
    wood = find_species(name)
    assert (wood.c_radial_per_pct, wood.c_tangential_per_pct) == (radial, tangential)


def test_the_worked_example_of_the_handbook():
    """Printed after Table 13-5: 232 mm (9.15 in) gains 1.7 mm (0.067 in), to 233.7 mm (9.217 in), at 11 %.

    That page was read. That the wood is white fir (C_T 0.00245) and starts at 8 % is from memory; the printed
    results fit nothing else near it.
    """
    fir = find_species("white fir")
    assert fir.c_radial_per_pct == 0.00112  # for the thickness of the same board, printed there
    width_mm = width_at(232.0, 8.0, 11.0, movement_of(fir, 0.0))
    assert width_mm - 232.0 == pytest.approx(1.7, abs=0.05)
    assert (width_mm - 232.0) / 25.4 == pytest.approx(0.067, abs=0.0007)
    assert width_mm == pytest.approx(233.7, abs=0.05)
    assert width_at(9.15, 8.0, 11.0, movement_of(fir, 0.0)) == pytest.approx(9.217, abs=0.0007)


# Eq. 13-3, computed independently from a total shrinkage over a fibre saturation of 30 %.
@pytest.mark.parametrize(
    ("width_mm", "start", "end", "shrinkage_pct", "change_mm"),
    [(450.0, 7.0, 11.0, 7.1, 4.505), (300.0, 10.0, 6.0, 4.8, -1.983), (450.0, 4.0, 16.0, 7.1, 13.618)],
)
def test_width_by_one_slope_is_that_of_equation_13_3(width_mm, start, end, shrinkage_pct, change_mm):
    slope = coefficient_from_shrinkage(shrinkage_pct)
    change = width_at(width_mm, start, end, Movement(slope, slope, 30.0)) - width_mm
    assert change == pytest.approx(change_mm, abs=0.0005)


def test_width_outside_6_to_14_agrees_with_equation_13_3():
    """Cherry from 4 to 16 %: the printed coefficient is that of the shrinkage, rounded to five decimals."""
    change = width_at(450.0, 4.0, 16.0, movement_of(find_species("cherry"), 0.0)) - 450.0
    assert change == pytest.approx(13.618, rel=0.002)
