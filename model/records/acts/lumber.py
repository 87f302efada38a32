"""What a stack's document says, and the check of it."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from model.wood.doubt import ASSUMED_DOUBT_PCT
from model.wood.errors import BadInput
from model.wood.material.metering import Metered
from model.wood.material.species import find_species
from model.wood.reason import Reason

PRONGS = ("", "straight", "in", "out")
"""How the prongs cut in a fresh section of a board stand: straight, pinched in, or bent out."""


@dataclass(frozen=True)
class Lumber:
    """What a stack's document says.

    Attributes
    ----------
    species : str
        By its trade name.
    thickness_mm : float
        Of one board, 2 to 150.
    mc_pct : float
        Mean moisture content when recorded [%], 0 to 60.
    mc_basis : str
        measured or assumed.
    stickered : bool
        Stickers between the boards, air to both faces; else dead-piled.
    width_mm : float, optional
        Mean board width.
    mc_low_pct, mc_high_pct : float, optional
        Driest and wettest board of the lot, as metered.
    readings_pct : tuple of float
        What the meter showed, one a board [%]; in place of `mc_pct`, which follows from them.
    how, depth : str
        As in `model.wood.material.metering`; empty when nobody said.
    wood_c : float, optional
        Temperature of the wood when it was metered [°C].
    set_for_wood : bool, optional
        Whether the meter was set for the wood.
    set_for : str
        Which wood it was set for instead, by its trade name.
    booklet_pct : float, optional
        The correction that its booklet gives [points].
    sealed_ends : bool
        A fact about the boards; moisture is followed through the thickness, where it changes nothing.
    prongs : str
        How the prongs of a fresh section stand: straight, in or out; empty when none was cut.
    rest_until : str
        The day up to which it rests before it is milled again, as 2026-03-12; empty when it doesn't.
    note : str
    """

    species: str
    thickness_mm: float
    mc_pct: float
    mc_basis: str = "measured"
    stickered: bool = True
    width_mm: float | None = None
    mc_low_pct: float | None = None
    mc_high_pct: float | None = None
    readings_pct: tuple[float, ...] = ()
    how: str = ""
    depth: str = ""
    wood_c: float | None = None
    set_for_wood: bool | None = None
    set_for: str = ""
    booklet_pct: float | None = None
    sealed_ends: bool = False
    prongs: str = ""
    rest_until: str = ""
    note: str = ""

    @property
    def metered(self) -> Metered | None:
        """What the meter said; none of a moisture content that nobody metered."""
        if self.mc_basis != "measured":
            return None
        if not self.readings_pct:  # what was found, with nothing to correct any more
            return self.metered_by((self.mc_pct,), wood_c=None, set_for="", booklet_pct=None)
        return self.metered_by(self.readings_pct)

    def metered_by(self, readings_pct: tuple[float, ...], **held: Any) -> Metered:
        """Readings of its boards; `held` is how, in place of how it was when it was recorded."""
        keys = ("how", "depth", "wood_c", "set_for_wood", "set_for", "booklet_pct")
        asked = {key: getattr(self, key) for key in keys} | held
        asked["set_for"] = find_species(asked["set_for"], what="set_for").name if asked["set_for"] else ""
        return Metered(readings_pct, self.thickness_mm, wood=find_species(self.species).name, **asked)

    @property
    def mc_doubt_pct(self) -> float:
        """The ± of its mean when recorded [points]."""
        return ASSUMED_DOUBT_PCT if self.metered is None else self.metered.doubt_pct

    @property
    def rest_hour(self) -> int:
        """The hour since 1970 at which its rest is over; 0 where it doesn't rest."""
        return 24 * (date.fromisoformat(self.rest_until) - date(1970, 1, 1)).days if self.rest_until else 0

    @property
    def cautions(self) -> list[Reason]:
        """What a maker has to know of these boards before they are milled."""
        return [Reason("case-hardened", {"how": self.prongs})] if self.prongs in ("in", "out") else []


def lumber_from_document(document: Mapping[str, Any], where: str) -> Lumber:
    """Check a stack's document; a missing, unknown or senseless key is named."""
    known = set(Lumber.__dataclass_fields__)
    for key in document:
        if key not in known:
            raise BadInput(where, key, f"must be one of {', '.join(sorted(known))}", document[key])
    needed = ("species", "thickness_mm", "readings_pct" if "readings_pct" in document else "mc_pct")
    for key in needed:
        if document.get(key) is None:
            raise BadInput(where, key, "must be given", document.get(key))
    lumber = _with_readings(document, where) if "readings_pct" in document else Lumber(**document)
    try:
        find_species(lumber.species)
    except BadInput as problem:
        raise BadInput(where, "species", problem.rule, lumber.species) from problem
    for key, least, most, unit in (
        ("thickness_mm", 2.0, 150.0, "mm"),
        ("mc_pct", 0.0, 60.0, "%"),
        ("width_mm", 10.0, 2000.0, "mm"),
        ("mc_low_pct", 0.0, 60.0, "%"),
        ("mc_high_pct", 0.0, 60.0, "%"),
    ):
        value = getattr(lumber, key)
        if value is None and key not in ("thickness_mm", "mc_pct"):
            continue
        if isinstance(value, bool) or not isinstance(value, int | float) or not least <= value <= most:
            raise BadInput(where, key, f"must be a number in {least:g} to {most:g} {unit}", value)
    for key in ("stickered", "sealed_ends"):
        if not isinstance(getattr(lumber, key), bool):
            raise BadInput(where, key, "must be true or false", getattr(lumber, key))
    if lumber.prongs not in PRONGS:
        raise BadInput(where, "prongs", f"must be one of {', '.join(filter(None, PRONGS))}", lumber.prongs)
    try:
        _ = lumber.rest_hour
    except (TypeError, ValueError) as problem:
        raise BadInput(where, "rest_until", "must be a day as 2026-03-12", lumber.rest_until) from problem
    if lumber.mc_basis not in ("measured", "assumed"):
        raise BadInput(where, "mc_basis", "must be measured or assumed", lumber.mc_basis)
    low, high = lumber.mc_low_pct, lumber.mc_high_pct
    if (low is not None and low > lumber.mc_pct) or (high is not None and high < lumber.mc_pct):
        raise BadInput(
            where,
            "mc_pct",
            f"must lie between the driest and the wettest board ({low} to {high} %)",
            lumber.mc_pct,
        )
    return lumber


def _with_readings(document: Mapping[str, Any], where: str) -> Lumber:
    """The lumber of a document whose moisture content follows from the meter's readings."""
    given = document["readings_pct"]
    if document.get("mc_pct") is not None:
        rule = "must be left out where the readings are given"
        raise BadInput(where, "mc_pct", rule, document["mc_pct"])
    readings = given if isinstance(given, list | tuple) and given else [given]
    for reading in readings:
        if isinstance(reading, bool) or not isinstance(reading, int | float) or not 0.0 <= reading <= 60.0:
            raise BadInput(where, "moisture content", "must be numbers in 0 to 60 %", given)
    wood_c = document.get("wood_c")
    if wood_c is not None and not (isinstance(wood_c, int | float) and -30.0 <= wood_c <= 60.0):
        raise BadInput(where, "wood_c", "must be a number in -30 to 60 °C", wood_c)
    first = Lumber(**{**document, "mc_pct": readings[0], "readings_pct": tuple(readings)})
    try:
        metered = replace(first, mc_basis="measured").metered
    except BadInput as problem:
        raise BadInput(where, problem.what, problem.rule, problem.got) from problem
    assert metered is not None
    boards = metered.boards_pct
    if len(boards) == 1:
        return replace(first, mc_pct=metered.mc_pct)
    return replace(first, mc_pct=metered.mc_pct, mc_low_pct=min(boards), mc_high_pct=max(boards))
