"""The worked numbers in the docstrings of the science run as they stand."""

import doctest
import importlib

import pytest

# How many each has at least, so that none is lost by a change of form.
MODULES = {"units": 4, "air": 9, "sorption": 4, "species": 1, "movement": 7, "ring_angle": 4}


@pytest.mark.parametrize("name", MODULES)
def test_worked_examples_hold(name):
    result = doctest.testmod(importlib.import_module(f"model.wood.{name}"))
    assert result.failed == 0
    assert result.attempted >= MODULES[name]
