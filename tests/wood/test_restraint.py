"""Split and check risk: bands, unknown strength, directions."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.wood.errors import BadInput
from model.wood.material.restraint import (
    load_duration_share,
    modulus_across,
    split_risk,
)
from model.wood.material.species import all_species, find_species

OAK = find_species("white oak")
ORDER = ["none", "unlikely", "possible", "likely"]
DAY_S = 86_400.0


def test_drier_is_never_safer():
    found = [
        ORDER.index(split_risk(OAK, 0.0, 10.0, now).likelihood) for now in (12.0, 10.0, 9.7, 9.0, 8.0, 5.0)
    ]
    assert found == sorted(found)
    assert found[0] == 0
    assert found[-1] == 3


def test_wetting_crushes_and_does_not_split():
    risk = split_risk(OAK, 0.0, 6.0, 10.0)
    assert risk.likelihood == "none"
    assert risk.strain < 0.0


def test_quartered_is_safer_than_flat_sawn():
    flat, quartered = (split_risk(OAK, angle, 9.0, 8.0) for angle in (0.0, 90.0))
    assert quartered.strain < flat.strain


@pytest.mark.parametrize("lacking", [{"tension_perp_kpa": None}, {"et_el": None}, {"moe_mpa": None}])
def test_unknown_strength_leaves_the_strain(lacking):
    risk = split_risk(replace(OAK, **lacking), 0.0, 9.0, 6.0)
    assert risk.of_strength is None
    assert risk.likelihood == "likely"


def test_every_wood_gets_an_answer():
    for wood in all_species():
        for angle in (0.0, 45.0, 90.0):
            assert split_risk(wood, angle, 9.0, 6.0).likelihood in ORDER[1:]


def test_stiffness_between_the_cuts_lies_between():
    flat, rift, quartered = (modulus_across(OAK, angle) for angle in (0.0, 45.0, 90.0))
    assert flat < rift < quartered
    assert rift == pytest.approx(0.5 * (flat + quartered))


@given(st.floats(4.0, 20.0), st.floats(4.0, 20.0), st.floats(0.0, 90.0))
def test_bands_are_in_order(held, now, angle):
    risk = split_risk(OAK, angle, held, now)
    assert risk.stress_low_mpa <= risk.stress_high_mpa
    assert risk.strength_low_mpa < risk.strength_high_mpa
    kindest, harshest = risk.of_strength
    assert kindest <= harshest or risk.strain < 0.0


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: split_risk(OAK, 91.0, 9.0, 6.0),
        lambda: split_risk(OAK, 0.0, -1.0, 6.0),
        lambda: split_risk(OAK, 0.0, float("nan"), 6.0),
        lambda: load_duration_share(-5.0),
    ],
)
def test_nonsense_is_refused(wrong):
    with pytest.raises(BadInput):
        wrong()
