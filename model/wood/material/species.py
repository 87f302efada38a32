"""Woods by trade name: how much each moves, how heavy and how stiff it is, and where each figure comes from.

The tables in ``data/`` are those of the Wood Handbook (FPL-GTR-190, 2010) and of European sources, with, row
by row, how the row was read. Every figure of a `Species` carries a `Fact` that says so, because some were
read on the printed page, some elsewhere, some are remembered, and some had to be derived.
"""

import difflib
import unicodedata
from collections.abc import Mapping
from functools import cache
from typing import Literal

from model.wood.errors import BadInput
from model.wood.material.species_record import PROVENANCE_IN_WORDS as PROVENANCE_IN_WORDS
from model.wood.material.species_record import Fact as Fact
from model.wood.material.species_record import Species as Species
from model.wood.material.species_tables import catalogue, rows
from model.wood.reason import Reason

Region = Literal["north america", "europe"]
NORTH_AMERICA: Region = "north america"
EUROPE: Region = "europe"
"""The two sides of the ocean on which one trade name may mean two woods."""

# Names of several woods, or of what is no solid wood: what to choose from, or what to do instead.
_CHOICES: Mapping[str, tuple[str, ...]] = {
    "oak": ("white oak", "red oak", "European oak"),
    "maple": ("sugar maple", "red maple", "European sycamore"),
    "birch": ("yellow birch", "paper birch", "silver birch"),
    "pine": ("eastern white pine", "ponderosa pine", "loblolly pine", "Scots pine"),
    "spruce": ("Engelmann spruce", "Sitka spruce", "Norway spruce"),
    "fir": ("Douglas-fir (coast)", "white fir", "silver fir"),
    "cedar": ("western redcedar", "eastern redcedar", "spanish-cedar"),
    "rosewood": ("Indian rosewood", "Brazilian rosewood"),
    "meranti": ("red meranti", "white meranti", "yellow meranti"),
}
_SHEET_GOODS = frozenset({"plywood", "ply", "mdf", "particleboard", "chipboard", "hardboard", "blockboard"})
_NO_FIGURES = frozenset({"padauk", "padouk", "africanpadauk", "zebrano", "zebrawood"})


class UnknownSpecies(BadInput):
    """A name that no wood answers to, or several do.

    Attributes
    ----------
    near_matches : tuple of str
        Woods to choose from, or whose names come near, best first; may be empty.
    """

    def __init__(
        self, where: str, what: str, got: object, near_matches: tuple[str, ...], rule: str = ""
    ) -> None:
        near = f" (near: {', '.join(near_matches)})" if near_matches else ""
        super().__init__(where, what, rule or f"must name a wood that is known here{near}", got)
        self.near_matches = near_matches


def find_species(
    name: str, where: str = "", what: str = "species", region: Region = NORTH_AMERICA
) -> Species:
    """The wood that goes by this trade name, synonym, handbook name or, for imported woods, botanical name.

    Case, spaces, hyphens and accents don't matter; "ash, white", "White Ash" and "white-ash" are one. "Ash",
    "cherry", "walnut" and others are different woods in Europe. `where` and `what` are for the error.

    Raises
    ------
    UnknownSpecies
        With woods to choose from ("oak", "plywood"), or near matches. A name that means several woods is
        not guessed at.

    Examples
    --------
    >>> find_species("Hard Maple").name, find_species("sycamore", region="europe").name
    ('sugar maple', 'European sycamore')
    """
    if not isinstance(name, str):
        raise UnknownSpecies(where, what, name, ())
    key = _plain(name)
    found = _by_any_name(region).get(key)
    if found is not None:
        return catalogue()[found]
    if key in _CHOICES:
        *most, last = _CHOICES[key]
        rule = f"must say which ({', '.join(most)} or {last}?)"
        raise UnknownSpecies(where, what, name, _CHOICES[key], rule)
    if key in _SHEET_GOODS:
        rule = (
            "must be solid wood; sheet goods hardly move (leave the part out, or name the wood of its edging)"
        )
        raise UnknownSpecies(where, what, name, (), rule)
    if key in _NO_FIGURES:
        rule = "must be a wood whose movement is published; that of this one could not be found"
        raise UnknownSpecies(where, what, name, (), rule)
    raise UnknownSpecies(where, what, name, _near(key))


def named_here(name: str, region: Region) -> str:
    """A wood's own name, where what it was called means another wood elsewhere; else as it was called."""
    here = _ocean_names(region).get(_plain(name)) if isinstance(name, str) else None
    return name if here is None else here


def region_reason(name: str, region: Region) -> Reason | None:
    """How a name was read that means other woods on the two sides of the ocean; None for any other."""
    here = _ocean_names(region).get(_plain(name))
    if here is None:
        return None
    other, over_there = (EUROPE, "Europe") if region == NORTH_AMERICA else (NORTH_AMERICA, "North America")
    there = _ocean_names(other).get(_plain(name))
    return Reason(
        "read-as",
        {"how": "both" if there else "", "name": name, "species": here, "region": over_there, "other": there},
    )


def all_species() -> tuple[Species, ...]:
    """Every wood of the tables, hardwoods, softwoods, then imported woods, each by name."""
    order = {"hardwood": 0, "softwood": 1, "imported": 2}
    return tuple(sorted(catalogue().values(), key=lambda wood: (order[wood.group], wood.name.lower())))


# --- names ------------------------------------------------------------------------------------------


def _plain(name: str) -> str:
    """The name without case, spaces, hyphens, commas or accents; grey is gray."""
    letters = unicodedata.normalize("NFKD", name).lower().replace("grey", "gray")
    return "".join(letter for letter in letters if letter.isascii() and letter.isalnum())


@cache
def _ocean_names(region: Region) -> dict[str, str]:
    """Trade names in plain letters that mean this wood in this region only."""
    return {
        _plain(row["trade_name"]): row["common_name"]
        for row in rows("trade_names")
        if row["region"] == region
    }


@cache
def _by_any_name(region: Region) -> dict[str, str]:
    """Every name in plain letters, and the wood it means; a wood's own name goes before a synonym."""
    names: dict[str, str] = {}
    for wood in catalogue().values():
        names[_plain(wood.name)] = wood.name
    for row in rows("trade_names"):
        if row["region"] in ("", region):
            names.setdefault(_plain(row["trade_name"]), row["common_name"])
    for wood in catalogue().values():
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


def _near(key: str) -> tuple[str, ...]:
    shown: dict[str, str] = {_plain(wood.name): wood.name for wood in catalogue().values()}
    shown |= {_plain(row["trade_name"]): row["trade_name"] for row in rows("trade_names")}
    close = difflib.get_close_matches(key, shown, n=6, cutoff=0.7)
    holding = sorted((plain for plain in shown if len(key) >= 3 and key in plain), key=len)
    whole_word = [plain for plain in holding if key in _words(shown[plain])]
    within = sorted((plain for plain in shown if len(plain) >= 4 and plain in key), key=len, reverse=True)
    # Woods whose coefficients were read go first: they are the common ones.
    whole_word.sort(key=lambda plain: not _well_known(plain))
    near = [*whole_word, *close, *holding, *within] or difflib.get_close_matches(key, shown, n=3, cutoff=0.6)
    names: dict[str, str] = {}  # one name for each wood, its own when that comes near
    for plain in near:
        wood = _by_any_name(NORTH_AMERICA).get(plain, plain)
        names[wood] = wood if shown[plain] == wood else names.get(wood, shown[plain])
    return tuple(names.values())[:6]


def _well_known(plain: str) -> bool:
    wood = catalogue().get(_by_any_name(NORTH_AMERICA).get(plain, ""))
    return wood is not None and wood.facts["c_tangential_per_pct"].verified


def _words(name: str) -> list[str]:
    return [_plain(word) for word in name.replace("-", " ").split()]
