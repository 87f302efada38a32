"""One face finished and the other bare: the maker is told that it cups, by how much, and what to do."""

from dataclasses import replace

import numpy as np
import pytest

from model.wood.climate.indoor import DEFAULT_SCHEME, indoor_air, scheme_named
from model.wood.climate.outdoor import temperate
from model.wood.design.cautions import cautions
from model.wood.design.check import check_document
from model.wood.design.cutting import cut_document
from model.wood.material.member import Finish
from model.wood.material.one_face import cup_mm
from model.wood.moisture import solver as moisture
from model.wood.piece import moisture_batch, read_piece
from model.wood.reason import Reason
from tests.said import said

DESK = """
[piece]
name = "Writing desk"
[part.desk_top]
species = "hard maple"
cut = "flat-sawn"
width = "24in"
mc_pct = 8.0
thickness = "7/8in"
role = "top"
finish = { face = "oil-modified urethane varnish", coats = 3, back = "BACK" }
[fit.desk_top]
kind = "panel-in-groove"
part = "desk_top"
held = "centre"
sight_width = "23 1/2in"
groove_depth = "1/2in"
finished = "before assembly"
"""
ONE = read_piece(DESK.replace("BACK", "none"))
BOTH = read_piece(DESK.replace("BACK", "oil-modified urethane varnish"))


def test_a_top_varnished_above_and_bare_below_is_said_to_cup_and_by_how_much() -> None:
    says = said(Reason.of(*check_document(ONE)["cautions"]))
    assert says.startswith(
        "One face of the top is finished and the other bare: in a usual year it cups by up to "
    )
    assert says.endswith("Finish both faces alike.")
    assert "desk_top" not in says
    # To the next 0.1 mm above what the solver finds.
    size_mm = float(says.split("up to ")[1].split(" mm")[0])
    assert cup_mm(ONE.members["desk_top"]) <= size_mm < cup_mm(ONE.members["desk_top"]) + 0.1


def test_the_cut_card_says_it_too() -> None:
    document = cut_document(ONE, "desk_top", 8.0)
    assert "finished and the other bare" in said(Reason.of(*document["cautions"]))
    assert cut_document(BOTH, "desk_top", 8.0)["cautions"] == []


@pytest.mark.parametrize("back", ["none", "oil-modified urethane varnish"])
def test_faces_that_are_alike_cup_by_nothing(back: str) -> None:
    top = BOTH.members["desk_top"]
    alike = replace(top, finish=Finish(back, 0 if back == "none" else 3, back, 0 if back == "none" else 3))
    assert cup_mm(alike) == 0.0
    assert cautions(BOTH.members.values()) == []


def test_a_narrow_front_cups_by_too_little_to_see() -> None:
    """Cup goes with the square of the width: a 4 in front of the same board by a 36th of the top's."""
    top = ONE.members["desk_top"]
    front = replace(top, width_mm=101.6)
    assert cup_mm(front) == pytest.approx(cup_mm(top) / 36.0)
    assert cautions([front]) == []


def test_the_size_is_what_a_strip_bent_by_its_own_strain_shows() -> None:
    """By hand from the profiles of the year: least squares of strain over thickness is the curvature."""
    top = ONE.members["desk_top"]
    batch = moisture_batch([top])
    outdoors = temperate().daily
    air = indoor_air(outdoors["temperature_c"], outdoors["rh_pct"], scheme_named(DEFAULT_SCHEME))
    temperature_c, rh_pct = (np.asarray(one)[:, None] for one in (air.temperature_c, air.rh_pct))
    faces = np.zeros(1, dtype=np.intp)
    run = moisture.advance(
        moisture.uniform_profile([8.0]), batch, temperature_c, rh_pct, faces, faces, 86400.0
    )
    worst = 0.0
    for month in range(12):
        rows = slice(30 * month, 30 * (month + 1))
        run = moisture.advance(run.profile, batch, temperature_c[rows], rh_pct[rows], faces, faces, 86400.0)
        depth_mm = moisture.CENTRES * top.thickness_mm
        weights = np.sqrt(moisture.WIDTHS)
        slope = np.polyfit(depth_mm, run.profile[0] * top.movement.coefficient_per_pct, 1, w=weights)[0]
        worst = max(worst, abs(slope) * top.width_mm**2 / 8.0)
    # Looked at once a month, the worst of a smooth year is missed by little.
    assert worst <= cup_mm(top) * 1.02
    assert worst == pytest.approx(cup_mm(top), rel=0.1)
