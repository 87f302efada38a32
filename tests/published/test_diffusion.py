"""Diffusion across the grain: Siau's equation at figures computed independently, and what is known of wood.

Siau 1984, simplified form. The constants are from memory of the book, unverified; the figures below were
computed independently from the equation (tolerance 0.2 %), so they hold the code to the equation only. The
ratios further down were read in the papers they name and hold the equation to wood.
"""

import numpy as np
import pytest

from model.wood.errors import OutsideValidity
from model.wood.moisture.diffusion import cell_wall_diffusion, permeance_in_series, transverse_diffusion

SIAU = [  # specific gravity, D at 8, 6 and 12 % MC [m2/s], all at 21 °C
    (0.35, 7.156e-11, 5.973e-11, 1.0315e-10),
    (0.43, 4.651e-11, 3.884e-11, 6.694e-11),
    (0.50, 3.379e-11, 2.824e-11, 4.856e-11),
    (0.55, 2.755e-11, 2.304e-11, 3.956e-11),
    (0.63, 2.052e-11, 1.718e-11, 2.941e-11),
    (0.68, 1.735e-11, 1.453e-11, 2.482e-11),
]


@pytest.mark.parametrize(("gravity", "at_8", "at_6", "at_12"), SIAU)
def test_transverse_diffusion_at_independent_figures(gravity, at_8, at_6, at_12):
    found = transverse_diffusion(21.0, np.array([8.0, 6.0, 12.0]), gravity)
    assert found == pytest.approx([at_8, at_6, at_12], rel=2e-3)


@pytest.mark.parametrize(
    ("temperature_c", "d"), [(21.0, 2.63078e-12), (30.0, 4.08162e-12), (10.0, 1.48075e-12)]
)
def test_cell_wall_diffusion_at_independent_figures(temperature_c, d):
    assert cell_wall_diffusion(temperature_c, 8.0) == pytest.approx(d, rel=2e-3)


def test_warmth_and_moisture_raise_it_as_computed_independently():
    assert cell_wall_diffusion(31.0, 8.0) / cell_wall_diffusion(21.0, 8.0) == pytest.approx(1.63, abs=0.01)
    assert cell_wall_diffusion(21.0, 12.0) / cell_wall_diffusion(21.0, 8.0) == pytest.approx(1.61, abs=0.01)
    risen = transverse_diffusion(21.0, 12.0, 0.50) / transverse_diffusion(21.0, 8.0, 0.50)
    assert risen == pytest.approx(1.44, abs=0.01)


def test_spruce_passes_two_to_three_times_what_beech_does():
    # Sonderegger, Vecellio, Zwicker and Niemz, Holzforschung 65 (2011) 819: 2 to 3 times.
    ratio = transverse_diffusion(20.0, 12.0, 0.43) / transverse_diffusion(20.0, 12.0, 0.68)
    assert 2.0 < ratio < 3.0


def test_pine_test_wood_at_an_independent_figure():
    # G = 0.40 at 26.7 °C and 13 % MC: 1.118e-10 m2/s, computed independently from Siau's form.
    assert transverse_diffusion(26.7, 13.0, 0.40) == pytest.approx(1.118e-10, rel=5e-3)


def test_above_fibre_saturation_the_last_value_is_kept():
    assert transverse_diffusion(20.0, 80.0, 0.5) == transverse_diffusion(20.0, 30.0, 0.5)
    assert transverse_diffusion(20.0, -0.5, 0.5) == transverse_diffusion(20.0, 0.0, 0.5)


def test_the_heaviest_woods_stay_finite():
    # Lignum vitae, specific gravity about 1.05: the equation alone would leave no lumen at 30 %.
    found = transverse_diffusion(20.0, np.linspace(0.0, 30.0, 31), 1.1)
    assert np.all(np.isfinite(found))
    assert np.all(np.diff(found) > 0.0)


def test_impossible_specific_gravity_is_refused():
    with pytest.raises(OutsideValidity, match=r"specific_gravity must lie in 0\.1 to 1\.4, got 3\.0"):
        transverse_diffusion(20.0, 8.0, 3.0)


def test_resistances_add():
    # 1/W = 1/W_air + 1/W_film: a film like the air halves what passes, none leaves the air, a seal nothing.
    films = np.array([2e-8, np.nan, 0.0, 1e-12])
    assert permeance_in_series(films) == pytest.approx([1e-8, 2e-8, 0.0, 1e-12], rel=1e-3)
