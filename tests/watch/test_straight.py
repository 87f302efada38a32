"""Margins as straight lines: the same as the fit's own arithmetic, and only where it has no other bends."""

from dataclasses import replace

import numpy as np
import pytest

from model.watch.state import piecewise_linear as straight
from model.watch.state.piecewise_linear import straight_of
from model.wood.piece import read_piece

PIECE = """
[piece]
name = "Sideboard"
[part.panel]
species = "black walnut"
cut = "flat-sawn"
width = "300mm"
mc_pct = 8.0
thickness = "16mm"
[part.stile]
species = "hard maple"
cut = "quarter-sawn"
width = "57mm"
mc_pct = 7.0
thickness = "19mm"
[part.rail]
species = "white ash"
cut = "rift"
width = "64mm"
mc_pct = 7.5
thickness = "19mm"
[fit.panel]
kind = "panel-in-groove"
part = "panel"
held = "one-edge"
sight_width = "286mm"
groove_depth = "9mm"
profile = "raised"
shoulder_gap = "1.2mm"
bevel_deg = 10
groove_slack = "0.3mm"
tongue_thickness = "6mm"
finished = "after assembly"
[fit.door]
kind = "front-in-opening"
parts = ["stile", "stile", "rail"]
widens = ["panel"]
construction = "frame"
gap = "1.6mm"
[fit.top]
kind = "top-on-fasteners"
part = "panel"
button_gap = "2mm"
engagement = "9mm"
groove_depth = "12mm"
"""

MC = np.concatenate([np.linspace(0.0, 45.0, 181), [5.999, 6.001, 13.99, 14.01, 27.3, 35.0, np.nan]])


@pytest.fixture(scope="module")
def fits():
    return read_piece(PIECE).fits


@pytest.mark.parametrize("name", ["panel", "door", "top"])
def test_the_margins_are_those_of_the_fit(fits, name):
    fit = fits[name]
    lines = straight_of(fit)
    assert lines is not None
    rng = np.random.default_rng(3)
    mc = {member.name: rng.permutation(MC) for member in fit.members}
    settling = rng.permutation(MC)
    now, nearer, settled = lines.margins(mc, settling, 0.3)
    for row, limit in enumerate(fit.limits(mc)):
        assert limit.name == lines.limits[row].name
        np.testing.assert_allclose(now[row], limit.margin_mm, atol=1e-9)
        away = 0.3 if limit.direction == "swelling" else -0.3
        there = fit.limits({name: np.maximum(values + away, 0.0) for name, values in mc.items()})[row]
        np.testing.assert_allclose(nearer[row], there.margin_mm, atol=1e-9)
        there = fit.limits(dict.fromkeys(mc, settling))[row]
        np.testing.assert_allclose(settled[row], there.margin_mm, atol=1e-9)


def test_an_hour_alone_is_the_same_as_among_others(fits):
    lines = straight_of(fits["door"])
    mc = {member.name: MC[k : k + 100].copy() for k, member in enumerate(fits["door"].members)}
    together = lines.margins(mc, MC[:100], 0.3)
    for hour in range(100):
        one = {name: values[hour : hour + 1] for name, values in mc.items()}
        alone = lines.margins(one, MC[hour : hour + 1], 0.3)
        for all_, own in zip(together, alone, strict=True):
            np.testing.assert_array_equal(all_[:, hour : hour + 1], own)


class _Bent:
    """A fit that bends where no member's movement does: two limits in one."""

    def __init__(self, fit):
        self._fit, self.members, self.references = fit, fit.members, fit.references

    def limits(self, mc):
        own = self._fit.limits(mc)
        least = np.minimum(own[0].margin_mm, 1.1 * np.asarray(own[0].margin_mm) - 0.05)
        return [replace(own[0], margin_mm=least), *own[1:]]


def test_a_fit_with_another_bend_is_left_to_its_own_arithmetic(fits):
    assert straight_of(_Bent(fits["panel"])) is None
    assert straight_of(_Bent(fits["door"])) is None


def test_a_fit_of_many_members_is_left_to_its_own_arithmetic(fits, monkeypatch):
    monkeypatch.setattr(straight, "MOST_MEMBERS", 1)
    assert straight_of(fits["door"]) is None
    assert straight_of(fits["top"]) is not None
