"""A drawer front or an inset door in its opening.

The opening is fixed by long grain; the parts that stand across it add up. A slab moves with its whole
width, a framed door only with its two stiles, a pair with four. All of it comes out at one gap: at the
top of a drawer front, at the latch side of a hinged door.
"""

from dataclasses import dataclass, replace
from functools import cached_property
from typing import ClassVar

from model.wood.design.setting_out import (
    ROUNDING_SLACK,
    Figure,
    GapCut,
    Increments,
    ServiceRange,
    Widths,
    width_figures,
    widths_reason,
)
from model.wood.fits.base import Fit
from model.wood.fits.drawing import Part, Section, Space
from model.wood.fits.fields import choice, length, several_members
from model.wood.fits.limit import INCH, Direction, Moistures, Way
from model.wood.fits.seen import Seen, seen_gap
from model.wood.material.member import Amount, Member
from model.wood.reason import Reason

WIDEST_GAP_MM = INCH / 8.0
"""What still looks right beside a front (common practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class FrontInOpening(Fit):
    """Limits: binds, gap-shows."""

    kind: ClassVar[str] = "front-in-opening"
    title: ClassVar[str] = "Front or door in its opening"
    what: ClassVar[str] = (
        "A drawer front or an inset door, slab or frame, with a gap at the side where it moves."
    )
    gap_attribute: ClassVar[str | None] = "gap_mm"

    members_across: tuple[Member, ...] = several_members(
        "the parts whose widths add up across the gap: the slab, or both stiles of a framed door "
        "(one name twice when they are alike), or all of a pair",
        key="parts",
    )
    gap_mm: float = length(
        "gap at the top of a drawer front, or at a door's latch side, as built",
        zero=True,
        usual="1/32 to 1/16 in",
    )
    construction: str = choice("a solid slab, or a frame of stiles and rails", ("slab", "frame"), "slab")
    opening: tuple[Member, ...] | None = several_members(
        "parts of the opening that close it as they swell: dividers, runners, face-frame rails", None
    )
    widens: tuple[Member, ...] | None = several_members(
        "parts of the case that open it as they swell: case sides whose grain runs as the front's does", None
    )
    opening_size_mm: float | None = length("size of the opening across the front's grain", None)
    least_gap_mm: float = length("gap it needs to run freely", INCH / 64.0, zero=True, usual="1/64 in")
    widest_gap_mm: float = length("widest gap that still looks right", WIDEST_GAP_MM, usual="1/8 in")

    def check(self) -> None:
        if self.construction == "frame" and len(self.members_across) < 2:
            names = [member.name for member in self.members_across]
            rule = "must name both stiles of a framed door (one name twice when they are alike)"
            raise self.bad("parts", rule, names)
        if self.widest_gap_mm <= self.least_gap_mm:
            rule = f"must be more than least_gap ({self.least_gap_mm:.4g} mm)"
            raise self.bad("widest_gap_mm", rule, self.widest_gap_mm)
        if self.construction == "slab" and self.opening_size_mm is not None:
            filled = sum(self.built_width(m) for m in self.members_across)
            if filled >= self.opening_size_mm:
                rule = f"must be more than the front fills ({filled:.4g} mm)"
                raise self.bad("opening_size_mm", rule, self.opening_size_mm)

    def closing(self, mc: Moistures) -> Amount:
        """How much of the gap has closed since it was measured [mm]; negative when it has opened."""
        total: Amount = 0.0
        for member in self.members_across + (self.opening or ()):
            total = total + self.growth(member, mc)
        for member in self.widens or ():
            total = total - self.growth(member, mc)
        return total

    @cached_property
    def closes_when(self) -> Direction:
        """Whether the gap closes in damp air, as it nearly always does, or in dry."""
        dry, damp = (self.closing(dict.fromkeys((m.name for m in self.members), mc)) for mc in (8.0, 12.0))
        return "swelling" if damp >= dry else "shrinking"

    def gap_now(self, mc: Moistures) -> Amount:
        return self.gap_mm - self.closing(mc)

    def ways(self, mc: Moistures) -> list[Way]:
        gap = self.gap_now(mc)
        parts = tuple(dict.fromkeys(member.called for member in self.members_across))
        how = "frame" if self.construction == "frame" else "pair" if len(parts) > 1 else ""
        opens_when: Direction = "shrinking" if self.closes_when == "swelling" else "swelling"
        return [
            Way("binds", self.closes_when, "harms", gap - self.least_gap_mm, parts, how),
            Way("gap-shows", opens_when, "shows", self.widest_gap_mm - gap, parts, how),
        ]

    def seen(self, dry: Moistures, damp: Moistures) -> Seen:
        return seen_gap(float(self.gap_now(dry)), float(self.gap_now(damp)), self.least_gap_mm)

    def cut(self, service: ServiceRange, steps: Increments) -> GapCut:
        closing = self.members_across + (self.opening or ())
        # A front that fills its opening is as wide as that, whatever was measured so far.
        fills = self.construction == "slab" and len(self.members_across) == 1
        widths_mm = {member.name: self.built_width(member) for member in (*closing, *(self.widens or ()))}
        if fills and self.opening_size_mm is not None:
            widths_mm[self.members_across[0].name] = self.opening_size_mm

        def closes(today_pct: float, mc_pct: float) -> float:
            """How much of the gap closes from today to a moisture content [mm]."""

            def one(member: Member) -> float:
                return widths_mm[member.name] * (service.ratio(member, today_pct, mc_pct) - 1.0)

            return sum(map(one, closing)) - sum(map(one, self.widens or ()))

        ends, stock = (service.wet_pct, service.dry_pct), (service.driest_pct, service.wettest_pct)
        moves = [closes(today, end) for today in stock for end in ends]
        # The gap must run freely at whichever end, or today, closes it most, and look right where it opens.
        least, most = self.least_gap_mm + max(*moves, 0.0), self.widest_gap_mm + min(*moves, 0.0)
        doubt = abs(closes(service.today_pct, service.wettest_pct))
        # As a width would: a wider gap is a narrower front.
        best = -Widths.between(-most, -least, doubt, "swelling").best_mm
        rounded = steps.gap_up(best)
        if rounded > most + ROUNDING_SLACK:
            # Up, unless that opens too far and the next step down still runs.
            rounded = max(steps.gap_down(most), steps.gap_up(least))
        dry_gap = rounded - closes(service.today_pct, service.dry_pct)
        wet_gap = rounded - closes(service.today_pct, service.wet_pct)
        enough = least <= most + ROUNDING_SLACK
        what = " and ".join(dict.fromkeys(member.name for member in self.members_across))
        called = " and ".join(dict.fromkeys(member.called for member in self.members_across))
        figures: list[Figure] = [
            ("gap today", rounded, "up"),
            ("gap at the least", steps.gap_up(least), "up"),
        ]
        reasons = [service.reason("cut-gap", part=called, gap_mm=rounded)]
        widths = cut = None
        if self.opening_size_mm is not None:
            size = self.opening_size_mm
            widths = Widths(size - most, size - best, size - least)
            # A sixty-fourth is much of a gap, and the width follows from the gap as it is marked.
            cut = replace(steps.widths(widths, fine=True), best_mm=round(size - rounded, 6))
            figures = [*(width_figures(cut) if enough else width_figures(cut)[:1]), figures[0]]
            how = "" if fills else "whole"
            if enough:
                reasons.append(widths_reason(service, called, cut, how))
            else:
                reasons.append(Reason("cut-width", {"how": how, "part": called, "best_mm": cut.best_mm}))
        ends_mm = {"wet_mm": steps.gap_down(wet_gap), "dry_mm": steps.gap_up(dry_gap)}
        reasons.append(service.reason("cut-gap-year", **ends_mm))
        if not enough:
            reasons.append(Reason("cut-gap-wide", {"widest_mm": self.widest_gap_mm}))
        return GapCut(
            **self.cut_head(service, what),
            enough=enough,
            figures=figures,
            reasons=reasons,
            width_least_mm=widths.least_mm if widths else None,
            width_best_mm=widths.best_mm if widths else None,
            width_most_mm=widths.most_mm if widths else None,
            width_best_rounded_mm=cut.best_mm if cut else None,
            gap_mm=best,
            gap_rounded_mm=rounded,
            gap_least_mm=least,
            gap_dry_mm=dry_gap,
            gap_wet_mm=wet_gap,
        )

    def section(self, mc: Moistures) -> Section:
        gap = float(self.gap_now(mc))
        widths = [float(member.width_at(mc[member.name])) for member in self.members_across]
        thick = self.members_across[0].thickness_mm
        frame = self.construction == "frame"
        # A frame's rails span what its stiles leave; drawn as a plain field where the size is not known.
        field = 0.0
        if frame:
            built = sum(self.built_width(m) for m in self.members_across)
            field = max((self.opening_size_mm or 4.0 * built) - built - self.gap_mm, 40.0)
        parts, x = [], 0.0
        for position, (member, width) in enumerate(zip(self.members_across, widths, strict=True)):
            if frame and position % 2 == 1:
                pairs = len(self.members_across) // 2
                parts.append(Part("rails and panel", "sheet", x, 0.0, field / pairs, thick))
                x += field / pairs
            parts.append(Part(member.name, "member", x, 0.0, width, thick))
            x += width
        parts.append(Part("held side", "opening", -30.0, 0.0, 30.0, thick))
        parts.append(Part("free side", "opening", x + gap, 0.0, 30.0, thick))
        edge = min(40.0, x / 4.0)
        title = f"{' and '.join(dict.fromkeys(m.name for m in self.members_across))} in the opening"
        return Section(title, tuple(parts), (Space("gap", x, x + gap, thick / 2.0),), ((edge, x - edge),))
