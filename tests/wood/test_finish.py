"""Finishes by their trade names: what is found, what is interpolated, what is refused."""

import math

import pytest

from model.wood.errors import BadInput
from model.wood.material.finish import (
    BARE,
    CLASSES,
    MOST_COATS,
    FinishFilm,
    finish_names,
    permeance_of,
    resolve,
)
from model.words.display import counted
from tests.said import said


def test_names_begin_with_none_and_are_all_known():
    names = finish_names()
    assert names[0] == "none"
    assert len(names) == 44
    for name in names:
        assert resolve(name) == name


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ("Shellac", "shellac"),
        ("  oil-modified   urethane varnish ", "oil-modified urethane varnish"),
        ("polyurethane varnish", "oil-modified urethane varnish"),
        ("boiled linseed oil", "linseed oil"),
        ("paste wax", "paste furniture wax"),
        ("lacquer", "nitrocellulose lacquer"),
        ("two part epoxy", "two-part epoxy"),
        ("bare", "none"),
        ("", "none"),
    ],
)
def test_common_names_are_understood(asked, found):
    assert resolve(asked) == found


def test_makers_finishes_come_before_house_paints():
    names = finish_names()
    assert names.index("hardwax oil") < names.index("water-based polyurethane") < names.index("tung oil") + 20
    first_paint = min(names.index(name) for name in names if "house" in name or "wall" in name)
    for name in (
        "Danish oil",
        "French polish",
        "shellac",
        "spar varnish",
        "conversion varnish",
        "wiping varnish",
    ):
        assert names.index(name) < first_paint


# Taken as a tested finish, as nothing is published of it; the assumption is ours.
@pytest.mark.parametrize(
    ("asked", "coats", "like", "like_coats"),
    [
        ("hardwax oil", 2, "tung oil", 3),
        ("Danish oil", 3, "tung oil", 2),
        ("wiping varnish", 3, "oil-modified urethane varnish", 1),
        ("waterborne polyurethane", 3, "nitrocellulose lacquer", 3),
        ("conversion varnish", 2, "oil-modified urethane varnish", 2),
        ("French polish", 12, "shellac", 1),
        ("wax over oil", 2, "linseed oil", 3),
    ],
)
def test_a_finish_of_today_says_what_it_is_taken_as(asked, coats, like, like_coats):
    film, tested = permeance_of(asked, coats), permeance_of(like, like_coats)
    assert film.permeance == tested.permeance
    assert film.provenance == "assumed"
    assert f"taken as {counted(like_coats, 'coat')} of" in said(film.caution)
    assert like in said(film.caution)
    assert "to a factor of 2" in said(film.caution)


def test_soap_is_bare_wood_and_a_remembered_finish_is_marked():
    assert permeance_of("soap", 3).name == BARE
    assert said(permeance_of("floor and deck enamel", 2).caution) == (
        "What floor and deck enamel keeps out is from memory, unverified."
    )
    assert permeance_of("shellac", 3).caution is None


@pytest.mark.parametrize("word", CLASSES)
def test_each_class_in_words_stands_for_a_row(word):
    assert permeance_of(word, 2).permeance > 0.0


def test_bare_is_nan_whatever_the_coats():
    assert math.isnan(permeance_of("none", 0).permeance)
    assert math.isnan(permeance_of("none", 7).permeance)


def test_interpolation_is_geometric(monkeypatch):
    film = FinishFilm("oak gall", 1, 4e-10, "read")
    rows = {"oak gall": {1: film, 3: FinishFilm("oak gall", 3, 1e-10, "memory")}}
    monkeypatch.setattr("model.wood.material.finish._table", lambda: rows)
    monkeypatch.setattr("model.wood.material.finish._by_any_name", lambda: {"oak gall": "oak gall"})
    between = permeance_of("oak gall", 2)
    assert between.permeance == pytest.approx(2e-10)
    assert between.provenance == "read and memory"


def test_more_coats_than_tested_are_not_credited():
    most = permeance_of("oil-modified urethane varnish", 6)
    beyond = permeance_of("oil-modified urethane varnish", 9)
    assert beyond.permeance == most.permeance
    assert beyond.coats == 9


def test_fewer_coats_than_tested_are_refused():
    with pytest.raises(
        BadInput, match="coats of two-part epoxy must be at least 2, the fewest that were tested"
    ):
        permeance_of("two-part epoxy", 1)


@pytest.mark.parametrize("coats", [0, -1, MOST_COATS + 1])
def test_impossible_coats_are_refused(coats):
    with pytest.raises(BadInput, match="coats of shellac must lie in 1 to 20"):
        permeance_of("shellac", coats)


def test_unknown_finish_offers_near_matches_and_classes():
    with pytest.raises(BadInput, match="finish is not in the table") as refused:
        permeance_of("shelac", 2)
    assert "perhaps shellac" in str(refused.value)
    for word in CLASSES:
        assert word in str(refused.value)
    assert refused.value.got == "shelac"


def test_unlike_anything_still_offers_the_classes():
    with pytest.raises(BadInput, match="say its class: oil or wax, lacquer") as refused:
        permeance_of("zzzz", 1)
    assert "perhaps" not in str(refused.value)
