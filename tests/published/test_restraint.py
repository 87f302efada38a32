"""Restrained movement against published values and independent computations.

Bending moduli and strengths are those of the Wood Handbook tables as carried in the project's data (read in
a copy); ratios of stiffness that are remembered only (cherry, walnut) are given here as inputs, so
that the equation is tested and not the memory.
"""

from dataclasses import replace

import pytest

from model.wood.material.restraint import (
    load_duration_share,
    modulus_across,
    split_risk,
)
from model.wood.material.species import find_species

DAY_S = 86_400.0


def wood(name, ratio, along_mpa, strength_kpa, coefficient):
    return replace(
        find_species(name),
        et_el=ratio,
        moe_mpa=along_mpa,
        tension_perp_kpa=strength_kpa,
        c_tangential_per_pct=coefficient,
    )


# E_T = ratio x 1.1 x E_L; stress per point = E_T C; drop = strength over that. Computed independently from
# the inputs printed here, tolerance 0.5 %.
@pytest.mark.parametrize(
    ("made_of", "modulus_mpa", "per_point_mpa", "drop"),
    [
        (wood("black cherry", 0.086, 10300.0, 3900.0, 0.00248), 974.4, 2.416, 1.61),
        (wood("red oak", 0.082, 12500.0, 5500.0, 0.00369), 1127.5, 4.160, 1.32),
        (wood("black walnut", 0.056, 11600.0, 4800.0, 0.00274), 714.6, 1.958, 2.45),
    ],
    ids=["cherry", "red oak", "walnut"],
)
def test_full_restraint(made_of, modulus_mpa, per_point_mpa, drop):
    assert modulus_across(made_of) == pytest.approx(modulus_mpa, rel=0.005)
    one_point = split_risk(made_of, 0.0, 10.0, 9.0).stress_high_mpa
    assert one_point == pytest.approx(per_point_mpa, rel=0.005)
    assert made_of.tension_perp_kpa / 1000.0 / one_point == pytest.approx(drop, rel=0.005)


def test_cherry_glued_all_round():
    # 9 to 6 %: elastic 7.25 MPa against 3.9; with 0.6 of it left 4.35, which still fails.
    cherry = wood("black cherry", 0.086, 10300.0, 3900.0, 0.00248)
    risk = split_risk(cherry, 0.0, 9.0, 6.0)
    assert risk.stress_high_mpa == pytest.approx(7.25, rel=0.005)
    assert 0.6 * risk.stress_high_mpa == pytest.approx(4.35, rel=0.005)
    assert risk.stress_low_mpa < 4.35 < risk.stress_high_mpa
    assert risk.likelihood == "likely"


def test_strain_limit_of_cherry():
    # Restrained yield strain about 0.004 (Mecklenburg, Tumosa and Erhardt 1998, from memory): 0.004 /
    # 0.00248.
    at_the_limit = split_risk(find_species("black cherry"), 0.0, 10.0, 10.0 - 1.61)
    assert at_the_limit.of_strain_limit == pytest.approx(1.0, abs=0.003)


# SL = 18.3 + 108.4 t^-0.04635 (Wood 1951), computed independently; tolerance 0.05 % of strength.
@pytest.mark.parametrize(
    ("duration_s", "percent"),
    [(450.0, 99.97), (30 * DAY_S, 72.97), (365.25 * DAY_S, 66.99), (3652.5 * DAY_S, 62.06)],
)
def test_load_duration(duration_s, percent):
    assert 100.0 * load_duration_share(duration_s) == pytest.approx(percent, abs=0.05)


def test_solid_side_screwed_tight_at_both_ends():
    # Trade's acceptance case: flat-sawn white oak, 2 points, strain 0.73 %; wood takes some 0.4 to 0.5 %.
    risk = split_risk(find_species("white oak"), 0.0, 8.0, 6.0)
    assert 100.0 * risk.strain == pytest.approx(0.73, abs=0.01)
    assert risk.likelihood == "likely"
    assert 100.0 * risk.strain_limit == pytest.approx(0.4)
