"""The worked numbers in the docstrings of the science run as they stand."""

import doctest
import importlib

import pytest

MODULES = [
    "units",
    "air.psychrometrics",
    "air.sorption",
    "material.species",
    "material.movement",
    "material.ring_angle",
    "air.condensation",
    "material.cup",
    "climate.indoor",
    "material.instruments",
    "air.placement",
    "material.restraint",
    "air.salts",
    "design.stock",
    "material.species_record",
    "moisture.diffusion",
]


@pytest.mark.parametrize("name", MODULES)
def test_worked_examples_hold(name):
    result = doctest.testmod(importlib.import_module(f"model.wood.{name}"))
    assert result.failed == 0
    assert result.attempted > 0
