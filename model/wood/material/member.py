"""A piece of solid wood in a piece of furniture: what it is, how wide, at which moisture content."""

from dataclasses import dataclass, field, replace
from datetime import date, datetime
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from model.wood.errors import BadInput
from model.wood.material.finish import BARE, permeance_of, resolve
from model.wood.material.movement import (
    Movement,
    coefficient_band,
    movement_of,
    ring_angle_of_cut,
    strain,
    thickness_movement_of,
)
from model.wood.material.ring_angle import cut_document
from model.wood.material.species import Species, find_species
from model.wood.piece_table import NOTHING, Table

Amount = float | NDArray[np.float64]

# Figured wood has no one ring angle; at 45 degrees the coefficient is the mean of the two.
FIGURED_ANGLE_DEG = 45.0
SHEET_DOUBT = 0.0027 / 2.0
"""Of the width of plywood, as a ±: it grew by 0.18 to 0.27 % from 30 to 90 % RH (measured for a trade
handbook of plywood, as repeated elsewhere)."""


@dataclass(frozen=True)
class Finish:
    """What closes the two faces of a member: a finish by name and its coats, or "none" for bare wood."""

    face: str = BARE
    face_coats: int = 0
    back: str = BARE
    back_coats: int = 0


@dataclass(frozen=True)
class Member:
    """A piece of solid wood whose width matters, with the pair of width and moisture it was measured at.

    Attributes
    ----------
    name : str
    species : Species
    ring_angle_deg : float
        Angle between growth rings and the wide face: 0 flat-sawn, 90 quarter-sawn.
    width_mm : float
        Across the grain, as measured at `mc_pct`.
    mc_pct : float
        Moisture content when the width was measured [% of oven-dry mass].
    thickness_mm : float
    finish : Finish
    figured : bool
        Burl, crotch or wild grain: its grain runs every way, so its movement is a wide band.
    on_sheet : bool
        Veneer on sheet goods, which stand still: its width doesn't move, within `sheet_doubt_mm`.
    movement_factor : float
        This wood's own movement against its species' table, from a re-measured width; 1 as in the table.
    mc_basis : str
        "measured", or "assumed" when nobody metered it.
    mc_doubt_pct : float, optional
        The ± of its moisture content [points], where more is known of it than its basis says.
    role, note : str
        The maker's own words.
    length_mm : float, optional
        Along the grain.
    alike : int
        How many parts are just like this one: for words and stock, never for margins.
    measured_at, finished_at : datetime, optional
        When width and moisture were measured; when the finish went on. Aware UTC.
    rest_until : date, optional
        The day up to which it rests, as a resawn leaf does before it is milled again.
    """

    name: str
    species: Species
    ring_angle_deg: float
    width_mm: float
    mc_pct: float
    thickness_mm: float
    finish: Finish = field(default_factory=Finish)
    figured: bool = False
    on_sheet: bool = False
    movement_factor: float = 1.0
    mc_basis: str = "measured"
    mc_doubt_pct: float | None = None
    role: str = ""
    note: str = ""
    length_mm: float | None = None
    alike: int = 1
    measured_at: datetime | None = None
    finished_at: datetime | None = None
    rest_until: date | None = None

    @property
    def called(self) -> str:
        """The part by its role, `the front of the top drawer`; by its name where it has none."""
        # A role may go on to say how: "bottom, trapped in the box's grooves".
        role = (self.role.split(",")[0].strip() or self.name).replace("_", " ")
        return role if role.split()[0].lower() in ("the", "each", "both", "all") else f"the {role}"

    @cached_property
    def movement(self) -> Movement:
        """How the width moves with moisture; figured wood by the mean of its two coefficients."""
        angle = FIGURED_ANGLE_DEG if self.figured else self.ring_angle_deg
        return movement_of(self.species, angle).scaled(0.0 if self.on_sheet else self.movement_factor)

    @cached_property
    def thickness_movement(self) -> Movement:
        """How the thickness moves: the rings stand the other way to it."""
        angle = FIGURED_ANGLE_DEG if self.figured else self.ring_angle_deg
        return thickness_movement_of(self.species, angle).scaled(self.movement_factor)

    @property
    def sheet_doubt_mm(self) -> float:
        """How far the width of veneer on sheet goods may be out [mm], as a ±; 0 of solid wood."""
        return SHEET_DOUBT * self.width_mm if self.on_sheet else 0.0

    @property
    def fibre_saturation_pct(self) -> float:
        return float(self.movement.fibre_saturation_pct)

    def width_at(self, mc_pct: Amount) -> Amount:
        """Width [mm] at other moisture contents [%]; float in, float out; array in, array out."""
        grown = 1.0 + strain(self.movement, mc_pct)
        width_mm: Amount = self.width_mm * grown / self._measured_at_strain
        return width_mm

    @cached_property
    def _measured_at_strain(self) -> float:
        return 1.0 + strain(self.movement, self.mc_pct)

    def strain_from(self, reference_mc_pct: float, mc_pct: Amount) -> Amount:
        """Growth of each mm of width from one moisture content to others; negative is shrinking."""
        start = 1.0 + strain(self.movement, reference_mc_pct)
        return (strain(self.movement, mc_pct) + 1.0 - start) / start

    def thickness_strain_from(self, reference_mc_pct: float, mc_pct: Amount) -> Amount:
        start = 1.0 + strain(self.thickness_movement, reference_mc_pct)
        return (strain(self.thickness_movement, mc_pct) + 1.0 - start) / start

    def movement_band(self) -> tuple[float, float]:
        """Least and greatest movement this wood may show, as factors of what is computed for it.

        A plain board scatters about its table; figured wood runs from the radial coefficient to above the
        tangential one, because its grain runs every way (see `movement.coefficient_band`).
        """
        band = coefficient_band(self.species, self.ring_angle_deg, self.figured)
        return band.low / band.central, band.high / band.central

    def moving_by(self, factor: float) -> "Member":
        """The same member with its movement multiplied by a factor."""
        return replace(self, movement_factor=self.movement_factor * factor)


def ring_angle_from(table: Table, is_free: bool) -> float:
    """Ring angle of a member's table, from its cut or in degrees; either may be left out where `is_free`."""
    both = table.has("cut") and table.has("ring_angle_deg")
    if both:
        raise table.bad(
            "ring_angle_deg", "must be left out when cut is given", table.values["ring_angle_deg"]
        )
    angle = table.number(
        "ring_angle_deg", "angle of the growth rings to the face", 0.0, 90.0, None, "degrees"
    )
    cut = table.take("cut", "flat-sawn, rift or quarter-sawn", None)
    if angle is not None:
        return float(angle)
    if cut is None:
        if is_free:
            return FIGURED_ANGLE_DEG
        raise table.bad(
            "cut", "must be given (flat-sawn, rift-sawn or quarter-sawn), or ring_angle_deg", NOTHING
        )
    if not isinstance(cut, str):
        raise table.bad("cut", "must be flat-sawn, rift-sawn or quarter-sawn (or give ring_angle_deg)", cut)
    return ring_angle_of_cut(cut, table.where, table.key("cut"))


MOST_DOUBT_PCT = 5.0


def doubt_from(table: Table) -> float | None:
    """How far the moisture content of a table may be out [points], where it says so."""
    found: float | None = table.number(
        "mc_doubt_pct", "how far mc_pct may be out", 0.0, MOST_DOUBT_PCT, None, "points"
    )
    return found


def _one_face(table: Table, side: str, coats_key: str, name: str, coats: int | None) -> tuple[str, int]:
    try:
        if resolve(name) == BARE:
            return BARE, 0
        if coats is None:
            raise table.bad("coats", f"must be given (coats of {name})", NOTHING)
        permeance_of(name, coats)
    except BadInput as problem:
        if problem.where:
            raise
        key = coats_key if problem.what.startswith("coats") else side
        raise BadInput(table.where, table.key(key), problem.rule, problem.got) from problem
    return name.strip(), coats


def finish_from(values: object, where: str, path: str) -> Finish:
    """The finish of a member from its `finish` table; the back is as the face unless it is named."""
    if values is None:
        return Finish()
    if isinstance(values, str):
        if values.strip().lower() in (BARE, "bare"):
            return Finish()
        raise BadInput(where, path, 'must be "none" or a table with face, coats and back', values)
    table = Table(values, where, path, "a finish")
    face = table.text("face", "finish of the show face", BARE)
    coats = table.count("coats", "coats of finish", None, least=0)
    back = table.text("back", "finish of the back", face)
    back_coats = table.count("back_coats", "coats on the back", coats, least=0)
    table.refuse_the_rest()
    back_key = "back_coats" if table.has("back_coats") else "coats"
    face, face_coats = _one_face(table, "face", "coats", face, coats)
    back, back_coats = _one_face(table, "back", back_key, back, back_coats)
    return Finish(face, face_coats, back, back_coats)


def member_from_document(name: str, values: object, where: str = "") -> Member:
    """A member from its [part.name] table.

    Raises
    ------
    BadInput
        For a missing or unknown key, an unknown wood, a moisture content beyond fibre saturation ...
    """
    table = Table(values, where, f"part.{name}", "a part")
    wood = table.text("species", "the wood, by its trade name")
    species = find_species(wood, where, table.key("species"))
    figured = table.flag("figured", "burl, crotch or wild grain", False)
    on_sheet = table.flag("on_sheet", "veneer on sheet goods, which do not move", False)
    angle = ring_angle_from(table, figured or on_sheet)
    width = table.length("width", "width across the grain")
    saturation = movement_of(species, angle).fibre_saturation_pct
    mc = table.number(
        "mc_pct",
        "moisture content when the width was measured",
        0.0,
        saturation,
        unit="%",
        why=f"fibre saturation of {species.name}",
    )
    thickness = table.length("thickness", "thickness")
    rest_until = table.instant("rest_until", "the day its rest is over")
    finish = finish_from(table.take("finish", "finish of both faces", None), where, table.key("finish"))
    member = Member(
        name=name,
        species=species,
        ring_angle_deg=angle,
        width_mm=width,
        mc_pct=mc,
        thickness_mm=thickness,
        finish=finish,
        figured=figured,
        on_sheet=on_sheet,
        movement_factor=table.number("movement_factor", "movement against the species' table", 0.1, 5.0, 1.0),
        mc_basis=table.choice("mc_basis", "how mc_pct is known", ("measured", "assumed"), "measured"),
        mc_doubt_pct=doubt_from(table),
        role=table.text("role", "what the part is", ""),
        note=table.text("note", "anything worth keeping", ""),
        length_mm=table.length("length", "length along the grain", None),
        alike=table.count("alike", "how many parts are just like this one", 1),
        measured_at=table.instant("measured_at", "when width and moisture were measured"),
        finished_at=table.instant("finished_at", "when the finish went on"),
        rest_until=None if rest_until is None else rest_until.date(),
    )
    table.refuse_the_rest()
    return member


def finish_document(finish: Finish) -> dict[str, Any]:
    """A finish as its `finish` table."""
    table: dict[str, Any] = {"face": finish.face, "coats": finish.face_coats, "back": finish.back}
    if finish.back_coats != finish.face_coats and finish.back != BARE:
        table["back_coats"] = finish.back_coats
    return table


def member_document(member: Member) -> dict[str, Any]:
    """A member as its [part.name] table: lengths as mm numbers, instants as ISO 8601 text."""
    document: dict[str, Any] = {"species": member.species.name}
    document |= cut_document(member.ring_angle_deg)
    document |= {"width": member.width_mm, "mc_pct": member.mc_pct, "thickness": member.thickness_mm}
    if member.finish != Finish():
        document["finish"] = finish_document(member.finish)
    for key, value, usual in (
        ("figured", member.figured, False),
        ("on_sheet", member.on_sheet, False),
        ("movement_factor", member.movement_factor, 1.0),
        ("mc_basis", member.mc_basis, "measured"),
        ("mc_doubt_pct", member.mc_doubt_pct, None),
        ("role", member.role, ""),
        ("note", member.note, ""),
        ("length", member.length_mm, None),
        ("alike", member.alike, 1),
        ("measured_at", member.measured_at, None),
        ("finished_at", member.finished_at, None),
        ("rest_until", member.rest_until, None),
    ):
        if value != usual:
            document[key] = value.isoformat() if isinstance(value, date) else value
    return document
