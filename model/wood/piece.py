"""A piece of furniture as typed classes: its members, its fits, and its document.

A document is the structure of a piece file: ``{"piece": {...}, "part": {name: {...}}, "fit": {name:
{...}}}``. The database holds the same tables row by row. One reading of it serves the file, the database
and the page, with one set of messages.
"""

import math
import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import tomli_w

from model.wood.design.patterns.request import expanded, folded
from model.wood.errors import BadInput
from model.wood.fits import Fit, fit_from_document
from model.wood.material.finish import BARE, permeance_of
from model.wood.material.member import (
    Amount,
    Finish,
    Member,
    member_document,
    member_from_document,
)
from model.wood.material.species import NORTH_AMERICA, Region, named_here
from model.wood.piece_table import NOTHING, Table, in_present_words

if TYPE_CHECKING:
    from model.wood.moisture.solver import Batch, Constants

__all__ = [
    "BARE",
    "Amount",
    "Finish",
    "Fit",
    "Member",
    "Piece",
    "document_of",
    "fit_from_document",
    "member_document",
    "member_from_document",
    "moisture_batch",
    "piece_from_document",
    "piece_table",
    "read_piece",
    "write_piece",
]

# What a maker may keep about a piece beside its name; text, and nothing is computed from it.
DETAILS = {
    "client": "who it is for",
    "maker": "who built it",
    "built": "when it was built",
    "number": "job number",
    "address": "where it went",
}


@dataclass(frozen=True)
class Piece:
    """One built object.

    Attributes
    ----------
    name : str
    members : mapping of name to Member
    fits : mapping of name to Fit
    note : str
    details : mapping of str to str
        The maker's own: client, maker, built, number, address.
    case : mapping, optional
        The [case] table it was made from, which draws it.
    """

    name: str
    members: Mapping[str, Member]
    fits: Mapping[str, Fit] = field(default_factory=dict)
    note: str = ""
    details: Mapping[str, str] = field(default_factory=dict)
    case: Mapping[str, Any] | None = None

    def with_members(self, change: Callable[[Member], Member]) -> "Piece":
        """The same piece of changed members, in its fits too.

        A fit checks itself again: changed members that contradict its geometry are bad input.
        """
        members = {name: change(member) for name, member in self.members.items()}
        fits = {name: fit.with_members(lambda m: members[m.name]) for name, fit in self.fits.items()}
        return replace(self, members=members, fits=fits)

    def references(self) -> dict[str, float]:
        """The moisture content at which each member was measured [%]."""
        return {name: member.mc_pct for name, member in self.members.items()}


def piece_from_document(document: Mapping[str, Any], where: str = "") -> Piece:
    """A piece from its document.

    Parameters
    ----------
    document : mapping
        ``{"piece": {...}, "part": {...}, "fit": {...}}``; lengths as text with a unit or mm numbers.
    where : str
        File or record, for messages.

    Raises
    ------
    BadInput
        For the first rule that is broken: where, key, rule, value.
    """
    document = in_present_words(document)
    if not isinstance(document, Mapping):
        raise BadInput(where, "piece file", "must be tables [piece], [part.name], [fit.name]", document)
    for key, value in document.items():
        if key not in ("piece", "part", "fit"):
            rule = "is no table of a piece file; these are piece, case, part and fit"
            raise BadInput(where, str(key), rule, value)
    if "piece" not in document:
        raise BadInput(where, "piece", "must be given (a table with the piece's name)", NOTHING)
    table = Table(document["piece"], where, "piece", "a piece")
    name = table.text("name", "what the piece is called")
    note = table.text("note", "anything worth keeping", "")
    case = table.take("case", "the case it was made from", None)
    details = {}
    for key, meaning in DETAILS.items():
        value = table.take(key, meaning, None)
        if value is None:
            continue
        if isinstance(value, bool | Mapping | list):
            raise table.bad(key, f"must be text ({meaning})", value)
        details[key] = str(value)
    table.refuse_the_rest()
    members = {
        str(key): member_from_document(str(key), values, where)
        for key, values in _tables(document, "part", where).items()
    }
    if not members:
        raise BadInput(where, "part", "must hold at least one part ([part.name])", NOTHING)
    fits = {
        str(key): fit_from_document(str(key), values, members, where)
        for key, values in _tables(document, "fit", where).items()
    }
    return Piece(name.strip(), members, fits, note, details, case)


def _tables(document: Mapping[str, Any], kind: str, where: str) -> Mapping[str, Any]:
    found = document.get(kind) or {}
    if not isinstance(found, Mapping):
        raise BadInput(where, kind, f"must be tables [{kind}.name]", found)
    return found


def piece_table(piece: Piece) -> dict[str, Any]:
    """The [piece] table of a piece."""
    table: dict[str, Any] = {"name": piece.name}
    if piece.note:
        table["note"] = piece.note
    if piece.case:
        table["case"] = dict(piece.case)
    return table | dict(piece.details)


def document_of(piece: Piece) -> dict[str, Any]:
    """The document of a piece: lengths as mm numbers, instants as ISO 8601 text, fit for JSON and TOML."""
    return {
        "piece": piece_table(piece),
        "part": {name: member_document(member) for name, member in piece.members.items()},
        "fit": {name: fit.document() for name, fit in piece.fits.items()},
    }


_TOML_PLACE = re.compile(r"\s*\(at (?:line (?P<line>\d+), column \d+|end of document)\)$")


def read_piece(text: str, where: str = "", region: Region = NORTH_AMERICA) -> Piece:
    """A piece from the text of its piece file (TOML), the parts and fits of its [case] made.

    BadInput for the first rule that is broken.

    A trade name that means other woods on the two sides of the ocean is that of the region.
    """
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        said = str(problem)
        place = _TOML_PLACE.search(said)
        line = int(place["line"]) if place and place["line"] else len(text.splitlines())
        lines = text.splitlines() or [""]
        got = lines[min(max(line, 1), len(lines)) - 1].strip()
        rule = f"must be TOML ({_TOML_PLACE.sub('', said)})"
        raise BadInput(where, f"line {line}", rule, got) from problem
    members = document.get("part") or document.get("member")
    for table in members.values() if isinstance(members, dict) else ():
        if isinstance(table, dict) and "species" in table:
            table["species"] = named_here(table["species"], region)
    return piece_from_document(expanded(document, where), where)


def write_piece(piece: Piece) -> str:
    """The piece file (TOML) of a piece; reading it gives the same piece."""
    document = folded(document_of(piece), lambda tables: document_of(piece_from_document(tables)))
    return tomli_w.dumps(document)


def moisture_batch(members: Sequence[Member]) -> "Batch":
    """The constants with which the moisture solver follows these members, in their order."""
    from model.wood.moisture.solver import (
        Batch,  # here: the solver takes a moment to load, and most need it not
    )

    return Batch.of(
        [
            solver_constants(m.thickness_mm, m.species.specific_gravity_12pct, m.finish, m.ring_angle_deg)
            for m in members
        ]
    )


def solver_constants(
    thickness_mm: float, specific_gravity: float, finish: Finish, ring_angle_deg: float
) -> "Constants":
    """The solver's constants of a board; `specific_gravity` at 12 % MC."""
    from model.wood.moisture.diffusion import diffusion_scale_at
    from model.wood.moisture.solver import Constants

    def film(name: str, coats: int) -> float:
        return math.nan if name == BARE else permeance_of(name, coats).permeance

    return Constants(
        thickness_mm,
        specific_gravity,
        # Specific gravity at 12 % is oven-dry mass on the volume there, which is near enough to that in use.
        1000.0 * specific_gravity,
        film(finish.face, finish.face_coats),
        film(finish.back, finish.back_coats),
        float(diffusion_scale_at(ring_angle_deg)),
    )
