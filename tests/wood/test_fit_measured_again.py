"""Fits whose members or gaps were measured again, whatever their kind."""

import importlib.util
from pathlib import Path
from typing import Any

import pytest

from model.wood.errors import BadInput


def _examples() -> Any:
    path = Path(__file__).with_name("fit_examples.py")
    spec = importlib.util.spec_from_file_location("paneltide_fit_examples", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


examples = _examples()
MEMBERS, EXAMPLES, make, margins = examples.MEMBERS, examples.EXAMPLES, examples.make, examples.margins
every = pytest.mark.parametrize("example", EXAMPLES)


def test_a_re_measured_gap_counts_from_the_moisture_it_was_measured_at():
    as_built = make("slab door")
    again = make("slab door", mc_pct=10.0)
    # The same gap measured in damper wood leaves more room for swelling.
    assert margins(again, 12.0)["binds"] > margins(as_built, 12.0)["binds"]
    assert margins(again, 10.0)["binds"] == pytest.approx(as_built.gap_mm - as_built.least_gap_mm)


@every
def test_a_member_measured_where_it_was_foreseen_changes_no_margin(example):
    fit = make(example)
    again = fit
    for member in fit.members:
        again = again.re_measured(member.name, float(member.width_at(11.0)), 11.0)
    for mc in (5.0, 11.0, 14.0):
        assert margins(again, mc) == pytest.approx(margins(fit, mc), abs=1e-9)


@every
def test_a_member_measured_wider_than_foreseen_has_lost_room_to_swell(example):
    fit = make(example)
    member = fit.members[0]
    again = fit.re_measured(member.name, float(member.width_at(11.0)) + 0.2, 11.0)
    now = {limit.name: limit for limit in fit.limits(dict.fromkeys(MEMBERS, 11.0))}
    for limit in again.limits(dict.fromkeys(MEMBERS, 11.0)):
        if limit.direction == "swelling":
            assert limit.margin_mm <= now[limit.name].margin_mm
        else:
            assert limit.margin_mm >= now[limit.name].margin_mm
        assert limit.play_mm == now[limit.name].play_mm
    assert any(
        limit.margin_mm != now[limit.name].margin_mm for limit in again.limits(dict.fromkeys(MEMBERS, 11.0))
    )


@pytest.mark.parametrize("example", ["slab door", "framed door", "shiplap", "inset lid", "top on buttons"])
def test_a_gap_measured_again_is_the_gap_from_then_on(example):
    fit = make(example)
    damp = dict.fromkeys(MEMBERS, 9.0)
    foreseen = fit.gap_now(damp)
    assert fit.with_gap(foreseen, damp).limits(damp) == fit.limits(damp)
    again = fit.with_gap(foreseen + 0.3, damp)
    assert again.gap_now(damp) == pytest.approx(foreseen + 0.3)
    before = {limit.name: limit for limit in fit.limits(damp)}
    changes = [limit.margin_mm - before[limit.name].margin_mm for limit in again.limits(damp)]
    assert max(changes) == pytest.approx(0.3)
    assert all(limit.play_mm == before[limit.name].play_mm for limit in again.limits(damp))


def test_a_gap_that_cannot_be_measured_is_told():
    for example in ("panel centred", "mitre", "lid", "top on slots"):
        with pytest.raises(BadInput, match=r"fit\.it must be one with a gap that can be measured"):
            make(example).with_gap(1.0, dict.fromkeys(MEMBERS, 8.0))
    with pytest.raises(BadInput, match=r"fit\.it\.gap must be a length of 0 or more, got -1 mm"):
        make("slab door").with_gap(-1.0, dict.fromkeys(MEMBERS, 8.0))
