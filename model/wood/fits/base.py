"""What every kind of fit shares: its fields, its limits, how members grow, and data for drawing it.

A kind is a frozen dataclass in a file of its own in this folder. It declares its fields with the helpers
below, checks its geometry in `check`, and answers `ways` (each way it runs out, with the margin left) and
`section`. Where it has something to say at the saw it gives `cut`, and to a client `seen`. Everything else
(reading, writing, guided entry, design range, drawing, sheets and cards) follows from that.
"""

import dataclasses
from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, ClassVar, Self

import numpy as np

from model.wood.design.setting_out import Cut, Figure, Increments, ServiceRange
from model.wood.errors import BadInput
from model.wood.fits.drawing import Section
from model.wood.fits.fields import Field, Millimetres, count, number, read_field, text
from model.wood.fits.limit import Limit, Moistures, Way, moisture_of
from model.wood.fits.seen import Seen, seen_gap
from model.wood.material.member import Amount, Member
from model.wood.piece_table import Table
from model.wood.reason import Reason


@dataclass(frozen=True, kw_only=True)
class Fit(ABC):
    """A place in a piece where a member's movement has to go somewhere.

    Subclasses set `kind` (the word in files), `title` and `what` (for people), declare fields, and
    give `check`, `ways` and `section`.
    """

    kind: ClassVar[str] = ""
    title: ClassVar[str] = ""
    what: ClassVar[str] = ""
    # The attribute that holds the gap a feeler gauge measures, of kinds that have one.
    gap_attribute: ClassVar[str | None] = None
    # Whether a member's edges lie in it where no caliper reaches them.
    hides_edges: ClassVar[bool] = False

    name: str
    mc_pct: float | None = number(
        "moisture content of the members when the clearances were measured",
        (0.0, 30.0),
        "%",
        None,
        usual="the moisture content each member's width was measured at",
    )
    note: str = text("anything worth keeping")
    alike: int = count("how many fits are just like this one", 1)
    # The same fit as it was when its clearances were measured, once a member has been measured again.
    as_built: "Fit | None" = dataclasses.field(default=None, repr=False)

    def __post_init__(self) -> None:
        for member in self.members:
            saturation = member.fibre_saturation_pct
            if self.mc_pct is not None and self.mc_pct > saturation:
                rule = f"must not be more than {saturation:g} %, fibre saturation of {member.name}"
                raise self.bad("mc_pct", rule, self.mc_pct)
        self.check()

    # -------------------------------------------------------- what a kind answers

    def check(self) -> None:  # noqa: B027 - a kind without contradictions needs none
        """Refuse contradictory geometry with `self.bad`."""

    @abstractmethod
    def ways(self, mc: Moistures) -> list[Way]:
        """Every way this fit runs out, at these moisture contents of its members."""

    @abstractmethod
    def section(self, mc: Moistures) -> Section:
        """A cross-section at these moisture contents (one number a member)."""

    def cut(self, service: ServiceRange, steps: Increments) -> Cut:
        """How to cut, groove or slot for this fit today; of a kind with no more to say, how far it moves."""
        reasons: list[Reason] = []
        figures: list[Figure] = []
        for member in self.members:
            width = self.built_width(member)
            moved = steps.gap_up(service.to_wet(member, width) + service.to_dry(member, width))
            reasons.append(service.reason("cut-moves", part=member.called, moved_mm=moved))
            figures.append((f"{member.called} moves", moved, "up"))
        head = self.cut_head(service, " and ".join(member.name for member in self.members))
        return Cut(**head, enough=True, figures=figures, reasons=reasons)

    def cut_head(self, service: ServiceRange, member: str) -> dict[str, Any]:
        """The fields of a `Cut` that every kind fills alike."""
        ends = (service.dry_pct, service.wet_pct)
        return {
            "fit": self.name, "kind": self.kind, "member": member,
            "stock_mc_pct": service.today_pct, "mc_doubt_pct": service.doubt_pct, "range_mc_pct": ends,
            "build_now": not service.is_too_wet,
        }  # fmt: skip

    def seen(self, dry: Moistures, damp: Moistures) -> Seen | None:
        """What a client sees of it at both ends of a year; None of a fit that works out of sight.

        A gap that a feeler gauge measures is seen as one, unless the kind says otherwise.
        """
        dry_mm, damp_mm = self.gap_now(dry), self.gap_now(damp)
        if dry_mm is None or damp_mm is None:
            return None
        return seen_gap(float(dry_mm), float(damp_mm))

    @property
    def takes_strip(self) -> bool:
        """Whether a gap strip can be held to it."""
        return self.gap_now(self.references()) is not None

    def strip_reading(self, gap_mm: float, doubt_mm: float) -> tuple[str, float, float]:
        """What a gap read off the strip measures: the quantity, its value and its doubt [mm]."""
        return "gap_mm", gap_mm, doubt_mm

    # -------------------------------------------------------- fields and documents

    @classmethod
    def fields(cls) -> list[Field]:
        """The keys of this kind's table: members first, then what is required, then the rest.

        What a kind shares with others (a slot, a note) comes after what is its own.
        """
        found = []
        for own in dataclasses.fields(cls):
            if "unit" in own.metadata:
                default = None if own.default is dataclasses.MISSING else own.default
                key = "part" if own.name == "member" else own.name.removesuffix("_mm")
                given = {"key": key, **own.metadata}
                found.append(Field(attribute=own.name, default=default, **given))
        own_names = {
            name
            for ancestor in cls.__mro__
            if ancestor.__module__.startswith(cls.__module__)
            for name in vars(ancestor).get("__annotations__", {})
        }
        common = {own.name for own in dataclasses.fields(Fit)}
        rank = {"member": 0, "members": 0}
        return sorted(
            found,
            key=lambda f: (
                f.attribute in common,
                f.attribute not in own_names,
                rank.get(f.unit, 1),
                not f.required,
            ),
        )

    @classmethod
    def from_document(cls, name: str, table: object, members: Mapping[str, Member], where: str) -> Self:
        """A fit from its [fit.name] table, lengths as text with a unit or numbers in mm, of these members.

        Raises
        ------
        BadInput
            For a missing or unknown key, a value against its rule, contradictory geometry.
        """
        reader = Table(table, where, f"fit.{name}", f"a {cls.kind} fit")
        reader.take("kind", "the kind of fit", cls.kind)
        values = {field.attribute: read_field(reader, field, members) for field in cls.fields()}
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
                if len(value) == 1 and field.key == "parts":
                    table["part"] = value[0]
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

    @property
    def called(self) -> str:
        """The fit by the role of its part, `the front of the top drawer`; of many parts by its own name.

        A part without a role is called by its name.
        """
        if len(self.members) > 2:
            return f"the {self.name.replace('_', ' ')}"
        return " and ".join(member.called for member in self.members)

    def reference_mc(self, member: Member) -> float:
        """Moisture content at which this fit's clearances were measured [%]."""
        if self.as_built is not None:
            return self.as_built.reference_mc(self.as_built.member_named(member.name))
        return member.mc_pct if self.mc_pct is None else self.mc_pct

    def member_named(self, name: str) -> Member:
        return next(member for member in self.members if member.name == name)

    def built_width(self, member: Member) -> float:
        """Width of a member when this fit's clearances were measured [mm]."""
        if self.as_built is not None:
            return self.as_built.built_width(self.as_built.member_named(member.name))
        known = self._built_widths.get(member.name)
        if known is None:
            known = float(member.width_at(self.reference_mc(member)))
            self._built_widths[member.name] = known
        return known

    @cached_property
    def _built_widths(self) -> dict[str, float]:
        return {}

    def references(self) -> dict[str, float]:
        """The moisture content of each member as built, for `limits`."""
        return {member.name: self.reference_mc(member) for member in self.members}

    def strain(self, member: Member, mc: Moistures) -> Amount:
        """Growth of each mm of a member's width since the clearances were measured."""
        return self.growth(member, mc) / self.built_width(member)

    def growth(self, member: Member, mc: Moistures) -> Amount:
        """Growth of a member's whole width since the clearances were measured [mm]."""
        return member.width_at(moisture_of(member, mc)) - self.built_width(member)

    def bad(self, attribute: str, rule: str, got: object) -> BadInput:
        """A broken rule of this fit's geometry; lengths are told in mm."""
        if isinstance(got, float) and attribute.endswith("_mm"):
            got = Millimetres(got)
        return BadInput("", f"fit.{self.name}.{attribute.removesuffix('_mm')}", rule, got)

    # -------------------------------------------------------- limits

    @cached_property
    def _play(self) -> dict[str, float]:
        if self.as_built is not None:
            return self.as_built._play
        return {way.name: float(way.margin_mm) for way in self.ways(self.references())}

    def limits(self, mc: Moistures) -> list[Limit]:
        """Each way this fit runs out, with the margin left in mm.

        `mc` holds the moisture content of each of `members` [%], floats or arrays of one shape, and the
        margins are the same; NaN in, NaN out.
        """
        return [
            Limit(
                name=way.name,
                direction=way.direction,
                severity=way.severity,
                margin_mm=float(way.margin_mm) if np.ndim(way.margin_mm) == 0 else np.asarray(way.margin_mm),
                parts=way.parts,
                how=way.how,
                across=way.across,
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

    def re_measured(self, member_name: str, width_mm: float, mc_pct: float) -> Self:
        """The same fit after a member was measured again, at some moisture content.

        Its clearances stay those that were measured as built; what the member has grown since is now
        counted to the new pair of width and moisture content, wherever the table would have put it. The
        play designed stays as it was.
        """

        def changed(member: Member) -> Member:
            if member.name != member_name:
                return member
            return dataclasses.replace(member, width_mm=width_mm, mc_pct=mc_pct)

        other = self.with_members(changed)
        object.__setattr__(other, "as_built", self.as_built or self)
        return other

    def gap_now(self, mc: Moistures) -> Amount | None:
        """What a feeler gauge would measure at these moisture contents [mm]; None of a fit without a gap."""
        return None

    def with_gap(self, gap_mm: float, mc: Moistures) -> Self:
        """The same fit after its gap was measured again, its members at some moisture contents.

        The gap as built is put right by as much as the one measured differs from the one foreseen; the
        play designed stays as it was.

        Raises
        ------
        BadInput
            For a fit that has no gap a feeler goes into, or a gap less than 0.
        """
        foreseen = self.gap_now(mc)
        if self.gap_attribute is None or foreseen is None:
            raise BadInput("", f"fit.{self.name}", "must be one with a gap that can be measured", self.kind)
        if not gap_mm >= 0.0:
            raise self.bad(self.gap_attribute, "must be a length of 0 or more", gap_mm)
        other = self.with_members(lambda member: member)
        right = getattr(self, self.gap_attribute) + gap_mm - float(foreseen)
        for name, value in ((self.gap_attribute, right), ("as_built", self.as_built or self)):
            object.__setattr__(other, name, value)
        return other
