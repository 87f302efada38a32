"""Woods by trade name: how much each moves, how heavy and how stiff it is, and where each figure comes from.

The tables in ``data/`` are those of the Wood Handbook (FPL-GTR-190, 2010) with, row by row, how the row was
read. Every figure of a `Species` carries a `Fact` that says so, because some were read on the printed page,
some elsewhere, some are remembered, and some had to be derived. What is derived, and how, is in `_derive`.
"""

import csv
import difflib
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from importlib import resources
from typing import Any

from .errors import BadInput
from .movement import (
    coefficient_from_shrinkage,
    movement_of,
    shrinkage_from_coefficient,
    strain,
)

DEFAULT_FIBRE_SATURATION_PCT = 30.0
LOW_FIBRE_SATURATION_PCT = 22.0
LOW_FIBRE_SATURATION_WOODS = frozenset(
    {"redwood (old growth)", "redwood (young growth)", "western redcedar", "northern white-cedar"}
)

PROVENANCE_IN_WORDS: Mapping[str, str] = {
    "read": "read on the printed page",
    "read_shifted": "read on the printed page, name and numbers matched by order",
    "read_name_inferred": "numbers read on the printed page, the name supplied from memory",
    "read_partly": "one of the two numbers read on the printed page, the other from memory, unverified",
    "read_secondary": "read elsewhere, in a text that repeats the table",
    "read_secondary+memory": "partly read elsewhere, partly from memory, unverified",
    "memory": "from memory, unverified",
    "derived": "derived from other figures of this wood",
    "borrowed": "taken from a near relative",
    "assumed": "assumed, no figure found",
    "measured": "measured by the maker",
    "own": "the maker's own figure",
}
"""How a figure is known, in the words shown beside it."""


@dataclass(frozen=True)
class Fact:
    """Where one figure comes from.

    Attributes
    ----------
    source : str
        The printed table, or what the figure was derived from.
    provenance : str
        One of the keys of `PROVENANCE_IN_WORDS`.
    note : str
        Anything a careful reader should know; may be empty.
    """

    source: str
    provenance: str
    note: str = ""

    @property
    def words(self) -> str:
        """How the figure is known, for people."""
        return PROVENANCE_IN_WORDS.get(self.provenance, self.provenance)

    @property
    def verified(self) -> bool:
        """Whether the figure was read somewhere, and is not remembered, derived or assumed."""
        return self.provenance in {"read", "read_shifted", "read_secondary"}


@dataclass(frozen=True)
class Species:
    """One wood. Figures are means of a species; boards scatter about them by some 20 %.

    Attributes
    ----------
    name, handbook_name, group : str
        Trade name, the name in the handbook's tables, and hardwood, softwood, imported or own.
    c_radial_per_pct, c_tangential_per_pct : float
        Change of a dimension for one point of moisture content, as a fraction of it, between 6 and 14 %.
    shrinkage_radial_pct, shrinkage_tangential_pct : float
        Shrinkage from green to oven-dry [% of the green dimension].
    specific_gravity_12pct, specific_gravity_green : float
        Oven-dry mass on volume at 12 % and on green volume, water being 1.
    moe_mpa, tension_perp_kpa : float or None
        Bending modulus along the grain and strength in tension across it, at 12 % [MPa, kPa].
    et_el, er_el : float or None
        Stiffness across the grain as a ratio to that along it, tangential and radial.
    fibre_saturation_pct : float
        Moisture content above which the wood does not move, as the coefficients take it.
    facts : mapping of str to Fact
        By attribute name, where the figure comes from.
    """

    name: str
    handbook_name: str
    group: str
    c_radial_per_pct: float
    c_tangential_per_pct: float
    shrinkage_radial_pct: float
    shrinkage_tangential_pct: float
    specific_gravity_12pct: float
    specific_gravity_green: float
    moe_mpa: float | None = None
    tension_perp_kpa: float | None = None
    et_el: float | None = None
    er_el: float | None = None
    fibre_saturation_pct: float = DEFAULT_FIBRE_SATURATION_PCT
    facts: Mapping[str, Fact] = field(default_factory=dict, compare=False, repr=False)
    shrinkage_volumetric_pct: float | None = None

    @classmethod
    def from_table(
        cls,
        name: str,
        *,
        c_radial_per_pct: float | None = None,
        c_tangential_per_pct: float | None = None,
        shrinkage_radial_pct: float | None = None,
        shrinkage_tangential_pct: float | None = None,
        specific_gravity_12pct: float | None = None,
        specific_gravity_green: float | None = None,
        moe_mpa: float | None = None,
        tension_perp_kpa: float | None = None,
        et_el: float | None = None,
        er_el: float | None = None,
        fibre_saturation_pct: float = DEFAULT_FIBRE_SATURATION_PCT,
        source: str = "the maker's own table",
        note: str = "",
    ) -> "Species":
        """A wood of the maker's own, from whatever table they have.

        Needs, for each of radial and tangential, the coefficient or the total shrinkage (the other is
        derived), and one of the two specific gravities.

        Raises
        ------
        BadInput
            If a figure is missing or out of any reason, naming it.
        """
        if not name.strip():
            raise BadInput("", "name", "must be a name", name)
        figures: dict[str, Any] = {
            "c_radial_per_pct": _within("c_radial_per_pct", c_radial_per_pct, 0.0001, 0.01),
            "c_tangential_per_pct": _within("c_tangential_per_pct", c_tangential_per_pct, 0.0001, 0.01),
            "shrinkage_radial_pct": _within("shrinkage_radial_pct", shrinkage_radial_pct, 0.3, 25.0),
            "shrinkage_tangential_pct": _within(
                "shrinkage_tangential_pct", shrinkage_tangential_pct, 0.3, 25.0
            ),
            "specific_gravity_12pct": _within("specific_gravity_12pct", specific_gravity_12pct, 0.05, 1.4),
            "specific_gravity_green": _within("specific_gravity_green", specific_gravity_green, 0.05, 1.3),
            "moe_mpa": _within("moe_mpa", moe_mpa, 500.0, 40_000.0),
            "tension_perp_kpa": _within("tension_perp_kpa", tension_perp_kpa, 100.0, 20_000.0),
            "et_el": _within("et_el", et_el, 0.005, 1.0),
            "er_el": _within("er_el", er_el, 0.005, 1.0),
        }
        saturation = _within("fibre_saturation_pct", fibre_saturation_pct, 18.0, 40.0)
        for direction in ("radial", "tangential"):
            if figures[f"c_{direction}_per_pct"] is None and figures[f"shrinkage_{direction}_pct"] is None:
                rule = f"or shrinkage_{direction}_pct must be given"
                raise BadInput("", f"c_{direction}_per_pct", rule, None)
        if figures["specific_gravity_12pct"] is None and figures["specific_gravity_green"] is None:
            raise BadInput("", "specific_gravity_12pct", "or specific_gravity_green must be given", None)
        facts = {key: Fact(source, "own", note) for key, value in figures.items() if value is not None}
        facts["fibre_saturation_pct"] = Fact(source, "own", note)
        figures["fibre_saturation_pct"] = saturation
        _derive(figures, facts)
        return cls(name=name.strip(), handbook_name="", group="own", facts=facts, **figures)


class UnknownSpecies(BadInput):
    """A name no wood answers to.

    Attributes
    ----------
    near_matches : tuple of str
        Woods whose names come near, best first; may be empty.
    """

    def __init__(self, where: str, what: str, got: object, near_matches: tuple[str, ...]) -> None:
        near = f" (near: {', '.join(near_matches)})" if near_matches else ""
        super().__init__(where, what, f"must name a wood that is known here{near}", got)
        self.near_matches = near_matches


def find_species(name: str, own: Iterable[Species] = (), where: str = "", what: str = "species") -> Species:
    """The wood that goes by this name in the trade, the handbook or the maker's own book.

    Case, spaces, hyphens and accents don't matter; "ash, white", "White Ash" and "white-ash" are one.

    Parameters
    ----------
    name : str
        A trade name, synonym, handbook name or, for imported woods, botanical name.
    own : iterable of Species
        Woods of the maker's own; they go before the tables.
    where, what : str
        For the error: the file, and the key.

    Raises
    ------
    UnknownSpecies
        With near matches. A name that means several woods ("oak") is not guessed at.

    Examples
    --------
    >>> find_species("Hard Maple").name
    'sugar maple'
    """
    if not isinstance(name, str):
        raise UnknownSpecies(where, what, name, ())
    key = _plain(name)
    for wood in own:
        if _plain(wood.name) == key:
            return wood
    found = _by_any_name().get(key)
    if found is not None:
        return _catalogue()[found]
    raise UnknownSpecies(where, what, name, _near(key, own))


def all_species() -> tuple[Species, ...]:
    """Every wood of the tables, hardwoods, softwoods, then imported woods, each by name."""
    order = {"hardwood": 0, "softwood": 1, "imported": 2}
    return tuple(sorted(_catalogue().values(), key=lambda wood: (order[wood.group], wood.name.lower())))


def trade_names(species: Species) -> tuple[str, ...]:
    """The other names by which this wood is found."""
    return tuple(row["trade_name"] for row in _rows("trade_names") if row["common_name"] == species.name)


def species_from_measured_widths(
    name: str,
    like: Species,
    wide: tuple[float, float],
    narrow: tuple[float, float],
    ring_angle_deg: float = 0.0,
) -> Species:
    """A wood of the maker's own, from one board measured twice.

    Everything is taken from a wood it resembles, and that wood's movement is scaled, radial and tangential
    alike, until it carries the board exactly from the one measured width to the other.

    Parameters
    ----------
    name : str
        What to call it.
    like : Species
        The wood it resembles: gives density, stiffness and the ratio of radial to tangential.
    wide, narrow : (width_mm, mc_pct)
        The two measurements, the wider at the higher moisture content. They must lie at least 2 points
        apart: a hand meter is good to about one.
    ring_angle_deg : float
        Of the board measured; 0 flat-sawn, 90 quarter-sawn.

    Raises
    ------
    BadInput
        If the measurements contradict each other or say something no wood does.
    """
    (wide_mm, wide_mc), (narrow_mm, narrow_mc) = wide, narrow
    if not 0.0 < narrow_mm < wide_mm:
        raise BadInput("", "widths", "must be two lengths, the wider first", (wide_mm, narrow_mm))
    if not 0.0 <= narrow_mc < wide_mc <= like.fibre_saturation_pct:
        rule = f"must lie within 0 to {like.fibre_saturation_pct:g} % and be higher for the wider board"
        raise BadInput("", "moisture contents", rule, (wide_mc, narrow_mc))
    if wide_mc - narrow_mc < 2.0:
        raise BadInput("", "moisture contents", "must lie at least 2 points apart", (wide_mc, narrow_mc))
    movement = movement_of(like, ring_angle_deg)
    # narrow (1 + k s_wide) = wide (1 + k s_narrow), for the factor k on every strain.
    factor = (wide_mm - narrow_mm) / (
        narrow_mm * strain(movement, wide_mc) - wide_mm * strain(movement, narrow_mc)
    )
    if not 0.2 <= factor <= 4.0:
        rule = f"must show movement something like that of {like.name} (this is {factor:.2g} times as much)"
        raise BadInput("", "measured widths", rule, (wide, narrow))
    saturation = like.fibre_saturation_pct

    def scaled(shrinkage_pct: float) -> float:
        slope = coefficient_from_shrinkage(shrinkage_pct, saturation) * factor
        return shrinkage_from_coefficient(slope, saturation)

    source = f"two measured widths: {wide_mm:g} mm at {wide_mc:g} % and {narrow_mm:g} mm at {narrow_mc:g} %"
    note = f"{factor:.3g} times the movement of {like.name}; ring angle {ring_angle_deg:g} degrees"
    facts = dict(like.facts)
    for key in _MOVING:
        facts[key] = Fact(source, "measured", note)
    for key in facts.keys() - set(_MOVING):
        facts[key] = Fact(f"{like.name}: {facts[key].source}", "borrowed", facts[key].note)
    return replace(
        like,
        name=name.strip(),
        handbook_name="",
        group="own",
        c_radial_per_pct=like.c_radial_per_pct * factor,
        c_tangential_per_pct=like.c_tangential_per_pct * factor,
        shrinkage_radial_pct=scaled(like.shrinkage_radial_pct),
        shrinkage_tangential_pct=scaled(like.shrinkage_tangential_pct),
        facts=facts,
        shrinkage_volumetric_pct=None,
    )


_MOVING = ("c_radial_per_pct", "c_tangential_per_pct", "shrinkage_radial_pct", "shrinkage_tangential_pct")


def _within(what: str, value: float | None, low: float, high: float) -> float | None:
    if value is None:
        return None
    if not low <= value <= high:
        raise BadInput("", what, f"must lie in {low:g} to {high:g}", value)
    return float(value)


# --- from the tables to the woods -----------------------------------------------------------------

# Rows of Table 13-5 that stand for a trade lot or a group, and the woods of Table 4-3 that carry them.
# "Oak, black" there repeats the line of California black oak, so eastern black oak goes without.
_COEFFICIENT_ROW = {
    "white oak": "commercial white oak",
    "red oak": "commercial red oak",
    "black oak": None,
    "water oak": "water, laurel and willow oak",
    "laurel oak": "water, laurel and willow oak",
    "willow oak": "water, laurel and willow oak",
    "mockernut hickory": "true hickory",
    "pignut hickory": "true hickory",
    "shagbark hickory": "true hickory",
    "shellbark hickory": "true hickory",
}
_NOT_A_WOOD_OF_ITS_OWN = {"commercial white oak", "commercial red oak"}
_NOTES = {
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
_TYPICAL_SPECIFIC_GRAVITY = {"hardwood": 0.55, "softwood": 0.42, "imported": 0.60}


@cache
def _rows(table: str) -> list[dict[str, str]]:
    text = resources.files("model.wood").joinpath(f"data/{table}.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def _by_name(table: str) -> dict[str, dict[str, str]]:
    return {row["common_name"]: row for row in _rows(table)}


def _fact(row: Mapping[str, str]) -> Fact:
    return Fact(row["source"], row["provenance"], row["note"])


@cache
def _catalogue() -> dict[str, Species]:
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
    _derive(figures, facts, first["group"])
    for key in ("c_radial_per_pct", "c_tangential_per_pct"):
        if name in _NOTES:
            facts[key] = replace(facts[key], note="; ".join(filter(None, (_NOTES[name], facts[key].note))))
    if first["group"] == "imported" and coefficient is not None and shrinkage is not None:
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


def _derive(figures: dict[str, Any], facts: dict[str, Fact], group: str = "hardwood") -> None:
    """Fill in what is not printed from what is, and say so in the facts."""
    saturation = figures["fibre_saturation_pct"]
    if figures.get("shrinkage_tangential_pct") is None and figures.get("c_tangential_per_pct") is None:
        # (1 - V) = (1 - R)(1 - T): the printed three agree with this to a point or two, no better.
        volume, radial = figures["shrinkage_volumetric_pct"], figures["shrinkage_radial_pct"]
        figures["shrinkage_tangential_pct"] = round(
            100.0 * (1.0 - (1.0 - volume / 100) / (1.0 - radial / 100)), 1
        )
        note = "from the volumetric and the radial shrinkage; good to a point or two"
        facts["shrinkage_tangential_pct"] = Fact(facts["shrinkage_radial_pct"].source, "derived", note)
    for direction in ("radial", "tangential"):
        c_key, s_key = f"c_{direction}_per_pct", f"shrinkage_{direction}_pct"
        if figures.get(c_key) is None:
            figures[c_key] = coefficient_from_shrinkage(figures[s_key], saturation)
            note = f"C = 1/(100 FSP/S - FSP + 10) with FSP {saturation:g}; no coefficient is printed"
            facts[c_key] = Fact(f"{s_key}: {facts[s_key].source}", "derived", _also(note, facts[s_key]))
        elif figures.get(s_key) is None:
            figures[s_key] = shrinkage_from_coefficient(figures[c_key], saturation)
            note = f"S = 100 FSP/(1/C + FSP - 10) with FSP {saturation:g}; no shrinkage is printed"
            facts[s_key] = Fact(f"{c_key}: {facts[c_key].source}", "derived", _also(note, facts[c_key]))
    _derive_specific_gravity(figures, facts, group)


def _derive_specific_gravity(figures: dict[str, Any], facts: dict[str, Fact], group: str) -> None:
    dry, green = "specific_gravity_12pct", "specific_gravity_green"
    if figures.get(dry) is None and figures.get(green) is None:
        figures[dry] = _TYPICAL_SPECIFIC_GRAVITY[group]
        note = f"no figure for this wood; typical of the {group} group"
        facts[dry] = Fact("none", "assumed", note)
    # Specific gravity is oven-dry mass on volume, so the two differ by the shrinkage of volume to 12 %.
    volume = figures.get("shrinkage_volumetric_pct")
    if volume is None:
        volume = figures["shrinkage_radial_pct"] + figures["shrinkage_tangential_pct"]
    shrunk = 1.0 - volume / 100.0 * (1.0 - 12.0 / figures["fibre_saturation_pct"])
    for key, other, value in (
        (dry, green, lambda: figures[green] / shrunk),
        (green, dry, lambda: figures[dry] * shrunk),
    ):
        if figures.get(key) is None:
            figures[key] = round(value(), 3)
            note = f"from {other} and the shrinkage of volume"
            provenance = "assumed" if facts[other].provenance == "assumed" else "derived"
            facts[key] = Fact(facts[other].source, provenance, _also(note, facts[other]))


def _also(note: str, origin: Fact) -> str:
    """A derived figure is no surer than what it was derived from."""
    return note if origin.verified else f"{note}; the figure it rests on is {origin.words}"


def _say_where_tables_disagree(figures: Mapping[str, float], facts: dict[str, Fact]) -> None:
    for direction in ("radial", "tangential"):
        c_key, s_key = f"c_{direction}_per_pct", f"shrinkage_{direction}_pct"
        other = coefficient_from_shrinkage(figures[s_key], figures["fibre_saturation_pct"])
        if abs(other / figures[c_key] - 1.0) > 0.10:
            note = (
                f"Table 13-6 is used between 6 and 14 %; the shrinkage of Table 4-4 would give {other:.5f}, "
                "and is used outside that range: treat answers there as rougher"
            )
            facts[c_key] = replace(facts[c_key], note=f"{note}; {facts[c_key].note}".rstrip("; "))
            facts[s_key] = replace(facts[s_key], note=f"{note}; {facts[s_key].note}".rstrip("; "))


# --- names ------------------------------------------------------------------------------------------


def _plain(name: str) -> str:
    """The name without case, spaces, hyphens, commas or accents; grey is gray."""
    letters = unicodedata.normalize("NFKD", name).lower().replace("grey", "gray")
    return "".join(letter for letter in letters if letter.isascii() and letter.isalnum())


@cache
def _by_any_name() -> dict[str, str]:
    """Every name in plain letters, and the wood it means; a wood's own name goes before a synonym."""
    names: dict[str, str] = {}
    for wood in _catalogue().values():
        names[_plain(wood.name)] = wood.name
    for row in _rows("trade_names"):
        names.setdefault(_plain(row["trade_name"]), row["common_name"])
    for wood in _catalogue().values():
        short, _, bracket = wood.handbook_name.partition(" (")
        aliases = [wood.handbook_name, short, *(reversed_ for reversed_ in [_turned(short)] if reversed_)]
        if bracket and "spp" not in bracket and " and " not in bracket:
            aliases.append(bracket.rstrip(")"))
        for alias in aliases:
            names.setdefault(_plain(alias), wood.name)
    return names


def _turned(handbook_name: str) -> str:
    """ "Maple, sugar" as "sugar maple"."""
    head, comma, rest = handbook_name.partition(", ")
    return f"{rest} {head}" if comma else ""


def _near(key: str, own: Iterable[Species]) -> tuple[str, ...]:
    shown: dict[str, str] = {_plain(wood.name): wood.name for wood in _catalogue().values()}
    shown |= {_plain(row["trade_name"]): row["trade_name"] for row in _rows("trade_names")}
    shown |= {_plain(wood.name): wood.name for wood in own}
    close = difflib.get_close_matches(key, shown, n=6, cutoff=0.7)
    holding = sorted((plain for plain in shown if len(key) >= 3 and key in plain), key=len)
    whole_word = [plain for plain in holding if key in _words(shown[plain])]
    within = sorted((plain for plain in shown if len(plain) >= 4 and plain in key), key=len, reverse=True)
    near = [*whole_word, *close, *holding, *within] or difflib.get_close_matches(key, shown, n=3, cutoff=0.6)
    names: dict[str, str] = {}  # one name for each wood
    for plain in near:
        names.setdefault(_by_any_name().get(plain, plain), shown[plain])
    return tuple(names.values())[:6]


def _words(name: str) -> list[str]:
    return [_plain(word) for word in name.replace("-", " ").split()]
