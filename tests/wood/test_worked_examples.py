"""The worked numbers in the docstrings of the science run as they stand."""

import doctest
import importlib

import pytest

# How many each has at least, so that none is lost by a change of form.
MODULES = {
    "units": 6,
    "air.psychrometrics": 7,
    "air.sorption": 3,
    "material.species": 1,
    "material.movement": 2,
    "material.ring_angle": 2,
    "air.condensation": 3,
    "material.cup": 2,
    "climate.indoor": 2,
    "material.instruments": 4,
    "air.placement": 2,
    "material.restraint": 6,
    "air.salts": 4,
    "design.stock": 4,
    "material.species_record": 2,
    "moisture.diffusion": 2,
}


@pytest.mark.parametrize("name", MODULES)
def test_worked_examples_hold(name):
    result = doctest.testmod(importlib.import_module(f"model.wood.{name}"))
    assert result.failed == 0
    assert result.attempted >= MODULES[name]
