"""A new wood is one row, and so is a new finish: nothing else has to name it. Both are made up here."""

from collections.abc import Callable, Iterator

import pytest

from model.wood.errors import BadInput
from model.wood.material import finish, species, species_tables
from model.wood.material.species import find_species
from model.wood.piece import read_piece

WOOD = {
    "common_name": "valley plane", "handbook_name": "Plane, valley", "group": "hardwood",
    "radial_pct": "5.0", "tangential_pct": "9.0", "volumetric_pct": "14.0", "origin_code": "",
    "source": "made up for a test", "provenance": "memory", "note": "",
}  # fmt: skip
FINISH = {
    "name": "river varnish", "coats": "2", "permeance_kg_m2_s_pa": "1e-9", "residual_1day_pct": "",
    "residual_7day_pct": "", "residual_14day_pct": "", "film": "yes",
    "source": "made up for a test", "provenance": "memory", "note": "",
}  # fmt: skip
PIECE = """
[piece]
name = "Stool"
[part.seat]
species = "{wood}"
cut = "flat-sawn"
width = "12in"
mc_pct = 8.0
thickness = "1in"
finish = {{ face = "{film}", coats = 2 }}
"""


def forget() -> None:
    for known in (species_tables.catalogue, species._by_any_name, finish._table, finish._by_any_name):
        known.cache_clear()


@pytest.fixture
def add_row(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[str, dict[str, str]], None]]:
    """Add a row to one of the tables of the science, for this test only."""

    def add(table: str, row: dict[str, str]) -> None:
        read = species_tables.rows

        def rows(asked: str) -> list[dict[str, str]]:
            assert set(read(table)[0]) == set(row)
            return [*read(asked), row] if asked == table else read(asked)

        for module in (species_tables, species, finish):
            monkeypatch.setattr(module, "rows", rows)
        forget()

    yield add
    monkeypatch.undo()
    forget()


def test_a_wood_is_one_row(add_row) -> None:
    with pytest.raises(BadInput):
        find_species("valley plane")
    add_row("shrinkage", WOOD)
    for name in ("valley plane", "Plane, valley"):
        assert find_species(name).shrinkage_tangential_pct == 9.0
    seat = read_piece(PIECE.format(wood="valley plane", film="shellac"), "stool").members["seat"]
    assert seat.width_at(12.0) > seat.width_mm
    assert not find_species("valley plane").facts["c_tangential_per_pct"].verified


def test_a_finish_is_one_row(add_row) -> None:
    with pytest.raises(BadInput):
        finish.resolve("river varnish")
    add_row("finish_permeance", FINISH)
    assert "river varnish" in finish.finish_names()
    assert finish.permeance_of("river varnish", 2).permeance == pytest.approx(1e-9)
    seat = read_piece(PIECE.format(wood="white ash", film="River varnish"), "stool").members["seat"]
    assert finish.resolve(seat.finish.face) == "river varnish"
