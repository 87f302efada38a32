"""One room, several climates."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.wood.air.placement import spots_in
from model.wood.air.psychrometrics import dew_point
from model.wood.errors import BadInput
from model.wood.material.cup import curvature_of_faces, sagitta_of_curvature
from model.wood.material.movement import movement_of
from model.wood.material.species import find_species

# Temperatures in a heated room in winter (common practice, no source).
WINTER = {"radiator": 32.0, "sun": 45.0, "wall": 14.0, "corner": 10.0}
FLAT_CHERRY = movement_of(find_species("black cherry"), 0.0)


@given(st.floats(10.0, 30.0), st.floats(5.0, 95.0), st.floats(-20.0, 60.0))
def test_all_spots_share_one_dew_point_until_water_condenses(room_c, rh, there_c):
    room = spots_in(room_c, rh, {"there": there_c})
    spot = room.spots[0]
    if spot.condenses:
        assert spot.rh_pct == 100.0
        assert there_c <= room.dew_point_c + 0.01
    else:
        assert dew_point(there_c, spot.rh_pct) == pytest.approx(room.dew_point_c, abs=1e-6)


def test_warmer_is_drier_and_colder_is_damper():
    by_warmth = sorted(spots_in(21.0, 35.0, WINTER).spots, key=lambda spot: spot.temperature_c)
    humidities = [spot.rh_pct for spot in by_warmth]
    assert humidities == sorted(humidities, reverse=True)
    assert [spot.emc_pct for spot in by_warmth] == sorted([spot.emc_pct for spot in by_warmth], reverse=True)


def test_mould_and_water_are_said():
    corner, cold_glass = spots_in(21.0, 45.0, {"corner": 11.0, "glass": 5.0}).spots
    assert (corner.mould, corner.condenses) == (True, False)
    assert (cold_glass.mould, cold_glass.condenses) == (True, True)


def test_a_back_on_a_cold_wall_bulges_to_the_wall():
    room = spots_in(21.0, 35.0, WINTER)
    face, back = room.room, room.spots[2]
    bent = curvature_of_faces(face.emc_pct, back.emc_pct, 16.0, FLAT_CHERRY)
    assert bent < 0.0
    assert back.emc_pct > face.emc_pct
    # kappa w^2/8 by hand: C (M_face - M_back) / h.
    strain = 0.00248 * (face.emc_pct - back.emc_pct)
    assert sagitta_of_curvature(bent, 368.0) == pytest.approx(strain / 16.0 * 368.0**2 / 8.0, rel=0.01)


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: spots_in(21.0, 0.0, WINTER),
        lambda: spots_in(21.0, 120.0, WINTER),
        lambda: spots_in(float("nan"), 50.0, WINTER),
        lambda: spots_in(21.0, 50.0, {"in the oven": 200.0}),
        lambda: spots_in(21.0, 50.0, {"nowhere": float("nan")}),
    ],
)
def test_nonsense_is_refused(wrong):
    with pytest.raises(BadInput):
        wrong()


def test_a_spot_out_of_range_is_named():
    with pytest.raises(BadInput, match="in the oven"):
        spots_in(21.0, 50.0, {"in the oven": 200.0})
