"""What is said of a limit: a sentence a name, with the part's role, and one for a name not yet known."""

import doctest
import importlib.util
from pathlib import Path

import pytest

from model.wood.fits import Way
from model.words import limits
from model.words.limits import limit_said
from model.words.reasons import SENTENCES

ELSE = ("swelling harms", "shrinking harms", "swelling shows", "shrinking shows")

spec = importlib.util.spec_from_file_location(
    "paneltide_examples_said", Path(__file__).with_name("fit_examples.py")
)
assert spec is not None
assert spec.loader is not None
examples = importlib.util.module_from_spec(spec)
spec.loader.exec_module(examples)


@pytest.mark.parametrize("example", examples.EXAMPLES)
def test_every_limit_has_a_sentence_that_shows_no_key(example):
    fit = examples.make(example)
    for limit in fit.limits(fit.references()):
        said = limit_said(limit)
        assert said not in {SENTENCES[key].format(part=limit.parts[0]) for key in ELSE}
        assert len(said.split()) >= 4
        assert "-" not in limit.name or limit.name not in said
        assert "_" not in said
        assert "{" not in said
        assert not said.endswith(".")


@pytest.mark.parametrize(
    ("way", "said"),
    [
        (("groove-bottom", "swelling"), "the back panel is hard in its grooves and pushes the frame apart"),
        (("bare-line", "shrinking"), "a bare line shows each side of the back panel"),
        (("binds", "swelling"), "the back panel sticks in its opening"),
        (
            ("slot-end-wet", "swelling"),
            "the back panel's screws run out of slot: a screw bends or the back panel buckles",
        ),
    ],
)
def test_a_limit_is_said_as_a_maker_says_it(way, said):
    name, direction = way
    assert limit_said(Way(name, direction, "harms", 0.0, ("the back panel",))) == said


def test_the_example_in_the_code_holds():
    ran = doctest.testmod(limits)
    assert (ran.failed, ran.attempted) == (0, 1)


def test_the_screws_of_a_part_with_a_long_role_are_said_plainly():
    way = Way("slot-end-dry", "shrinking", "harms", 0.0, ("the bottom of each drawer",))
    assert limit_said(way).startswith("the screws of the bottom of each drawer run out of slot")


@pytest.mark.parametrize("direction", ["swelling", "shrinking"])
@pytest.mark.parametrize("severity", ["harms", "shows"])
def test_a_name_without_a_sentence_is_said_from_its_direction_and_severity(direction, severity):
    said = limit_said(Way("wedge-drops", direction, severity, 0.0, ("the leaf",)))
    assert said.startswith("the leaf ")
    assert ("swell" in said) == (direction == "swelling")
    assert ("show" in said) == (severity == "shows")
