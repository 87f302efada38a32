"""What every kind of fit shares: its fields, its limits, how members grow, and data for drawing it.

A kind is a frozen dataclass in a file of its own in this folder. It declares its fields with the helpers
below, checks its geometry in `check`, and answers `ways`: each way it runs out, with the margin left.
Everything else (reading, writing, guided entry, design range, drawing) follows from that.
"""

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, ClassVar, Literal, Self, TypeVar

import numpy as np

from model.wood.errors import BadInput
from model.wood.member import Amount, Member
from model.wood.piece_table import NOTHING, REQUIRED, Table, near_matches

Direction = Literal["swelling", "shrinking"]
Severity = Literal["shows", "harms"]
Moistures = Mapping[str, Amount]

INCH = 25.4

# Wood held across its grain takes about 0.4 % before it sets or splits: Mecklenburg, Tumosa and Erhardt
# 1998, from memory, unverified; TRADE practice says 0.4 to 0.5 %.
RESTRAINED_STRAIN = 0.004
# Cross-grain conflict over less width than this is ignored (common practice, no source: 3 to 4 in).
IGNORED_WIDTH_MM = 4.0 * INCH


@dataclass(frozen=True)
class Way:
    """One way a fit runs out, at the moisture contents asked about."""

    name: str
    direction: Direction
    severity: Severity
    margin_mm: Amount
    says: str


@dataclass(frozen=True)
class Limit(Way):
    """A way a fit runs out, with what was left before it as built.

    `margin_mm` [mm] is movement still to go, negative when past; a float, or an array shaped like the
    moisture contents asked about. `play_mm` is the same at the reference moisture content. `says` is
    a sentence on what is seen when it runs out.
    """

    play_mm: float


@dataclass(frozen=True)
class Field:
    """One key of a kind's table, for guided entry and for messages.

    `unit` is "mm", "degrees", "%", "choice", "flag", "text", "member" or "members". A default of None
    on a field that is not required means: left out, or worked out from the rest as `usual` says.
    `only_when` names another key and the values of it for which this field counts.
    """

    key: str
    attribute: str
    meaning: str
    unit: str
    required: bool
    default: Any = None
    choices: tuple[str, ...] = ()
    usual: str = ""
    only_when: tuple[str, tuple[str, ...]] | None = None
    zero: bool = False
    span: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class Part:
    """A rectangle of a cross-section [mm]: x across the grain, y through the thickness, up."""

    name: str
    role: Literal["frame", "groove", "member", "opening", "fastener", "sheet", "slot"]
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float


@dataclass(frozen=True)
class Space:
    """A distance worth a dimension line [mm], from one x to another at a height; negative is overlap."""

    name: str
    from_mm: float
    to_mm: float
    y_mm: float

    @property
    def size_mm(self) -> float:
        return self.to_mm - self.from_mm


@dataclass(frozen=True)
class Section:
    """A cross-section at true size; `plain_mm` are spans of x that a drawing may leave out."""

    title: str
    parts: tuple[Part, ...]
    spaces: tuple[Space, ...]
    plain_mm: tuple[tuple[float, float], ...] = ()


def _declare(unit: str, meaning: str, default: Any, **more: Any) -> Any:
    metadata = {"unit": unit, "meaning": meaning, "required": default is REQUIRED, **more}
    if default is REQUIRED:
        return dataclasses.field(metadata=metadata)
    return dataclasses.field(default=default, metadata=metadata)


def length(
    meaning: str,
    default: Any = REQUIRED,
    zero: bool = False,
    usual: str = "",
    only_when: tuple[str, tuple[str, ...]] | None = None,
) -> Any:
    """A length in mm; its key is the attribute's name without `_mm`."""
    return _declare("mm", meaning, default, zero=zero, usual=usual, only_when=only_when)


def number(
    meaning: str, span: tuple[float, float], unit: str, default: Any = REQUIRED, usual: str = ""
) -> Any:
    return _declare(unit, meaning, default, span=span, usual=usual)


def choice(meaning: str, choices: tuple[str, ...], default: Any = REQUIRED) -> Any:
    return _declare("choice", meaning, default, choices=choices)


def text(meaning: str, default: Any = "") -> Any:
    return _declare("text", meaning, default)


def flag(meaning: str, default: bool) -> Any:
    return _declare("flag", meaning, default)


def one_member(meaning: str, default: Any = REQUIRED) -> Any:
    return _declare("member", meaning, default)


def several_members(meaning: str, default: Any = REQUIRED, key: str | None = None) -> Any:
    """One or more members; `key` where the attribute can't be called as the key is."""
    return _declare("members", meaning, default, **({"key": key} if key else {}))


_FitClass = TypeVar("_FitClass", bound="type[Fit]")


@dataclass(frozen=True, kw_only=True)
class Fit:
    """A place in a piece where a member's movement has to go somewhere.

    Subclasses set `kind` (the word in files), `title` and `what` (for people), declare fields, and
    give `check`, `ways` and `section`.
    """

    kind: ClassVar[str] = ""
    title: ClassVar[str] = ""
    what: ClassVar[str] = ""

    name: str
    mc_pct: float | None = number(
        "moisture content of the members when the clearances were measured",
        (0.0, 30.0),
        "%",
        None,
        usual="the moisture content each member's width was measured at",
    )
    note: str = text("anything worth keeping")

    def __post_init__(self) -> None:
        self.check()

    # -------------------------------------------------------- what a kind answers

    def check(self) -> None:
        """Refuse contradictory geometry with `self.bad`."""

    def ways(self, mc: Moistures) -> list[Way]:
        """Every way this fit runs out, at these moisture contents of its members."""
        raise NotImplementedError

    def section(self, mc: Moistures) -> Section:
        """A cross-section at these moisture contents (one number a member)."""
        raise NotImplementedError

    # -------------------------------------------------------- fields and documents

    @classmethod
    def fields(cls) -> list[Field]:
        """The keys of this kind's table: members first, then what is required, then the rest."""
        found = []
        for own in dataclasses.fields(cls):
            if "unit" in own.metadata:
                default = None if own.default is dataclasses.MISSING else own.default
                given = {"key": own.name.removesuffix("_mm"), **own.metadata}
                found.append(Field(attribute=own.name, default=default, **given))
        common = {own.name for own in dataclasses.fields(Fit)}
        rank = {"member": 0, "members": 0}
        return sorted(found, key=lambda f: (f.attribute in common, rank.get(f.unit, 1), not f.required))

    @classmethod
    def from_document(cls, name: str, table: object, members: Mapping[str, Member], where: str) -> Self:
        """A fit from its [fit.name] table.

        Parameters
        ----------
        name : str
            The fit's own name.
        table : mapping
            Its keys and values; lengths as text with a unit, or numbers in mm.
        members : mapping
            The piece's members by name.
        where : str
            File or record, for messages.

        Raises
        ------
        BadInput
            For a missing or unknown key, a value against its rule, contradictory geometry.
        """
        reader = Table(table, where, f"fit.{name}", f"a {cls.kind} fit")
        reader.take("kind", "the kind of fit", cls.kind)
        values = {field.attribute: _read(reader, field, members) for field in cls.fields()}
        reader.refuse_the_rest()
        try:
            return cls(name=name, **values)
        except BadInput as problem:
            raise BadInput(where, problem.what, problem.rule, problem.got) from problem

    def document(self) -> dict[str, Any]:
        """This fit as its [fit.name] table: lengths as mm numbers, nothing that is as usual."""
        table: dict[str, Any] = {"kind": self.kind}
        for field in self.fields():
            value = getattr(self, field.attribute)
            # A choice is always told: a reader of the file should not have to know what is usual.
            if not field.required and field.unit != "choice" and value == field.default:
                continue
            if field.unit == "member":
                value = value.name
            elif field.unit == "members":
                value = [member.name for member in value]
                if len(value) == 1 and field.key == "members":
                    table["member"] = value[0]
                    continue
            table[field.key] = value
        return table

    # -------------------------------------------------------- members and their movement

    @cached_property
    def members(self) -> tuple[Member, ...]:
        """The members this fit depends on, each once."""
        found: dict[str, Member] = {}
        for field in self.fields():
            value = getattr(self, field.attribute)
            if field.unit == "member" and value is not None:
                found[value.name] = value
            elif field.unit == "members":
                found.update({member.name: member for member in value or ()})
        return tuple(found.values())

    def reference_mc(self, member: Member) -> float:
        """Moisture content at which this fit's clearances were measured [%]."""
        return member.mc_pct if self.mc_pct is None else self.mc_pct

    def references(self) -> dict[str, float]:
        """The moisture content of each member as built, for `limits`."""
        return {member.name: self.reference_mc(member) for member in self.members}

    def strain(self, member: Member, mc: Moistures) -> Amount:
        """Growth of each mm of a member's width since the clearances were measured."""
        return member.strain_from(self.reference_mc(member), moisture_of(member, mc))

    def growth(self, member: Member, mc: Moistures) -> Amount:
        """Growth of a member's whole width since the clearances were measured [mm]."""
        at_reference = float(member.width_at(self.reference_mc(member)))
        return at_reference * self.strain(member, mc)

    def bad(self, attribute: str, rule: str, got: object) -> BadInput:
        """A broken rule of this fit's geometry; lengths are told in mm."""
        if isinstance(got, float) and attribute.endswith("_mm"):
            got = Millimetres(got)
        return BadInput("", f"fit.{self.name}.{attribute.removesuffix('_mm')}", rule, got)

    # -------------------------------------------------------- limits

    @cached_property
    def _play(self) -> dict[str, float]:
        return {way.name: float(way.margin_mm) for way in self.ways(self.references())}

    def limits(self, mc: Moistures) -> list[Limit]:
        """Each way this fit runs out, with the margin left in mm.

        Parameters
        ----------
        mc : mapping of member name to float or array
            Moisture content of each member [%], at least of those in `members`; arrays of one shape.

        Returns
        -------
        list of Limit
            `margin_mm` a float for floats, an array for arrays; NaN in, NaN out.
        """
        return [
            Limit(
                name=way.name,
                direction=way.direction,
                severity=way.severity,
                margin_mm=float(way.margin_mm) if np.ndim(way.margin_mm) == 0 else np.asarray(way.margin_mm),
                says=way.says,
                play_mm=self._play[way.name],
            )
            for way in self.ways(mc)
        ]

    def with_members(self, change: Callable[[Member], Member]) -> Self:
        """The same fit of changed members; its geometry is not checked again: this asks what if."""
        other = object.__new__(type(self))
        for own in dataclasses.fields(self):
            value = getattr(self, own.name)
            if own.metadata.get("unit") == "member" and value is not None:
                value = change(value)
            elif own.metadata.get("unit") == "members" and value is not None:
                value = tuple(change(member) for member in value)
            object.__setattr__(other, own.name, value)
        return other


class Millimetres:
    """A length in a message."""

    def __init__(self, length_mm: float) -> None:
        self.length_mm = length_mm

    def __repr__(self) -> str:
        return f"{self.length_mm:.4g} mm"


def moisture_of(member: Member, mc: Moistures) -> Amount:
    """The moisture content given for a member; BadInput when there is none."""
    try:
        return mc[member.name]
    except KeyError:
        raise BadInput("", f"moisture content of {member.name}", "must be given", NOTHING) from None


def least(values: Sequence[Amount]) -> Amount:
    """The smallest of several amounts, element by element."""
    smallest: Amount = np.minimum.reduce(np.broadcast_arrays(*values)) if len(values) > 1 else values[0]
    return smallest


def _read(reader: Table, field: Field, members: Mapping[str, Member]) -> Any:
    key, meaning = field.key, field.meaning
    default = REQUIRED if field.required else field.default
    if field.unit == "mm":
        return reader.length(key, meaning, default, field.zero)
    if field.unit == "choice":
        return reader.choice(key, meaning, field.choices, default)
    if field.unit == "flag":
        return reader.flag(key, meaning, field.default)
    if field.unit == "text":
        return reader.text(key, meaning, default)
    if field.unit in ("member", "members"):
        return _read_members(reader, field, members)
    low, high = field.span
    return reader.number(key, meaning, low, high, default, field.unit)


def _read_members(reader: Table, field: Field, members: Mapping[str, Member]) -> Any:
    several = field.unit == "members"
    key = field.key
    # A fit of one member may say `member = "front"` where its kind takes several.
    if several and key == "members" and not reader.has(key) and reader.has("member"):
        key = "member"
    elif several and key == "members" and reader.has("member"):
        raise reader.bad("member", "must be left out when members is given", reader.values["member"])
    value = reader.take(key, field.meaning, REQUIRED if field.required else field.default)
    if value is field.default and not reader.has(key):
        return value
    names = [value] if isinstance(value, str) else value
    if not isinstance(names, list | tuple) or not names or not all(isinstance(n, str) for n in names):
        what = "a member's name or a list of them" if several else "a member's name"
        raise reader.bad(key, f"must be {what}", value)
    if not several and len(names) != 1:
        raise reader.bad(key, "must be one member's name", value)
    for name in names:
        if name not in members:
            known = near_matches(name, members) or f" (there are: {', '.join(sorted(members)) or 'none'})"
            raise reader.bad(key, f"must name a member of this piece{known}", name)
    found = tuple(members[name] for name in names)
    return found if several else found[0]
