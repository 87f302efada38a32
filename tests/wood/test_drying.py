"""A board in a stack dries slower than one alone."""

import math

import numpy as np

from model.wood.material.species import find_species
from model.wood.moisture.diffusion import STICKERED_PERMEANCE_KG_M2_S_PA
from model.wood.moisture.solver import Batch, advance, uniform_profile

OAK = find_species("red oak")


def test_a_stack_is_slower_than_a_lone_board():
    gravity = OAK.specific_gravity_12pct
    days = {}
    for name, film in (("lone", math.nan), ("stack", STICKERED_PERMEANCE_KG_M2_S_PA)):
        batch = Batch(*(np.array([value]) for value in (25.4, gravity, 1000.0 * gravity, film, film)))
        air = np.full((60 * 24, 1), 20.0), np.full((60 * 24, 1), 40.0)
        means = advance(uniform_profile([11.0]), batch, *air, 0, 0).mc_mean_pct[:, 0]
        days[name] = np.argmax(np.abs(means - 7.72) <= 1.0) / 24.0
    assert days["stack"] > 1.3 * days["lone"]
