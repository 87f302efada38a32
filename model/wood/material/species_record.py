"""One wood and what is known of it, with, figure by figure, how it is known.

What a table doesn't print is derived from what it does by `derive`, and marked so.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from model.wood.reason import Reason

DEFAULT_FIBRE_SATURATION_PCT = 30.0
REFERENCE_PCT = 10.0
"""The moisture content at whose dimension the coefficients are slopes, and at which strain is zero."""
_TYPICAL_SPECIFIC_GRAVITY = {"hardwood": 0.55, "softwood": 0.42, "imported": 0.60}

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
}
"""How a figure is known, in the words shown beside it."""


_FROM_MEMORY = "from memory"


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
    def is_remembered(self) -> bool:
        """Whether the figure, or one that it was derived from, was not read anywhere."""
        remembered = self.provenance in {"memory", "read_secondary+memory", "read_partly"}
        return remembered or (self.provenance == "derived" and _FROM_MEMORY in self.note)

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
        Trade name, the name in the handbook's tables, and hardwood, softwood or imported.
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

    @property
    def movement_provenance(self) -> str:
        """How its movement is known: a key of `PROVENANCE_IN_WORDS`, "memory" if any part is remembered."""
        known = [self.facts[key] for key in MOVEMENT if key in self.facts]
        if any(fact.is_remembered for fact in known):
            return "memory"
        return known[-1].provenance if known else "assumed"

    @property
    def cautions(self) -> tuple[Reason, ...]:
        """What has to be said beside any size reckoned for this wood; often nothing."""
        found = []
        if self.movement_provenance == "memory":
            found.append(Reason("wood-remembered", {"species": self.name}))
        if self.name in SAID:
            found.append(Reason("wood-note", {"how": SAID[self.name], "about": self.name}))
        return tuple(found)


MOVEMENT = ("c_radial_per_pct", "c_tangential_per_pct")
SAID: Mapping[str, str] = {
    **dict.fromkeys(("sweet chestnut", "common alder", "pear", "maritime pine"), "no-coefficient"),
    **dict.fromkeys(("European walnut", "European larch", "teak"), "sources-differ"),
    "northern red oak": "red-oaks",
    "red maple": "soft-maple",
}
"""What a maker should know of a wood whose published figures differ, or are thin."""


def coefficient_from_shrinkage(shrinkage_pct: float, fibre_saturation_pct: float = 30.0) -> float:
    """Slope on the dimension at 10 % that a total shrinkage amounts to, 1/(100 FSP/S - FSP + 10).

    Wood Handbook (FPL-GTR-190, 2010) eq. 13-3 at 10 % moisture content; it reproduces the printed
    coefficients of Table 13-5.

    >>> round(coefficient_from_shrinkage(7.1), 5)
    0.00248
    """
    return 1.0 / (100.0 * fibre_saturation_pct / shrinkage_pct - fibre_saturation_pct + REFERENCE_PCT)


def shrinkage_from_coefficient(coefficient_per_pct: float, fibre_saturation_pct: float = 30.0) -> float:
    """Total shrinkage [%] that a coefficient amounts to: the inverse of `coefficient_from_shrinkage`.

    >>> round(shrinkage_from_coefficient(0.00248), 1)
    7.1
    """
    return 100.0 * fibre_saturation_pct / (1.0 / coefficient_per_pct + fibre_saturation_pct - REFERENCE_PCT)


def derive(figures: dict[str, Any], facts: dict[str, Fact], group: str = "hardwood") -> None:
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
    if not origin.verified:
        note = f"{note}; the figure it rests on is {origin.words}"
    return note
