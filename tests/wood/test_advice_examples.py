"""The worked numbers in the docstrings of indoor air, cup, restraint, stock and so on run as they stand."""

import doctest
import importlib

import pytest

# How many each has at least, so that none is lost by a change of form.
MODULES = {
    "condensation": 4,
    "cup": 9,
    "drying": 1,
    "indoors": 2,
    "instruments": 4,
    "placement": 2,
    "restraint": 6,
    "salts": 4,
    "slab": 1,
    "stock": 5,
    "uncertainty": 4,
}


@pytest.mark.parametrize("name", MODULES)
def test_worked_examples_hold(name):
    result = doctest.testmod(importlib.import_module(f"model.wood.{name}"))
    assert result.failed == 0
    assert result.attempted >= MODULES[name]
