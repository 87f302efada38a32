"""What a stack's document says, and the check of it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from model.wood.errors import BadInput
from model.wood.material.species import find_species


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
    note: str = ""


def lumber_from_document(document: Mapping[str, Any], where: str) -> Lumber:
    """Check a stack's document; a missing, unknown or senseless key is named."""
    known = set(Lumber.__dataclass_fields__)
    for key in document:
        if key not in known:
            raise BadInput(where, key, f"must be one of {', '.join(sorted(known))}", document[key])
    for key in ("species", "thickness_mm", "mc_pct"):
        if document.get(key) is None:
            raise BadInput(where, key, "must be given", document.get(key))
    lumber = Lumber(**document)
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
    if not isinstance(lumber.stickered, bool):
        raise BadInput(where, "stickered", "must be true or false", lumber.stickered)
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
