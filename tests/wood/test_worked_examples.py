"""The worked numbers in the docstrings of the science run as they stand."""

import doctest
import importlib

import pytest

# How many each has at least, so that none is lost by a change of form.
MODULES = {
    "units": 6,
    "air": 7,
    "sorption": 3,
    "species": 1,
    "movement": 2,
    "ring_angle": 2,
    "condensation": 3,
    "cup": 2,
    "indoors": 2,
    "instruments": 4,
    "placement": 2,
    "restraint": 6,
    "salts": 4,
    "stock": 4,
    "species_record": 2,
    "diffusion": 2,
}


@pytest.mark.parametrize("name", MODULES)
def test_worked_examples_hold(name):
    result = doctest.testmod(importlib.import_module(f"model.wood.{name}"))
    assert result.failed == 0
    assert result.attempted >= MODULES[name]
