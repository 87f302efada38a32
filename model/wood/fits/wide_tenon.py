"""A wide rail or apron tenoned into a leg.

The leg's long grain holds a glued tenon across the rail's grain. Up to about four inches that is ignored;
wider, the tenon is split in two, one glued and the other dry with room above and below. Common practice.
"""

from dataclasses import dataclass
from typing import ClassVar

from model.wood.design.setting_out import ROUNDING_SLACK, Cut, Figure, Increments, ServiceRange
from model.wood.fits.base import Fit
from model.wood.fits.drawing import Part, Section, Space
from model.wood.fits.fields import choice, flag, length, one_member
from model.wood.fits.limit import IGNORED_WIDTH_MM, INCH, Moistures, Way, restrained_ways
from model.wood.material.member import Member
from model.wood.piece_table import NOTHING
from model.wood.reason import Reason

ONE, SPLIT = "one", "split"
# What two tenons leave of a rail's width: shoulders, and the room between them (common practice, no source).
TENON_SHOULDERS_MM, BETWEEN_TENONS_MM = 1.5 * INCH, 0.75 * INCH


@dataclass(frozen=True, kw_only=True)
class WideTenon(Fit):
    """Limits: crushes and splits of what is glued over more than four inches; mortise-end-wet and
    mortise-end-dry of a dry tenon.
    """

    kind: ClassVar[str] = "wide-tenon"
    title: ClassVar[str] = "Wide rail, tenoned"
    what: ClassVar[str] = "A wide rail or apron in a leg: one glued tenon, or two with one left dry."

    member: Member = one_member("the rail or apron")  # noqa: RUF009
    tenons: str = choice("one tenon, or split in two", (ONE, SPLIT), ONE)
    tenon_width_mm: float | None = length(
        "width of the glued tenon across the grain", None, usual="the rail's width"
    )
    centre_distance_mm: float | None = length(
        "between the middles of the two tenons", None, only_when=("tenons", (SPLIT,))
    )
    slack_mm: float | None = length(
        "room above, and as much below, the dry tenon in its mortise", None, zero=True, usual="1/32 in",
        only_when=("tenons", (SPLIT,)),
    )  # fmt: skip
    both_glued: bool = flag("whether both tenons were glued after all", False)

    @property
    def glued_mm(self) -> float:
        """The width that glue holds fast across the grain."""
        own = self.tenon_width_mm
        if self.tenons == ONE:
            return self.built_width(self.member) if own is None else own
        if self.both_glued:
            return (self.centre_distance_mm or 0.0) + (own or 0.0)
        return own or 0.0

    def check(self) -> None:
        rail_mm = self.built_width(self.member)
        if self.tenon_width_mm is not None and self.tenon_width_mm > rail_mm:
            rule = f"must not be more than the rail is wide ({rail_mm:.4g} mm)"
            raise self.bad("tenon_width_mm", rule, self.tenon_width_mm)
        for attribute in ("centre_distance_mm", "slack_mm"):
            value = getattr(self, attribute)
            if self.tenons == SPLIT and value is None and not (attribute == "slack_mm" and self.both_glued):
                raise self.bad(attribute, "must be given when tenons is split", NOTHING)
            if self.tenons == ONE and value is not None:
                raise self.bad(attribute, "must be left out unless tenons is split", value)
        if self.tenons == ONE and self.both_glued:
            raise self.bad("both_glued", "must be left out unless tenons is split", True)
        if self.centre_distance_mm is not None and self.centre_distance_mm >= rail_mm:
            rule = f"must be less than the rail is wide ({rail_mm:.4g} mm)"
            raise self.bad("centre_distance_mm", rule, self.centre_distance_mm)

    def ways(self, mc: Moistures) -> list[Way]:
        rail = (self.member.called,)
        strain = self.strain(self.member, mc)
        found: list[Way] = []
        if self.glued_mm > IGNORED_WIDTH_MM:
            found += restrained_ways(self.glued_mm, self.glued_mm * strain, self.member.called)
        if self.tenons == SPLIT and not self.both_glued:
            growth = (self.centre_distance_mm or 0.0) * strain
            slack = self.slack_mm or 0.0
            found.append(Way("mortise-end-wet", "swelling", "harms", slack - growth, rail))
            found.append(Way("mortise-end-dry", "shrinking", "harms", slack + growth, rail))
        return found

    def cut(self, service: ServiceRange, steps: Increments) -> Cut:
        head = self.cut_head(service, self.member.name)
        if self.tenons == ONE and self.glued_mm <= IGNORED_WIDTH_MM:
            one = Reason("cut-one-tenon", {"most_mm": IGNORED_WIDTH_MM})
            return Cut(**head, enough=True, figures=[("one tenon, glued", "may stay", "")], reasons=[one])
        rail = self.built_width(self.member)
        apart = self.centre_distance_mm or max((rail - TENON_SHOULDERS_MM) / 2.0 + BETWEEN_TENONS_MM, 0.0)
        slack = max(service.to_wet(self.member, apart), service.to_dry(self.member, apart))
        reasons = [service.reason("cut-dry-tenon", slack_mm=steps.gap_up(slack))]
        figures: list[Figure] = [("above and below the dry tenon", steps.gap_up(slack), "up")]
        enough = self.glued_mm <= IGNORED_WIDTH_MM
        if not enough:
            glued = {"part": self.member.called, "glued_mm": self.glued_mm}
            reasons.insert(0, Reason("cut-not-glued", glued))
            figures.insert(0, ("one wide glued tenon", "don't", ""))
        elif slack > (self.slack_mm or 0.0) + ROUNDING_SLACK:
            enough = False
            reasons.append(Reason("cut-short", {"drawn_mm": steps.gap_down(self.slack_mm or 0.0)}))
        return Cut(**head, enough=enough, figures=figures, reasons=reasons)

    def section(self, mc: Moistures) -> Section:
        width = float(self.member.width_at(mc[self.member.name]))
        thick = self.member.thickness_mm
        third = thick / 3.0
        parts = [
            Part("leg", "frame", -30.0, -thick, width + 60.0, 3.0 * thick),
            Part(self.member.name, "member", 0.0, 0.0, width, thick),
        ]
        spaces: list[Space] = []
        own = self.tenon_width_mm or (width / 4.0 if self.tenons == SPLIT else width)
        first = width / 2.0 if self.tenons == ONE else (width - (self.centre_distance_mm or 0.0)) / 2.0
        parts.append(Part("glued tenon", "member", first - own / 2.0, third, own, third))
        if self.tenons == SPLIT:
            distance, slack = self.centre_distance_mm or 0.0, self.slack_mm or 0.0
            growth = distance * float(self.strain(self.member, mc))
            second = first + distance + growth
            low, high = first + distance - own / 2.0 - slack, first + distance + own / 2.0 + slack
            parts.append(Part("mortise", "groove", low, third, high - low, third))
            parts.append(Part("dry tenon", "member", second - own / 2.0, third, own, third))
            spaces = [
                Space("room, shrinking", low, second - own / 2.0, third),
                Space("room, swelling", second + own / 2.0, high, third),
            ]
        return Section(f"{self.member.name} tenoned into its leg", tuple(parts), tuple(spaces))
