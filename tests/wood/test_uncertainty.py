"""Bands: how sources of error are worked through and added."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.wood.errors import BadInput
from model.wood.member import Member
from model.wood.species import find_species
from model.wood.uncertainty import (
    ANGLE,
    HYSTERESIS,
    METER,
    SENSOR,
    SOURCES,
    SPECIES,
    Term,
    combine,
    member_change_band,
    moisture_band,
    width_change_band,
)

CHERRY = find_species("black cherry")
one_reach = st.just(0.0) | st.floats(1e-6, 50.0)
reaches = st.lists(st.tuples(one_reach, one_reach), min_size=1, max_size=6)


@given(st.floats(-100.0, 100.0), reaches)
def test_a_band_is_wider_than_its_widest_source_and_narrower_than_their_sum(central, sizes):
    band = combine(central, [Term(f"source {n}", *size) for n, size in enumerate(sizes)])
    assert band.low <= central <= band.high
    belows, aboves = zip(*sizes, strict=True)
    assert max(aboves) - 1e-9 <= band.high - central <= sum(aboves) + 1e-9
    assert max(belows) - 1e-9 <= central - band.low <= sum(belows) + 1e-9


@given(reaches)
def test_shares_add_up_to_one(sizes):
    band = combine(0.0, [Term(f"source {n}", *size) for n, size in enumerate(sizes)])
    whole = sum(band.share(term.name) for term in band.terms)
    assert whole == pytest.approx(1.0) or all(size == (0.0, 0.0) for size in sizes)
    assert band.share(band.dominant.name) == max(band.share(term.name) for term in band.terms)


def test_without_sources_there_is_no_band():
    band = combine(3.0, [])
    assert (band.low, band.high, band.dominant, band.share("any")) == (3.0, 3.0, None, 0.0)


def test_every_source_says_what_it_rests_on():
    band = width_change_band(CHERRY, 381.0, 0.0, 8.0, 6.2, moisture_to=moisture_band(20.0, 30.0))
    assert {term.name for term in band.terms} == {SPECIES, ANGLE, METER, SENSOR, HYSTERESIS}
    for term in band.terms:
        assert term.source == SOURCES[term.name] != ""


def test_a_better_sensor_or_meter_narrows_the_band():
    coarse, fine = (moisture_band(20.0, 45.0, sensor_rh_pct=accuracy) for accuracy in (5.0, 2.0))
    assert fine.high - fine.low < coarse.high - coarse.low
    by_meter = width_change_band(CHERRY, 381.0, 0.0, 8.0, 6.2)
    by_oven = width_change_band(CHERRY, 381.0, 0.0, 8.0, 6.2, meter_pct=0.1)
    assert by_meter.dominant.name == METER
    assert by_oven.dominant.name != METER
    assert by_oven.high - by_oven.low < by_meter.high - by_meter.low


def test_a_flat_sawn_board_may_only_move_less_by_its_angle():
    drying = width_change_band(CHERRY, 381.0, 0.0, 8.0, 6.0, meter_pct=0.0)
    angle = next(term for term in drying.terms if term.name == ANGLE)
    assert angle.below == 0.0
    assert angle.above > 0.0


def test_figured_wood_has_a_band_of_its_own():
    plain = width_change_band(CHERRY, 381.0, 0.0, 8.0, 12.0, meter_pct=0.0)
    figured = width_change_band(CHERRY, 381.0, 0.0, 8.0, 12.0, meter_pct=0.0, figured=True)
    assert [term.name for term in figured.terms] == [SPECIES]
    # From C_R to 1.15 C_T, about the mean of the two.
    assert figured.low == pytest.approx(381.0 * 0.00126 * 4.0, rel=0.03)
    assert figured.high == pytest.approx(381.0 * 1.15 * 0.00248 * 4.0, rel=0.03)
    assert plain.central > figured.central


def test_no_change_of_moisture_is_uncertain_by_the_meter_alone():
    band = width_change_band(CHERRY, 381.0, 0.0, 8.0, 8.0)
    assert band.central == 0.0
    assert band.share(METER) == pytest.approx(1.0)


def test_a_member_carries_its_own_doubts():
    member = Member("panel", CHERRY, 0.0, 381.0, 8.0, 19.0)
    measured = member_change_band(member, 6.2)
    assumed = member_change_band(Member("panel", CHERRY, 0.0, 381.0, 8.0, 19.0, mc_basis="assumed"), 6.2)
    assert measured.share(METER) < assumed.share(METER)
    by_angle = member_change_band(Member("panel", CHERRY, 12.0, 381.0, 8.0, 19.0), 6.2)
    assert by_angle.share(ANGLE) < measured.share(ANGLE)
    calibrated = member_change_band(member.moving_by(1.1), 6.2)
    assert calibrated.share(SPECIES) < measured.share(SPECIES)
    assert calibrated.central == pytest.approx(1.1 * measured.central, rel=1e-3)


def test_saturated_and_bone_dry_air_have_bands_too():
    assert moisture_band(20.0, 0.0).low == 0.0
    assert math.isfinite(moisture_band(20.0, 100.0).high)


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: Term("a", -1.0, 0.0),
        lambda: Term("a", math.inf, 0.0),
        lambda: moisture_band(20.0, 50.0, sensor_rh_pct=50.0),
        lambda: width_change_band(CHERRY, 381.0, 95.0, 8.0, 6.0),
        lambda: width_change_band(CHERRY, 381.0, 0.0, 8.0, 6.0, meter_pct=-1.0),
    ],
)
def test_nonsense_is_refused(wrong):
    with pytest.raises(BadInput):
        wrong()
