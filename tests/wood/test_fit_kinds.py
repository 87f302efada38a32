"""What every kind of fit keeps to, whatever it is: shape, direction, registration, documents, drawing."""

# ruff: noqa: E501  (an example is read best on one line)

import dataclasses
import importlib.util
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import model.wood.fits as fits_package
from model.wood.errors import BadInput
from model.wood.fits import fit_from_document, kind_named, kinds


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


def test_every_kind_of_fit_has_an_example():
    assert {table["kind"] for table in EXAMPLES.values()} == set(kinds())


def test_a_kind_is_registered_by_being_in_the_folder():
    folder = Path(fits_package.__file__).parent
    shared = {"__init__", "base", "drawing", "fields", "limit", "seen", "slot", "__pycache__"}
    named = {kind.replace("-", "_") for kind in kinds()}
    assert {path.stem for path in folder.iterdir()} - shared == named


@pytest.mark.parametrize(("word", "kind"), [("Miter", "mitre"), ("panel in groove", "panel-in-groove")])
def test_a_kind_answers_to_the_other_spelling(word, kind):
    assert kind_named(word).kind == kind


@every
def test_limits_are_named_once_and_say_what_is_seen(example):
    limits = make(example).limits(make(example).references())
    names = [limit.name for limit in limits]
    assert len(set(names)) == len(names) > 0
    for limit in limits:
        assert limit.direction in ("swelling", "shrinking")
        assert limit.severity in ("shows", "harms")
        assert all(part.startswith("the ") for part in limit.parts)


@every
def test_play_is_the_margin_as_built(example):
    fit = make(example)
    for limit in fit.limits(fit.references()):
        assert limit.margin_mm == pytest.approx(limit.play_mm, abs=1e-12)


@every
def test_a_series_of_moistures_gives_what_each_gives_alone(example):
    fit = make(example)
    series = np.linspace(2.0, 20.0, 24).reshape(4, 6)
    over = margins(fit, series)
    for name, margin in over.items():
        assert margin.shape == series.shape
        alone = [margins(fit, float(mc))[name] for mc in series.ravel()]
        np.testing.assert_allclose(margin.ravel(), alone, rtol=0, atol=1e-12)


@every
def test_gaps_in_a_series_stay_gaps(example):
    over = margins(make(example), np.array([8.0, np.nan, 9.0]))
    for margin in over.values():
        assert np.isnan(margin).tolist() == [False, True, False]


@every
def test_margins_fall_in_their_own_direction(example):
    fit = make(example)
    grid = np.linspace(1.0, 29.0, 113)
    for limit in fit.limits(dict.fromkeys(MEMBERS, grid)):
        steps = np.diff(limit.margin_mm)
        assert (steps < 0).all() if limit.direction == "swelling" else (steps > 0).all()


@settings(max_examples=40)
@given(example=st.sampled_from(sorted(EXAMPLES)), one=st.floats(1.0, 29.0), other=st.floats(1.0, 29.0))
def test_what_one_direction_gains_the_other_loses(example, one, other):
    fit = make(example)
    before, after = (
        {limit.name: limit for limit in fit.limits(dict.fromkeys(MEMBERS, mc))} for mc in (one, other)
    )
    for name, limit in after.items():
        change = limit.margin_mm - before[name].margin_mm
        wanted = (one - other) if limit.direction == "swelling" else (other - one)
        assert change * wanted >= -1e-9


@every
def test_a_fit_written_and_read_is_the_same_fit(example):
    fit = make(example)
    assert fit_from_document("it", fit.document(), MEMBERS, "") == fit


@every
def test_leaving_a_member_out_of_the_moistures_is_told(example):
    with pytest.raises(BadInput, match=r"moisture content of .* must be given, got nothing"):
        make(example).limits({})


@every
def test_a_fit_without_movement_keeps_its_play(example):
    still = make(example).with_members(lambda member: member.moving_by(0.0))
    for limit in still.limits(dict.fromkeys(MEMBERS, 20.0)):
        assert limit.margin_mm == pytest.approx(limit.play_mm, abs=1e-9)


@every
def test_wood_that_moves_more_loses_more(example):
    fit = make(example)
    more = fit.with_members(lambda member: member.moving_by(1.3))
    for mc, direction in ((12.0, "swelling"), (4.0, "shrinking")):
        usual = {limit.name: limit for limit in fit.limits(dict.fromkeys(MEMBERS, mc))}
        for limit in more.limits(dict.fromkeys(MEMBERS, mc)):
            if limit.direction == direction:
                assert limit.margin_mm < usual[limit.name].margin_mm


@every
def test_a_fit_scaled_up_has_its_margins_scaled_up(example):
    # Twice the size in every length is the same shape: every margin doubles. A rule that ignores
    # conflict under four inches has no scale, and every example here is above it.
    fit = make(example)
    lengths = {
        field.key: 2.0 * getattr(fit, field.attribute)
        for field in fit.fields()
        if field.unit == "mm" and getattr(fit, field.attribute) is not None
    }
    if example == "top on figure-eights":
        lengths["travel"] = 2.0 * 25.4 / 16.0
    bigger = {
        name: dataclasses.replace(
            member, width_mm=2.0 * member.width_mm, thickness_mm=2.0 * member.thickness_mm
        )
        for name, member in MEMBERS.items()
    }
    large = fit_from_document("it", fit.document() | lengths, bigger, "")
    for small_limit, large_limit in zip(
        fit.limits(dict.fromkeys(MEMBERS, 11.0)), large.limits(dict.fromkeys(MEMBERS, 11.0)), strict=True
    ):
        seen_mm = 25.4 / 64.0 if small_limit.name == "bare-line" and fit.finished == "after assembly" else 0.0
        sides = 1.0 if fit.kind == "board-back" else 2.0
        assert large_limit.margin_mm + sides * seen_mm == pytest.approx(2.0 * small_limit.margin_mm, abs=1e-6)


@every
def test_a_section_shows_the_members_at_the_width_they_have(example):
    fit = make(example)
    for mc in (4.0, 8.0, 14.0):
        moistures = dict.fromkeys(MEMBERS, mc)
        section = fit.section(moistures)
        assert section.title
        assert {part.name for part in section.parts} & {member.name for member in fit.members}
        for part in section.parts:
            assert part.height_mm > 0
            assert part.width_mm > 0
        for low, high in section.plain_mm:
            assert low < high


@every
def test_fields_tell_a_page_what_to_ask(example):
    fit = make(example)
    keys = [field.key for field in fit.fields()]
    assert set(EXAMPLES[example]) - {"kind", "part"} <= set(keys)
    for field in fit.fields():
        assert field.meaning
        assert field.unit in ("mm", "degrees", "%", "count", "choice", "flag", "text", "member", "members")
        assert not (field.required and field.default is not None)
        if field.only_when is not None:
            other, values = field.only_when
            assert set(values) <= set(next(f for f in fit.fields() if f.key == other).choices)
    assert fit.fields()[0].unit in ("member", "members")


# (example, changes, mc, limits whose margin grows, limits whose margin falls); all others stay.
MOVES: list[tuple[str, dict[str, object], float, set[str], set[str]]] = [
    ("panel centred", {"groove_depth": 11.0}, 9.0, {"groove-bottom"}, set()),
    ("panel centred", {"sight_width": 354.0}, 9.0, {"leaves-groove"}, {"groove-bottom"}),
    ("panel centred", {"least_engagement": 3.0}, 9.0, set(), {"leaves-groove"}),
    ("panel centred", {"spacer": 1.0}, 9.0, set(), {"groove-bottom"}),
    ("panel centred", {"mc_pct": 8.0}, 9.0, set(), set()),
    ("panel free", {"groove_depth": 11.0}, 9.0, {"groove-bottom"}, {"leaves-groove", "rattle"}),
    ("panel free", {"spacer": 1.0}, 9.0, {"leaves-groove", "rattle"}, {"groove-bottom"}),
    ("panel free", {"rattle": 10.0}, 9.0, {"rattle"}, set()),
    ("panel free", {"finish_onto_tongue": 1.5}, 9.0, {"bare-line"}, set()),
    ("panel at one edge", {"held_engagement": 8.0}, 9.0, {"groove-bottom"}, {"leaves-groove"}),
    ("panel at one edge", {"finish_onto_tongue": 3.0}, 9.0, {"bare-line"}, set()),
    ("raised panel", {"shoulder_gap": 2.0}, 9.0, {"shoulder-closes"}, set()),
    ("raised panel", {"bevel_deg": 15.0}, 9.0, set(), {"bevel-wedges"}),
    ("raised panel", {"groove_slack": 0.6}, 9.0, {"bevel-wedges"}, set()),
    ("raised panel", {"tongue_thickness": 9.0}, 9.0, set(), {"bevel-wedges"}),
    ("boards", {"gap": 1.5}, 9.0, {"boards-touch"}, {"leaves-lap"}),
    ("boards", {"lap": 8.0}, 9.0, {"leaves-lap"}, set()),
    ("boards", {"least_lap": 3.0}, 9.0, set(), {"leaves-lap"}),
    ("shiplap", {"end_gap": 1.2}, 9.0, {"board-meets-case"}, set()),
    ("shiplap", {"widest_gap": 3.0}, 9.0, {"gap-shows"}, set()),
    ("deep boards", {"groove_depth": 6.0}, 9.0, {"groove-bottom"}, set()),
    ("drawer bottom", {"screw_at": 7.0}, 9.0, {"slot-end-wet"}, {"slot-end-dry"}),
    ("drawer bottom", {"slot_length": 10.5}, 9.0, {"slot-end-dry"}, set()),
    ("drawer bottom", {"screw_diameter": 4.0}, 9.0, set(), {"slot-end-wet", "slot-end-dry"}),
    ("drawer bottom", {"back_overhang": 15.0}, 9.0, {"leaves-back"}, set()),
    ("drawer bottom", {"back_clearance": 6.0}, 9.0, {"meets-case-back"}, set()),
    ("loose drawer bottom", {"front_engagement": 7.0}, 9.0, {"leaves-front-groove"}, set()),
    ("loose drawer bottom", {"travel": 4.0}, 9.0, {"slot-end-wet", "slot-end-dry"}, set()),
    ("slab door", {"gap": 2.0}, 9.0, {"binds"}, {"gap-shows"}),
    ("slab door", {"least_gap": 0.8}, 9.0, set(), {"binds"}),
    ("slab door", {"widest_gap": 4.0}, 9.0, {"gap-shows"}, set()),
    ("slab door", {"parts": ["panel", "panel"], "part": None, "opening_size": 740.0}, 9.0,
     {"gap-shows"}, {"binds"}),
    ("front between dividers", {"opening": None}, 9.0, {"binds"}, {"gap-shows"}),
    ("front between dividers", {"widens": None}, 9.0, {"gap-shows"}, {"binds"}),
    ("top on buttons", {"button_gap": 4.0}, 10.0, {"button-meets-apron"}, set()),
    ("top on buttons", {"engagement": 10.0}, 10.0, {"button-leaves-groove"}, {"groove-bottom"}),
    ("top on buttons", {"groove_depth": 12.0}, 10.0, {"groove-bottom"}, set()),
    ("top on buttons", {"least_engagement": 5.0}, 10.0, set(), {"button-leaves-groove"}),
    ("top on buttons", {"fixed": "front"}, 10.0, {"button-leaves-groove"}, {"button-meets-apron", "groove-bottom"}),
    ("top on buttons", {"fastener_distance": 200.0}, 10.0, {"button-meets-apron", "groove-bottom"},
     {"button-leaves-groove"}),
    ("top on slots", {"screw_at": 8.0}, 10.0, {"slot-end-wet"}, {"slot-end-dry"}),
    ("top on figure-eights", {"travel": 3.0}, 9.0, {"slot-end-wet", "slot-end-dry"}, set()),
    ("breadboard", {"pin_distance": 150.0}, 10.0, {"slot-end-wet"}, {"slot-end-dry"}),
    ("breadboard", {"mortise_clearance": 5.0}, 10.0, {"tenon-bottoms"}, set()),
    ("breadboard", {"flush_within": 4.0}, 10.0, {"end-proud", "end-shy"}, set()),
    ("breadboard", {"end_longer": 2.0}, 10.0, {"end-shy"}, {"end-proud"}),
    ("breadboard", {"fixed": "edge"}, 10.0, {"end-proud"}, {"tenon-bottoms", "end-shy"}),
    ("runner", {"travel": 3.0}, 10.0, {"slot-end-wet", "slot-end-dry"}, set()),
    ("runner", {"distance": 400.0}, 10.0, {"slot-end-wet"}, {"slot-end-dry"}),
    ("runner", {"flush_within": 5.0}, 10.0, {"front-proud", "front-sunk"}, set()),
    ("tight cleat", {"distance": 300.0}, 9.0, set(), {"crushes", "splits"}),
    ("telescoping frame", {"shoulder_gap": 5.0}, 10.0, {"shoulder-closes"}, set()),
    ("telescoping frame", {"tenon_length": 14.0}, 10.0, {"tenon-pulls-out"}, set()),
    ("telescoping frame", {"least_tenon": 6.0}, 10.0, set(), {"tenon-pulls-out"}),
    ("one tenon", {"tenon_width": 120.0}, 9.0, set(), {"crushes", "splits"}),
    ("split tenon", {"slack": 1.2}, 10.0, {"mortise-end-wet", "mortise-end-dry"}, set()),
    ("split tenon", {"centre_distance": 120.0}, 10.0, {"mortise-end-dry"}, {"mortise-end-wet"}),
    ("mitre", {"gap_shows": 0.8}, 9.0, {"heel-opens", "toe-opens"}, set()),
    ("lid", {"overhang": 7.0}, 9.0, {"overhang-gone"}, {"overhang-shows"}),
    ("lid", {"least_overhang": 2.0}, 9.0, set(), {"overhang-gone"}),
    ("lid", {"widest_overhang": 10.0}, 9.0, {"overhang-shows"}, set()),
    ("lid", {"lip_clearance": 3.0}, 9.0, {"lip-binds"}, set()),
    ("lid", {"lock_play": 2.0}, 9.0, {"lock-misses-wet", "lock-misses-dry"}, set()),
    ("lid", {"held": "lift-off"}, 10.0, {"overhang-shows", "lock-misses-wet"},
     {"overhang-gone", "lip-binds", "lock-misses-dry"}),
    ("inset lid", {"inset_gap": 1.5}, 9.0, {"binds"}, {"gap-shows"}),
    ("inset lid", {"least_gap": 0.8}, 9.0, set(), {"binds"}),
    ("inset lid", {"widest_gap": 4.0}, 9.0, {"gap-shows"}, set()),
    ("edging", {"step_shows": 0.1}, 8.0, {"stands-proud", "stands-shy"}, set()),
]  # fmt: skip


@pytest.mark.parametrize(("example", "changes", "mc_pct", "grow", "fall"), MOVES)
def test_each_parameter_moves_the_limits_it_belongs_to_and_no_other(example, changes, mc_pct, grow, fall):
    before, after = margins(make(example), mc_pct), margins(make(example, **changes), mc_pct)
    for name in before.keys() & after.keys():
        if name in grow:
            assert after[name] > before[name] + 1e-6, name
        elif name in fall:
            assert after[name] < before[name] - 1e-6, name
        else:
            assert after[name] == pytest.approx(before[name], abs=1e-9), name


def test_every_length_of_every_kind_has_its_test():
    # Lengths that only validation or drawing uses move no margin.
    drawn_only = {("panel-in-groove", "stile_width"), ("front-in-opening", "opening_size")}
    moved = {(str(EXAMPLES[example]["kind"]), key) for example, changes, *_ in MOVES for key in changes}
    # A slot is one mixin of several kinds.
    slots = {"travel", "slot_length", "screw_diameter", "screw_at"}
    moved |= {(kind, key) for kind in kinds() for key in slots if any(key == other for _, other in moved)}
    needed = {
        (kind, field.key) for kind, fit in kinds().items() for field in fit.fields() if field.unit == "mm"
    }
    assert needed - moved - drawn_only == set()
