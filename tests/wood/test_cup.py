"""Cup by unequal faces: signs and gaps."""

import numpy as np

from model.wood.material.cup import curvature_of_faces, curvature_of_moment, sagitta_of_curvature
from model.wood.material.movement import movement_of
from model.wood.material.species import find_species

FLAT = movement_of(find_species("black cherry"), 0.0)


def test_the_wetter_face_is_the_convex_one():
    assert curvature_of_faces(10.0, 7.0, 19.0, FLAT) > 0.0
    assert curvature_of_faces(7.0, 10.0, 19.0, FLAT) < 0.0
    assert curvature_of_faces(8.0, 8.0, 19.0, FLAT) == 0.0


def test_curvature_takes_arrays_and_keeps_gaps():
    curvature = curvature_of_moment(np.array([0.1, np.nan, -0.1]), FLAT)
    assert np.isnan(curvature).tolist() == [False, True, False]
    bent = sagitta_of_curvature(curvature, 300.0)
    assert bent[0] == -bent[2] > 0.0
