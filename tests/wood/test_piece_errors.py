"""Every mistake in a piece file, and the one sentence that answers it: file, key, rule, value."""

# ruff: noqa: E501  (a case and its sentence are read best on one line)

import tomllib

import pytest

from model.wood.errors import BadInput
from model.wood.piece import piece_from_document, read_piece

GOOD = """
[piece]
name = "Hall bench"
[part.back]
species = "white ash"
cut = "flat-sawn"
width = "14 1/2in"
mc_pct = 8.0
thickness = "5/8in"
finish = { face = "shellac", coats = 3, back = "none" }
[part.rail]
species = "white ash"
cut = "flat-sawn"
width = 60
mc_pct = 8.0
thickness = 20
[fit.back_panel]
kind = "panel-in-groove"
part = "back"
sight_width = "14in"
groove_depth = "3/8in"
"""
WHERE = "hall-bench.toml"


def told(changes: dict[str, object], fit: dict[str, object] | None = None) -> str:
    """What is said of the good file with keys changed, or taken out when None, by dotted path."""
    document = tomllib.loads(GOOD)
    if fit is not None:
        document["fit"] = {"it": fit}
    for path, value in changes.items():
        *tables, key = path.split(".")
        table = document
        for name in tables:
            table = table[name]
        if value is None:
            del table[key]
        else:
            table[key] = value
    with pytest.raises(BadInput) as refused:
        piece_from_document(document, WHERE)
    message = str(refused.value)
    assert message.startswith(f"{WHERE}: ")
    assert "\n" not in message
    return message.removeprefix(f"{WHERE}: ")


def test_the_file_as_it_stands_is_good():
    assert read_piece(GOOD, WHERE).name == "Hall bench"


@pytest.mark.parametrize(
    ("path", "value", "sentence"),
    [
        ("fit.back_panel.groove_depth", "deep", "fit.back_panel.groove_depth must be a length more than 0, got 'deep'"),
        ("fit.back_panel.groove_depth", 0, "fit.back_panel.groove_depth must be a length more than 0, got 0"),
        ("fit.back_panel.groove_depth", -3, "fit.back_panel.groove_depth must be a length more than 0, got -3"),
        ("fit.back_panel.groove_depth", True, "fit.back_panel.groove_depth must be a length more than 0, got True"),
        ("fit.back_panel.groove_depth", "3/8", "must say its unit (3/8 in or 3/8 mm?), got '3/8'"),
        ("fit.back_panel.spacer", "-1mm", "fit.back_panel.spacer must be a length of 0 or more, got '-1mm'"),
        ("fit.back_panel.groove_depth", None, "fit.back_panel.groove_depth must be given (depth of each groove), got nothing"),
        ("fit.back_panel.grove_depth", 9, "is not a key of a panel-in-groove fit; did you mean groove_depth?, got 9"),
        ("fit.back_panel.held", "middle", "fit.back_panel.held must be one of: centre, one-edge, free, got 'middle'"),
        ("fit.back_panel.part", "bac", "fit.back_panel.part must name a part of this piece; did you mean back?, got 'bac'"),
        ("fit.back_panel.part", "zebra", "must name a part of this piece (there are: back, rail), got 'zebra'"),
        ("fit.back_panel.part", ["back", "rail"], "fit.back_panel.part must be one part's name, got ['back', 'rail']"),
        ("fit.back_panel.part", 7, "fit.back_panel.part must be a part's name, got 7"),
        ("fit.back_panel.kind", None, "fit.back_panel.kind must be given (one of: board-back, breadboard-end"),
        ("fit.back_panel.kind", "panel-in-grove", "must be a kind of fit; did you mean panel-in-groove?, got 'panel-in-grove'"),
        ("fit.back_panel.kind", "zzz", "must be a kind of fit (one of: board-back, breadboard-end"),
        ("fit.back_panel.kind", 3, "fit.back_panel.kind must be a kind of fit"),
        ("fit.back_panel.bevel_deg", 60, "fit.back_panel.bevel_deg must be a number in 0 to 45 degrees, got 60"),
        ("fit.back_panel.mc_pct", 31, "fit.back_panel.mc_pct must be a number in 0 to 30 %, got 31"),
        ("fit.back_panel.note", 3, "fit.back_panel.note must be text (anything worth keeping), got 3"),
        ("fit.back_panel", 5, "fit.back_panel must be a table of keys and values, got 5"),
        ("part.back.species", "whyte ash", "part.back.species"),
        ("part.back.species", None, "part.back.species must be given (the wood, by its trade name), got nothing"),
        ("part.back.species", "", "part.back.species must be text (the wood, by its trade name), got ''"),
        ("part.back.cut", "wavy", "part.back.cut must be flat-sawn, rift-sawn or quarter-sawn, got 'wavy'"),
        ("part.back.cut", 4, "part.back.cut must be flat-sawn, rift-sawn or quarter-sawn (or give ring_angle_deg), got 4"),
        ("part.back.cut", None, "part.back.cut must be given (flat-sawn, rift-sawn or quarter-sawn), or ring_angle_deg, got nothing"),
        ("part.back.ring_angle_deg", 20, "part.back.ring_angle_deg must be left out when cut is given, got 20"),
        ("part.back.width", 0, "part.back.width must be a length more than 0, got 0"),
        ("part.back.thickness", 0, "part.back.thickness must be a length more than 0, got 0"),
        ("part.back.mc_pct", 31, "part.back.mc_pct must be a number in 0 to 30 % (fibre saturation of white ash), got 31"),
        ("part.back.mc_pct", "8", "part.back.mc_pct must be a number in 0 to 30 % (fibre saturation of white ash), got '8'"),
        ("part.back.mc_pct", float("nan"), "part.back.mc_pct must be a number in 0 to 30 %"),
        ("part.back.mc_pct", None, "part.back.mc_pct must be given (moisture content when the width was measured), got nothing"),
        ("part.back.mc_basis", "guessed", "part.back.mc_basis must be one of: measured, assumed, got 'guessed'"),
        ("part.back.figured", "yes", "part.back.figured must be true or false, got 'yes'"),
        ("part.back.widht", 3, "part.back.widht is not a key of a part; did you mean width?, got 3"),
        ("part.back.finish", "shellac", "part.back.finish must be \"none\" or a table with face, coats and back, got 'shellac'"),
        ("part.back.finish.coats", None, "part.back.finish.coats must be given (coats of shellac), got nothing"),
        ("part.back.finish.coats", 1.5, "part.back.finish.coats must be a whole number of 0 or more, got 1.5"),
        ("part.back.finish.coats", 21, "part.back.finish.coats must lie in 1 to 20, got 21"),
        ("part.back.finish.coats", 0, "part.back.finish.coats must lie in 1 to 20, got 0"),
        ("part.back.finish", {"face": "shellac", "coats": 2, "back_coats": 99}, "part.back.finish.back_coats must lie in 1 to 20, got 99"),
        ("part.back.finish.face", "shelac", "part.back.finish.face is not in the table (perhaps shellac; or say its class"),
        ("part.back.finish.back", "shelac", "part.back.finish.back is not in the table (perhaps shellac; or say its class"),
        ("part.back.finish.cotes", 3, "part.back.finish.cotes is not a key of a finish; did you mean coats?, got 3"),
        ("part.back.finish", 3, "part.back.finish must be a table of keys and values, got 3"),
        ("part.back.measured_at", "soon", "part.back.measured_at must be a date, or a date and time with its offset"),
        ("part.back.measured_at", "2026-02-01T09:00:00", "part.back.measured_at must be a date, or a date and time with"),
        ("part.back.measured_at", 4, "part.back.measured_at must be a date, or a date and time with its offset"),
        ("part", {}, "part must hold at least one part ([part.name]), got nothing"),
        ("part", 3, "part must be tables [part.name], got 3"),
        ("piece", None, "piece must be given (a table with the piece's name), got nothing"),
        ("piece.name", None, "piece.name must be given (what the piece is called), got nothing"),
        ("piece.name", "  ", "piece.name must be text (what the piece is called), got '  '"),
        ("piece.naem", "x", "piece.naem is not a key of a piece; did you mean name?, got 'x'"),
        ("piece.client", ["a"], "piece.client must be text (who it is for), got ['a']"),
        ("parts", {}, "parts is no table of a piece file; these are piece, case, part and fit, got {}"),
    ],
)  # fmt: skip
def test_a_broken_rule_is_told_in_one_sentence(path, value, sentence):
    assert sentence in told({path: value})


def test_an_unknown_wood_is_answered_with_near_ones():
    assert "white ash" in told({"part.back.species": "whyte ash"})


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"fit.back_panel.stile_width": 9}, "groove_depth must be less than the stile is wide (9 mm), got 9.525 mm"),
        (
            {"fit.back_panel.sight_width": "15in"},
            "sight_width must be less, or the panel can't reach its grooves: the panel back is 368.3 mm wide, got 381 mm",
        ),
        (
            {"fit.back_panel.sight_width": "13.5in"},
            "groove_depth must be more, or the panel is too wide for its grooves: the panel back is 368.3 mm wide "
            "and has 361.9 mm, got 9.525 mm",
        ),
        ({"fit.back_panel.spacer": 10}, "spacer must be less than the groove is deep (9.525 mm), got 10 mm"),
        ({"fit.back_panel.held_engagement": 5}, "held_engagement must be left out unless held is one-edge, got 5 mm"),
        (
            {"fit.back_panel.held": "one-edge", "fit.back_panel.held_engagement": 10},
            "held_engagement must not be more than the groove is deep (9.525 mm), got 10 mm",
        ),
        (
            {"fit.back_panel.held": "one-edge", "fit.back_panel.held_engagement": 1},
            "held_engagement must leave a tongue at the free edge of 0 to 9.525 mm, the groove's depth (it leaves 11.7 mm), got 1 mm",
        ),
        ({"fit.back_panel.profile": "raised"}, "shoulder_gap must be given for a raised panel (0 or more), got nothing"),
        ({"fit.back_panel.shoulder_gap": 1}, "shoulder_gap must be left out unless profile is raised, got 1 mm"),
        (
            {"fit.back_panel.finish_onto_tongue": 8},
            "finish_onto_tongue must not be more than the tongue in the groove (6.35 mm), got 8 mm",
        ),
        (
            {"fit.back_panel.tongue_thickness": 20},
            "tongue_thickness must not be more than the panel is thick (15.88 mm), got 20 mm",
        ),
    ],
)  # fmt: skip
def test_a_panel_that_contradicts_its_frame_is_told(changes, sentence):
    assert told(changes) == f"fit.back_panel.{sentence}"


@pytest.mark.parametrize(
    ("fit", "sentence"),
    [
        (
            {"kind": "front-in-opening", "part": "back", "gap": 1, "construction": "frame"},
            "parts must name both stiles of a framed door (one name twice when they are alike), got ['back']",
        ),
        (
            {"kind": "front-in-opening", "part": "back", "parts": ["back"], "gap": 1},
            "part must be left out when parts is given, got 'back'",
        ),
        (
            {"kind": "front-in-opening", "part": "back", "gap": 1, "widest_gap": 0.2},
            "widest_gap must be more than least_gap (0.3969 mm), got 0.2 mm",
        ),
        (
            {"kind": "front-in-opening", "part": "back", "gap": 1, "opening_size": 300},
            "opening_size must be more than the front fills (368.3 mm), got 300 mm",
        ),
        (
            {"kind": "board-back", "part": "back", "gap": 6, "lap": 6},
            "gap must be less than the lap (6 mm), or the boards don't reach each other, got 6 mm",
        ),
        (
            {"kind": "board-back", "part": "back", "gap": 1, "lap": 6, "groove_depth": 4},
            "groove_depth must be more, or the tongue is longer than its groove (it reaches 5 mm in), got 4 mm",
        ),
        (
            {"kind": "board-back", "part": "back", "gap": 1, "lap": 6, "groove_depth": 6, "joint": "shiplap"},
            "groove_depth must be left out of a shiplap joint, got 6 mm",
        ),
        (
            {"kind": "board-back", "part": "back", "gap": 2, "lap": 6, "widest_gap": 1},
            "widest_gap must be more than the gap (2 mm), got 1 mm",
        ),
        ({"kind": "drawer-bottom", "part": "back"}, "slot_length must be given (length of the slot), or travel, got nothing"),
        (
            {"kind": "drawer-bottom", "part": "back", "slot_length": 9, "travel": 3},
            "travel must be left out when slot_length is given, got 3 mm",
        ),
        (
            {"kind": "drawer-bottom", "part": "back", "slot_length": 3},
            "slot_length must be at least the screw's diameter (3.505 mm), got 3 mm",
        ),
        (
            {"kind": "drawer-bottom", "part": "back", "slot_length": 10, "screw_at": 1},
            "screw_at must lie inside the slot: 1.753 to 8.247 mm, got 1 mm",
        ),
        (
            {"kind": "drawer-bottom", "part": "back", "travel": 3, "screw_at": 1},
            "screw_at must be left out unless slot_length is given, got 1 mm",
        ),
        (
            {"kind": "drawer-bottom", "part": "back", "travel": 3, "front_glued": False},
            "front_engagement must be given when the front is not glued (how far the bottom stands in its groove), got nothing",
        ),
        (
            {"kind": "drawer-bottom", "part": "back", "travel": 3, "front_engagement": 6},
            "front_engagement must be left out when the front is glued, got 6 mm",
        ),
        (
            {"kind": "drawer-bottom", "part": "back", "travel": 3, "back_overhang": 400},
            "back_overhang must be less than the bottom is deep (368.3 mm), got 400 mm",
        ),
        (
            {"kind": "top-on-fasteners", "part": "back", "button_gap": 3, "engagement": 9, "fastener_distance": 200},
            "fastener_distance must not be more than from the fixed line to the edge of the top (184.2 mm), got 200 mm",
        ),
        ({"kind": "top-on-fasteners", "part": "back", "engagement": 9}, "button_gap must be given for a button, got nothing"),
        (
            {"kind": "top-on-fasteners", "part": "back", "button_gap": 3, "engagement": 9, "groove_depth": 8},
            "engagement must not be more than the groove is deep (8 mm), got 9 mm",
        ),
        (
            {"kind": "top-on-fasteners", "part": "back", "button_gap": 3, "engagement": 9, "travel": 2},
            "travel must be left out for a button, got 2 mm",
        ),
        (
            {"kind": "top-on-fasteners", "part": "back", "fastener": "figure-eight", "engagement": 9},
            "engagement must be left out for a figure-eight, got 9 mm",
        ),
        (
            {"kind": "breadboard-end", "part": "back", "pin_distance": 190, "travel": 3},
            "pin_distance must be less than from the fast pin to the panel's edge (184.2 mm), got 190 mm",
        ),
        (
            {"kind": "breadboard-end", "part": "back", "pin_distance": 150, "travel": 3, "end_longer": 2, "flush_within": 1},
            "end_longer must not be more than flush_within (1 mm), got 2 mm",
        ),
        (
            {"kind": "cross-grain-fixing", "part": "back", "distance": 400, "travel": 3},
            "distance must not be more than the part is wide (368.3 mm), got 400 mm",
        ),
        (
            {"kind": "cross-grain-fixing", "part": "back", "fixing": "tight", "travel": 3},
            "travel must be left out when fixing is tight, got 3 mm",
        ),
        (
            {"kind": "cross-grain-fixing", "part": "back", "fixing": "telescoping", "shoulder_gap": 3},
            "tenon_length must be given when fixing is telescoping, got nothing",
        ),
        (
            {"kind": "cross-grain-fixing", "part": "back", "travel": 3, "shoulder_gap": 3},
            "shoulder_gap must be left out unless fixing is telescoping, got 3 mm",
        ),
        (
            {"kind": "wide-tenon", "part": "back", "tenon_width": 400},
            "tenon_width must not be more than the rail is wide (368.3 mm), got 400 mm",
        ),
        ({"kind": "wide-tenon", "part": "back", "tenons": "split", "slack": 1}, "centre_distance must be given when tenons is split, got nothing"),
        ({"kind": "wide-tenon", "part": "back", "slack": 1}, "slack must be left out unless tenons is split, got 1 mm"),
        ({"kind": "wide-tenon", "part": "back", "both_glued": True}, "both_glued must be left out unless tenons is split, got True"),
        (
            {"kind": "wide-tenon", "part": "back", "tenons": "split", "slack": 1, "centre_distance": 400},
            "centre_distance must be less than the rail is wide (368.3 mm), got 400 mm",
        ),
        (
            {"kind": "mitre", "parts": ["back", "rail", "rail"]},
            "parts must be one part or the two that meet, got ['back', 'rail', 'rail']",
        ),
        (
            {"kind": "lid-on-box", "part": "back"},
            "overhang must be given, or lip_clearance, inset_gap or lock_play: something the lid can run out of, got nothing",
        ),
        (
            {"kind": "lid-on-box", "part": "back", "overhang": 5, "inset_gap": 1},
            "overhang must be left out of a lid that lies within the box, got 5 mm",
        ),
        (
            {"kind": "lid-on-box", "part": "back", "overhang": 5, "least_overhang": 6},
            "least_overhang must not be more than the overhang (5 mm), got 6 mm",
        ),
        (
            {"kind": "lid-on-box", "part": "back", "overhang": 5, "widest_overhang": 4},
            "widest_overhang must be more than the overhang (5 mm), got 4 mm",
        ),
        (
            {"kind": "lid-on-box", "part": "back", "lock_play": 1, "widest_overhang": 4},
            "overhang must be given when widest_overhang is, got nothing",
        ),
        (
            {"kind": "lid-on-box", "part": "back", "inset_gap": 1, "widest_gap": 0.1},
            "widest_gap must be more than least_gap (0.3969 mm), got 0.1 mm",
        ),
    ],
)  # fmt: skip
def test_a_fit_that_contradicts_itself_is_told(fit, sentence):
    assert told({}, fit) == f"fit.it.{sentence}"


def test_a_fit_measured_beyond_its_woods_fibre_saturation_is_told():
    # The species table has old redwood stop moving at 22 %, below the usual 30.
    changes = {
        "part.back.species": "redwood (old growth)",
        "fit.back_panel.mc_pct": 28,
    }
    assert "fit.back_panel.mc_pct must not be more than 22 %, fibre saturation of back, got 28" in told(
        changes
    )


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("[piece\nname = 3", "line 1 must be TOML"),
        (
            '[piece]\nname = "x"\nname = "y"',
            "line 3 must be TOML (Cannot overwrite a value), got 'name = \"y\"'",
        ),
        ("", "piece must be given"),
        ("[piece]\nname =", "line 2 must be TOML"),
    ],
)
def test_text_that_is_no_toml_is_told_with_its_line(text, sentence):
    with pytest.raises(BadInput, match=r"^hall-bench\.toml: ") as refused:
        read_piece(text, WHERE)
    assert sentence in str(refused.value)


def test_a_document_that_is_no_table_is_told():
    with pytest.raises(BadInput, match=r"must be tables \[piece\], \[part.name\], \[fit.name\], got 3"):
        piece_from_document(3, WHERE)
