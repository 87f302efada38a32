"""A piece as it is being written down: what was typed, as a document, and what is wrong with it so far.

A draft is plain data that the browser can keep: texts as typed, in the unit of the form they were typed on.

    {"units": "inch", "piece": {...}, "members": [{...}], "fits": [{"kind": ...}]}
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from dashboard.forms.fields import Faulty, length_typed, number_typed, with_unit
from model.wood.errors import BadInput
from model.wood.fits import Field, Fit, fit_from_document, kind_named
from model.wood.material.member import Member, member_from_document
from model.wood.material.species import NORTH_AMERICA, Region, named_here
from model.wood.piece import Piece, piece_from_document
from model.words.display import Units

Draft = dict[str, Any]

KEPT = (
    "ring_angle_deg",
    "mc_basis",
    "mc_doubt_pct",
    "measured_at",
    "finished_at",
    "rest_until",
    "role",
    "note",
    "movement_factor",
    "length",
    "alike",
)
"""What a member's document may hold beside what the form asks; an edit hands it on untouched."""

Spot = tuple[str, int, str]
"""A field of the form: its section, its row there and its key."""

MEMBER_FIELDS = {
    "name": ("", "name"),
    "species": ("needed", "wood"),
    "cut": ("", "cut"),
    "grain": ("", "grain"),
    "rest_until": ("", "rest"),
    "width": ("mm", "width"),
    "mc_pct": ("%", "moisture content"),
    "thickness": ("mm", "thickness"),
    "face": ("", "finish"),
    "coats": ("", "coats"),
    "back": ("", "finish of the back"),
    "back_coats": ("", "coats on the back"),
}
"""What the form asks of a part: how it is read, and what a refusal calls it."""

GRAINS = {
    "": "plain grain",
    "figured": "crotch, burl or wild grain",
    "on_sheet": "veneer on sheet goods",
}
"""What a part is made of, by the key that says so in its document."""
EXACT_MM = 0.01
USUAL_KIND = "panel-in-groove"
"""The kind of fit the form offers first."""


@dataclass(frozen=True)
class Checked:
    """What a draft comes to so far.

    Attributes
    ----------
    document : mapping
        The piece's document.
    piece : Piece or None
        The piece, when nothing is wrong.
    members, fits : mapping
        Those that are right already.
    problems : sequence of (where, message)
        The first rule each part breaks, in the order of the form.
    faults : mapping of (section, row, key) to message
        What is wrong, by the field it stands in: what can't be read, what is asked back, what is missing.
    """

    document: dict[str, Any]
    piece: Piece | None = None
    members: Mapping[str, Member] = field(default_factory=dict)
    fits: Mapping[str, Fit] = field(default_factory=dict)
    problems: Sequence[tuple[str, BadInput]] = ()
    faults: Mapping["Spot", BadInput] = field(default_factory=dict)


def new_draft(units: Units) -> Draft:
    """A draft with one member and nothing in it."""
    return {"units": units, "piece": {}, "members": [new_member(1)], "fits": []}


def is_draft(given: Any) -> bool:
    """Whether what a browser kept has a draft's shape."""
    return (
        isinstance(given, dict)
        and given.get("units") in ("inch", "metric")
        and isinstance(given.get("piece"), dict)
        and all(
            isinstance(given.get(rows), list) and all(isinstance(row, dict) for row in given[rows])
            for rows in ("members", "fits")
        )
    )


def new_member(number: int) -> dict[str, Any]:
    """A member to begin with: what most of them are."""
    return {"name": "panel" if number == 1 else f"part {number}", "cut": "flat-sawn", "face": "none"}


def new_fit(kind: str, members: Sequence[str], number: int) -> dict[str, Any]:
    """A fit of a kind with its usual choices, about the first member."""
    row: dict[str, Any] = {
        "kind": kind,
        "name": f"{kind.replace('-', ' ')}{f' {number}' if number > 1 else ''}",
    }
    for own in kind_named(kind).fields():
        if own.unit == "choice":
            row[own.key] = own.default or own.choices[0]
        elif own.unit == "flag":
            row[own.key] = "yes" if own.default else "no"
        elif own.unit in ("member", "members") and own.required and members:
            row[own.key] = members[0]
    return row


def shown_fields(row: Mapping[str, Any]) -> tuple[list[Field], list[Field]]:
    """The fields of a fit as chosen so far: those to ask, and those that may be left out."""
    asked: list[Field] = []
    more: list[Field] = []
    for own in kind_named(row.get("kind")).fields():
        if own.only_when is not None:
            other, values = own.only_when
            if row.get(other) not in values:
                continue
        common = own.key in ("mc_pct", "note", "alike")
        needed = own.required or own.unit == "choice" or (own.only_when is not None and own.default is None)
        (asked if needed and not common else more).append(own)
    return asked, more


# ---------------------------------------------------------------- draft to document


def check(draft: Draft, where: str = "", region: Region = NORTH_AMERICA) -> Checked:
    """A draft as a document, checked part by part by the rules of a piece file; woods are the region's."""
    units = draft.get("units", "inch")
    problems: list[tuple[str, BadInput]] = []
    members: dict[str, Member] = {}
    fits: dict[str, Fit] = {}
    document: dict[str, Any] = {"piece": _piece_table(draft.get("piece", {})), "part": {}, "fit": {}}
    faults: dict[Spot, BadInput] = {}
    if not document["piece"].get("name"):
        faults["piece", 0, "name"] = BadInput("", "the piece's name", "must be given", "nothing")
        problems.append(("the piece", faults["piece", 0, "name"]))
    for index, row in enumerate(draft.get("members", ())):
        name = str(row.get("name") or "").strip()
        table = _member_table(row, units)
        if "species" in table:
            table["species"] = named_here(table["species"], region)
        try:
            _free(name, document["part"], "part")
            document["part"][name] = table
            _readable(row, MEMBER_FIELDS, name, units)
            members[name] = member_from_document(name, table, where)
        except BadInput as error:
            named = _by_field(error, MEMBER_FIELDS, name)
            faults |= {("members", index, key): one for key, one in named.items() if key}
            problems.append((name or "a part", next(iter(named.values()))))
    wrong = {str(row.get("name") or "").strip() for row in draft.get("members", ())} - members.keys()
    for index, row in enumerate(draft.get("fits", ())):
        name = str(row.get("name") or "").strip()
        asked = fit_fields(row)
        try:
            _free(name, document["fit"], "fit")
            table = _fit_table(row, units)
            document["fit"][name] = table
            _readable(row, asked, name, units)
            fits[name] = fit_from_document(name, table, members, where)
        except BadInput as error:
            # A fit can't be right before its members are: what they lack is said, not what follows from it.
            if isinstance(error, Faulty) or not wrong.intersection(_members_named(row)):
                named = _by_field(error, asked, name)
                faults |= {("fits", index, key): one for key, one in named.items() if key}
                problems.append((name or "a fit", next(iter(named.values()))))
    piece = None
    if not problems:
        try:
            piece = piece_from_document(document, where)
        except BadInput as error:
            problems.append(("the piece", error))
    return Checked(document, piece, members, fits, problems, faults)


def fit_fields(row: Mapping[str, Any]) -> dict[str, tuple[str, str]]:
    """What the form asks of a fit as chosen so far, as `MEMBER_FIELDS` has it of a part."""
    shown = [own for group in shown_fields(row) for own in group]
    return {"name": ("", "name")} | {
        own.key: (own.unit if own.unit in ("mm", "%", "degrees") else "", own.key.replace("_", " "))
        for own in shown
    }


def _readable(row: Mapping[str, Any], asked: Mapping[str, tuple[str, str]], name: str, units: Units) -> None:
    """Read what was typed, and ask the absurd back; raises `Faulty` with all that is wrong.

    An empty field is the piece file's to judge, but for those of a part that nothing can be said without.
    """
    faults: dict[str, BadInput] = {}
    for key, (unit, label) in asked.items():
        what, text = f"{label} of {name}", str(row.get(key) if row.get(key) is not None else "").strip()
        try:
            if not text:
                if asked is MEMBER_FIELDS and unit:
                    raise BadInput("", what, "must be given", "nothing")
            elif unit == "mm":
                length_typed(with_unit(text, units), units, what)
            elif unit in ("%", "degrees"):
                number_typed(text, what, "%" if unit == "%" else "°")
        except BadInput as error:
            faults[key] = error
    if faults:
        raise Faulty(faults)


def _by_field(error: BadInput, asked: Mapping[str, tuple[str, str]], name: str) -> Mapping[str, BadInput]:
    """What is wrong by field, each called by its label; under no field where it is no field's alone."""
    if isinstance(error, Faulty):
        return error.faults
    key = error.what.rsplit(".", 1)[-1].removesuffix(" name")
    key = {"part": "name", "fit": "name"}.get(key, key) if key not in asked else key
    if key not in asked or key == "name":
        return {key if key in asked else "": error}
    return {key: BadInput(error.where, f"{asked[key][1]} of {name}", error.rule, error.got)}


def _members_named(row: Mapping[str, Any]) -> set[str]:
    """The members that a fit speaks of, as chosen or typed."""
    keys = [own.key for own in kind_named(row.get("kind")).fields() if own.unit in ("member", "members")]
    return {name.strip() for key in keys for name in str(row.get(key) or "").split(",")}


def _free(name: str, taken: Mapping[str, Any], what: str) -> None:
    if not name:
        raise BadInput("", f"{what} name", "must be given", "nothing")
    if name in taken:
        raise BadInput("", f"{what} name", f"must be another than the one already called {name}", name)


def _piece_table(row: Mapping[str, Any]) -> dict[str, Any]:
    table: dict[str, Any] = {
        key: str(row[key]).strip() for key in ("name", "client", "note") if str(row.get(key) or "").strip()
    }
    if row.get("case"):
        table["case"] = row["case"]
    return table


def _member_table(row: Mapping[str, Any], units: str) -> dict[str, Any]:
    table: dict[str, Any] = {key: row[key] for key in KEPT if row.get(key) not in (None, "")}
    for key in ("species", "cut"):
        if str(row.get(key) or "").strip():
            table[key] = str(row[key]).strip()
    if row.get("grain"):
        table[row["grain"]] = True
    if "ring_angle_deg" in table:
        table.pop("cut", None)
    for key in ("width", "thickness"):
        if str(row.get(key) or "").strip():
            table[key] = with_unit(str(row[key]), units)
    if str(row.get("mc_pct") or "").strip():
        table["mc_pct"] = _number(row["mc_pct"])
    face, back = str(row.get("face") or "none"), str(row.get("back") or "")
    finish: dict[str, Any] = {"face": face}
    if str(row.get("coats") or "").strip():
        finish["coats"] = whole(row["coats"])
    if back:
        finish["back"] = back
    if str(row.get("back_coats") or "").strip():
        finish["back_coats"] = whole(row["back_coats"])
    table["finish"] = finish
    return table


def _fit_table(row: Mapping[str, Any], units: str) -> dict[str, Any]:
    kind = row.get("kind")
    table: dict[str, Any] = {"kind": kind}
    known = {own.key: own for own in kind_named(kind).fields()}
    shown = {own.key for group in shown_fields(row) for own in group}
    for key, value in row.items():
        own = known.get(key)
        if own is None or key not in shown or str(value if value is not None else "").strip() == "":
            continue
        if own.unit == "mm":
            table[key] = with_unit(str(value), units)
        elif own.unit == "members":
            table[key] = [name.strip() for name in str(value).split(",") if name.strip()]
        elif own.unit == "flag":
            table[key] = value in (True, "yes")
        elif own.unit in ("%", "degrees"):
            table[key] = _number(value)
        elif own.unit == "count":
            table[key] = whole(value)
        else:
            table[key] = str(value).strip()
    return table


def _number(value: Any) -> Any:
    text = str(value).strip().removesuffix("%").removesuffix("°").strip().replace(",", ".")
    try:
        return float(text)
    except ValueError:
        return value


def whole(value: Any) -> Any:
    """A whole number as typed; anything else as it is, for the rule to refuse."""
    text = str(value).strip()
    return int(text) if text.isdigit() else value
