"""Cup against values computed independently (mpmath, 30 digits) from the equations named."""

import math
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from scipy.optimize import brentq

from model.wood.material.cup import (
    curvature_of_faces,
    curvature_of_moment,
    sagitta_of_curvature,
)
from model.wood.material.movement import Movement
from model.wood.moisture.layers import CELLS, WIDTHS
from model.wood.moisture.solver import Batch, profile_moment

# Wood Handbook Table 13-5, tangential.
CHERRY = Movement(0.00248, 0.00248, 30.0)


def half_of_a_board(profile_of, thickness_mm=19.0):
    """Lopsidedness [% per mm] of a profile given by its mean over any stretch of the depth, face to back."""
    edges = np.concatenate([[0.0], np.cumsum(WIDTHS)])
    means = [profile_of(a, b) for a, b in pairwise(edges.tolist())]
    one = np.array([1.0])
    batch = Batch(one * thickness_mm, one * 0.5, one * 500.0, one * np.nan, one * np.nan)
    return float(profile_moment(np.array([means]), batch)[0])


def test_straight_gradient():
    # kappa = C dM / h: cherry, 1 % across 19 mm -> 0.130526 1/m; 400 mm wide -> 2.6105 mm.
    for curvature in (
        curvature_of_moment(half_of_a_board(lambda a, b: 8.0 + 1.0 - (a + b) / 2), CHERRY),
        curvature_of_faces(9.0, 8.0, 19.0, CHERRY),
    ):
        assert curvature == pytest.approx(0.130526, abs=1e-6)
        assert sagitta_of_curvature(curvature, 400.0) == pytest.approx(2.6105, abs=1e-4)


def test_half_the_thickness_wetter():
    # kappa = 1.5 C dM / h, Timoshenko's bimetal formula for equal layers: 0.195789 1/m, 3.9158 mm at 400. The
    # production grid weighs its layers so that a straight profile is exact, which puts 0.6 % on a step.
    moment = half_of_a_board(lambda a, b: 9.0 if b <= 0.5 + 1e-9 else 8.0)
    curvature = curvature_of_moment(moment, CHERRY)
    assert curvature == pytest.approx(0.195789, rel=0.01)
    assert curvature_of_moment(1.5 / 19.0, CHERRY) == pytest.approx(0.195789, abs=1e-6)
    assert sagitta_of_curvature(0.195789, 400.0) == pytest.approx(3.9158, abs=1e-4)


@cache
def roots(biot: float, count: int = 60) -> list[float]:
    return [
        brentq(
            lambda b: b * math.sin(b) - biot * math.cos(b),
            n * math.pi + 1e-12,
            n * math.pi + math.pi / 2 - 1e-12,
        )
        for n in range(count)
    ]


# One face sealed, the other exposed to a step: moments computed independently from the series solution of
# Newman 1931 (plane sheet with surface evaporation), kappa h / (C dM); it is the profile that the series
# gives.
@pytest.mark.parametrize(
    ("biot", "fourier", "moment"),
    [
        (2.0, 0.1, 0.406408),
        (2.0, 0.3, 0.435385),
        (2.0, 1.0, 0.198218),
        (20.0, 0.05, 0.776089),
        (20.0, 0.1, 0.864086),
        (0.5, 0.5, 0.178323),
    ],
)
def test_step_on_one_face(biot, fourier, moment):
    def mean_of(a: float, b: float) -> float:
        # The exposed face is at the depth 0, the sealed one at 1; cos runs from the sealed face.
        value = 1.0
        for beta in roots(biot):
            size = 2.0 * biot * math.exp(-beta * beta * fourier)
            size /= (beta * beta + biot * biot + biot) * math.cos(beta)
            value -= size * (math.sin(beta * (1 - a)) - math.sin(beta * (1 - b))) / (beta * (b - a))
        return value

    # On sixteen layers, the production grid; 1 % is what so few layers can carry.
    assert CELLS == 16
    found = half_of_a_board(mean_of, thickness_mm=1.0)
    assert found == pytest.approx(moment, rel=0.01)
    # On a grid of 1,000 layers the moment itself, by the definition in `curvature_of_moment`.
    edges = np.linspace(0.0, 1.0, 1001)
    means = np.array([mean_of(a, b) for a, b in pairwise(edges.tolist())])
    depth = (edges[:-1] + edges[1:]) / 2
    exact = 12.0 * np.mean(means * (0.5 - depth))
    assert exact == pytest.approx(moment, abs=5e-6)
