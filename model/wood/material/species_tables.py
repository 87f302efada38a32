"""From the rows of the tables in ``data/`` to woods.

The tables are those of the Wood Handbook (FPL-GTR-190, 2010) with, row by row, how the row was read. Joining
them takes a few decisions, each written down here and told in the facts of the wood.
"""

import csv
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from importlib import resources
from typing import Any

from model.wood.material.species_record import (
    DEFAULT_FIBRE_SATURATION_PCT,
    Fact,
    Species,
    coefficient_from_shrinkage,
    derive,
)

LOW_FIBRE_SATURATION_PCT = 22.0
LOW_FIBRE_SATURATION_WOODS = frozenset(
    {"redwood (old growth)", "redwood (young growth)", "western redcedar", "northern white-cedar"}
)

# Rows of Table 13-5 that stand for a trade lot or a group, and the woods of Table 4-3 that carry them.
# "Oak, black" there repeats the line of California black oak, so eastern black oak goes without.
_COEFFICIENT_ROW = {
    "white oak": "commercial white oak",
    "red oak": "commercial red oak",
    "northern red oak": "commercial red oak",
    "black oak": None,
    "water oak": "water, laurel and willow oak",
    "laurel oak": "water, laurel and willow oak",
    "willow oak": "water, laurel and willow oak",
}
_NOT_A_WOOD_OF_ITS_OWN = {"commercial white oak", "commercial red oak"}
_NOTES = {
    "northern red oak": "the line of commercial red oak in Table 13-5, the larger: its own shrinkage gives "
    "0.00304",
    "red oak": "the trade's red oak is several species; Table 13-5 prints one line for commercial red oak",
    "white oak": "the trade's white oak is several species; Table 13-5 prints one line for commercial "
    "white oak, the shrinkage is that of Quercus alba",
    "black oak": "the line 'Oak, black' of Table 13-5 is that of California black oak and is not used",
}
# Weight and stiffness of a trade lot, taken from the wood that makes up most of it.
_BORROWS_FROM = {
    "red oak": "northern red oak",
    "true hickory": "shagbark hickory",
    "water, laurel and willow oak": "laurel oak",
    "Douglas-fir (interior north)": "Douglas-fir (coast)",
    "Douglas-fir (interior west)": "Douglas-fir (coast)",
}
_ELASTIC_GROUPS = (("Oak, red", "red oak"), ("Red oak", "red oak"), ("Red Oak", "red oak"),
                   ("Oak, white", "white oak"), ("White oak", "white oak"), ("White Oak", "white oak"),
                   ("Douglas-fir", "Douglas-fir"), ("Redwood", "redwood"))  # fmt: skip


@cache
def rows(table: str) -> list[dict[str, str]]:
    text = resources.files("model.wood").joinpath(f"data/{table}.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def _by_name(table: str) -> dict[str, dict[str, str]]:
    return {row["common_name"]: row for row in rows(table)}


def _fact(row: Mapping[str, str]) -> Fact:
    return Fact(row["source"], row["provenance"], row["note"])


@cache
def catalogue() -> dict[str, Species]:
    coefficients, shrinkages = _by_name("movement_coefficients"), _by_name("shrinkage")
    names = dict.fromkeys([*shrinkages, *coefficients, "red oak"])
    woods = {}
    for name in names:
        if name not in _NOT_A_WOOD_OF_ITS_OWN:
            wood = _species(name, coefficients, shrinkages)
            woods[wood.name] = wood
    return woods


def _species(
    name: str, coefficients: Mapping[str, dict[str, str]], shrinkages: Mapping[str, dict[str, str]]
) -> Species:
    coefficient = coefficients.get(_COEFFICIENT_ROW.get(name, name) or "")
    shrinkage = shrinkages.get(name)
    first = shrinkage or coefficient
    assert first is not None
    figures: dict[str, Any] = {}
    facts: dict[str, Fact] = {}
    if coefficient is not None:
        _take(figures, facts, coefficient, ("c_radial_per_pct", "c_tangential_per_pct"))
        if name in _COEFFICIENT_ROW and name not in _NOTES:
            group = coefficient["handbook_name"]
            for key in ("c_radial_per_pct", "c_tangential_per_pct"):
                facts[key] = replace(
                    facts[key], note=f"the line '{group}' of the table, which covers this wood"
                )
    if shrinkage is not None:
        _take(
            figures,
            facts,
            shrinkage,
            ("shrinkage_radial_pct", "shrinkage_tangential_pct", "shrinkage_volumetric_pct"),
            ("radial_pct", "tangential_pct", "volumetric_pct"),
        )
    _weigh(name, figures, facts)
    elastic = next(
        (group for start, group in _ELASTIC_GROUPS if first["handbook_name"].startswith(start)), name
    )
    row = _by_name("elastic_ratios").get(elastic)
    if row is not None:
        _take(figures, facts, row, ("et_el", "er_el"))
    figures["fibre_saturation_pct"] = (
        LOW_FIBRE_SATURATION_PCT if name in LOW_FIBRE_SATURATION_WOODS else DEFAULT_FIBRE_SATURATION_PCT
    )
    facts["fibre_saturation_pct"] = (
        Fact(
            "Wood Handbook FPL-GTR-190 Table 13-5", "derived", "its coefficients, from memory, fit only 22 %"
        )
        if name in LOW_FIBRE_SATURATION_WOODS
        else Fact("Wood Handbook FPL-GTR-190 ch. 13, eq. 13-3", "read", "30 % for most woods")
    )
    derive(figures, facts, first["group"])
    for key in ("c_radial_per_pct", "c_tangential_per_pct"):
        if name in _NOTES:
            facts[key] = replace(facts[key], note="; ".join(filter(None, (_NOTES[name], facts[key].note))))
    if coefficient is not None and shrinkage is not None:
        _say_where_tables_disagree(figures, facts)
    return Species(
        name=name,
        handbook_name=first["handbook_name"],
        group=first["group"],
        facts=facts,
        **figures,
    )


def _take(
    figures: dict[str, Any],
    facts: dict[str, Fact],
    row: Mapping[str, str],
    keys: tuple[str, ...],
    columns: tuple[str, ...] | None = None,
) -> None:
    for key, column in zip(keys, columns or keys, strict=True):
        if row[column]:
            figures[key] = float(row[column])
            facts[key] = _fact(row)


def _weigh(name: str, figures: dict[str, Any], facts: dict[str, Fact]) -> None:
    """Specific gravity, stiffness and strength: printed, else borrowed, else remembered."""
    mechanical, remembered = _by_name("mechanical"), _by_name("specific_gravity_remembered")
    own = mechanical.get(name)
    row = own or mechanical.get(_BORROWS_FROM.get(name, ""))
    if row is not None:
        keys = ("specific_gravity_12pct", "specific_gravity_green", "moe_mpa", "tension_perp_kpa")
        columns = (
            "specific_gravity_12pct",
            "specific_gravity_green",
            "moe_12pct_mpa",
            "tension_perp_12pct_kpa",
        )
        _take(figures, facts, row, keys, columns)
        if own is None:
            for key in set(keys) & facts.keys():
                facts[key] = Fact(row["source"], "borrowed", f"the figure of {row['common_name']}")
    elif name in remembered:
        _take(figures, facts, remembered[name], ("specific_gravity_12pct", "specific_gravity_green"))


def _say_where_tables_disagree(figures: Mapping[str, float], facts: dict[str, Fact]) -> None:
    for direction in ("radial", "tangential"):
        c_key, s_key = f"c_{direction}_per_pct", f"shrinkage_{direction}_pct"
        other = coefficient_from_shrinkage(figures[s_key], figures["fibre_saturation_pct"])
        if abs(other / figures[c_key] - 1.0) > 0.10:
            note = (
                f"the printed coefficient is used between 6 and 14 %; the shrinkage would give {other:.5f}, "
                "and is used outside that range: treat answers there as rougher"
            )
            facts[c_key] = replace(facts[c_key], note=f"{note}; {facts[c_key].note}".rstrip("; "))
            facts[s_key] = replace(facts[s_key], note=f"{note}; {facts[s_key].note}".rstrip("; "))
