"""Board feet, resawing and weight: arithmetic by hand, and refusals."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.wood.design.stock import (
    CLEAN_UP_MM,
    KERF_MM,
    board_feet,
    cubic_metres,
    density_kg_m3,
    resaw,
    specific_gravity_at,
    weight_kg,
)
from model.wood.errors import BadInput
from model.wood.material.species import all_species, find_species

INCH = 25.4
CHERRY = find_species("black cherry")


def test_board_feet_by_hand():
    # 8/4, 9 in by 6 ft: 2 x 9 x 72 / 144 = 9. A thousand board feet are 2.36 m3.
    assert board_feet(2 * INCH, 9 * INCH, 72 * INCH) == pytest.approx(9.0)
    assert cubic_metres(INCH, 12 * INCH, 12 * INCH, 1000) == pytest.approx(2.3597, abs=1e-4)
    assert board_feet(INCH, 6 * INCH, 96 * INCH, 0) == 0.0


def test_three_leaves_of_eight_quarter():
    # 2 in: three leaves of 1/2 cost 3 (1/2 + 3/32) + 2/16 = 1.906.
    found = resaw(2 * INCH, 7 * INCH, INCH / 2)
    assert found.leaves == 3
    assert found.leaf_width_mm == pytest.approx((7 - 1 / 8) * INCH)
    assert resaw(1.9 * INCH, 7 * INCH, INCH / 2).leaves == 2


def test_too_thin_a_board_gives_nothing():
    assert resaw(6.0, 150.0, 6.0).leaves == 0
    assert resaw(9.0, 150.0, 6.0).leaves == 1


@given(st.floats(5.0, 100.0), st.floats(2.0, 30.0))
def test_nothing_is_made_from_nothing(board, leaf):
    found = resaw(board, 150.0, leaf)
    cost = found.leaves * (leaf + CLEAN_UP_MM) + max(found.leaves - 1, 0) * KERF_MM
    assert cost <= board + 0.002
    assert cost + leaf + CLEAN_UP_MM + KERF_MM > board


def test_a_door_weighs_what_its_volume_does():
    # 19 x 400 x 600 mm of cherry at 12 %: 0.00456 m3 x 560 kg/m3.
    assert weight_kg(CHERRY, 12.0, 19.0, 400.0, 600.0) == pytest.approx(2.554, abs=0.001)
    assert weight_kg(CHERRY, 12.0, 19.0, 400.0, 600.0, 4) == pytest.approx(4 * 2.554, abs=0.004)


def test_a_board_that_dries_loses_its_water_and_no_wood():
    # One board followed: its volume shrinks as its specific gravity rises, dry mass stays.
    wet, dry = 20.0, 6.0
    volume_ratio = specific_gravity_at(CHERRY, wet) / specific_gravity_at(CHERRY, dry)
    mass_ratio = volume_ratio * density_kg_m3(CHERRY, dry) / density_kg_m3(CHERRY, wet)
    assert mass_ratio == pytest.approx(1.06 / 1.20)


def test_every_wood_is_heavier_when_wetter():
    for wood in all_species():
        densities = [density_kg_m3(wood, mc) for mc in (0.0, 6.0, 12.0, 25.0, 40.0, 80.0)]
        assert densities == sorted(densities), f"{wood.name}: {densities}"


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: board_feet(0.0, 100.0, 1000.0),
        lambda: board_feet(25.0, 100.0, float("nan")),
        lambda: cubic_metres(25.0, 100.0, 1000.0, -1),
        lambda: resaw(25.0, 2.0, 6.0),
        lambda: density_kg_m3(CHERRY, -5.0),
    ],
)
def test_nonsense_is_refused(wrong):
    with pytest.raises(BadInput):
        wrong()
