"""A panel floating in the grooves of a frame.

The sight width between the stiles is fixed by the rails' long grain; the panel moves across it. What is
left before the tongue bottoms, leaves its groove, or shows bare wood follows from panel, sight width and
groove depth. Margins are movement of the panel's whole width. Geometry and usual sizes: common practice.
"""

import math
from dataclasses import dataclass
from typing import ClassVar

from model.wood.design.setting_out import Increments, ServiceRange
from model.wood.fits.drawing import Part, Section, Space
from model.wood.fits.limit import INCH, Moistures, Way, moisture_of
from model.wood.fits.panel_in_groove.cut import PanelCut, panel_cut
from model.wood.fits.panel_in_groove.geometry import FREE, ONE_EDGE, SEEN_MM, PanelGeometry
from model.wood.fits.seen import NOTHING_MM, Seen
from model.wood.material.member import Amount
from model.wood.reason import Reason


@dataclass(frozen=True, kw_only=True)
class PanelInGroove(PanelGeometry):
    """Limits: groove-bottom, leaves-groove; shoulder-closes and bevel-wedges of a raised panel; bare-line
    where a tongue is not finished all over; rattle where it was asked for.
    """

    kind: ClassVar[str] = "panel-in-groove"
    hides_edges: ClassVar[bool] = True
    title: ClassVar[str] = "Panel in grooves"
    what: ClassVar[str] = "A solid panel floats in the grooves of its frame, or a bottom in those of its box."

    # -------------------------------------------------------- limits

    def ways(self, mc: Moistures) -> list[Way]:
        panel = (self.member.called,)
        width = self.member.width_at(moisture_of(self.member, mc))
        growth = width - self.built_width_mm
        depth = self.groove_depth_mm - self.spacer_mm
        tongue = self.tongue(width)
        # At one edge all the movement comes out on one side; else each side has half of it.
        sides = 1.0 if self.held == ONE_EDGE else 2.0
        if self.held == FREE:
            engaged = width - self.sight_width_mm - depth - self.least_engagement_mm
        else:
            engaged = sides * (tongue - self.least_engagement_mm)
        found = [
            Way("groove-bottom", "swelling", "harms", sides * (depth - tongue), panel),
            Way("leaves-groove", "shrinking", "harms", engaged, panel, self.held),
        ]
        if self.shoulder_gap_mm is not None:
            room = sides * self.shoulder_gap_mm - growth
            found.append(Way("shoulder-closes", "swelling", "harms", room, panel))
        if self.bevel_deg > 0.0:
            found.append(self._wedge(mc, growth / sides))
        covered = self.coverage_mm
        if covered is not None:
            # A finish that stops at the sight line still hides a hair of movement.
            seen_from = max(covered, SEEN_MM)
            bare = sides * seen_from + growth
            found.append(Way("bare-line", "shrinking", "shows", bare, panel, self.held))
        if self.rattle_mm is not None:
            play = self.sight_width_mm + 2.0 * depth - width
            found.append(Way("rattle", "shrinking", "shows", self.rattle_mm - play, panel))
        return found

    def _wedge(self, mc: Moistures, growth_a_side: Amount) -> Way:
        """A bevelled tongue thickens at the lip of the groove as it goes in."""
        thicker = growth_a_side * math.tan(math.radians(self.bevel_deg))
        if self.tongue_thickness_mm is not None:
            reference = self.reference_mc(self.member)
            own = self.member.thickness_strain_from(reference, moisture_of(self.member, mc))
            thicker = thicker + self.tongue_thickness_mm * own
        room = self.groove_slack_mm - thicker
        return Way("bevel-wedges", "swelling", "harms", room, (self.member.called,))

    # -------------------------------------------------------- at the saw, and in the house

    def cut(self, service: ServiceRange, steps: Increments) -> PanelCut:
        return panel_cut(self, service, steps)

    @property
    def _shown_sides(self) -> float:
        """A panel held at one edge, or free to wander, shows all its movement on one side."""
        return 1.0 if self.held in (ONE_EDGE, FREE) else 2.0

    def seen(self, dry: Moistures, damp: Moistures) -> Seen:
        dry_mm, damp_mm = (-float(self.growth(self.member, mc)) / self._shown_sides for mc in (dry, damp))
        line = "finished" if self.coverage_mm is None else "bare"
        how = f"{line} {'one' if self._shown_sides == 1.0 else 'each'}"

        def one(size_mm: float, nothing: str) -> Reason:
            if size_mm < NOTHING_MM:
                return Reason("seen-no-line", {"how": nothing})
            return Reason("seen-line", {"how": how, "line_mm": size_mm})

        return Seen(
            one(dry_mm, "dry"),
            one(damp_mm, "damp"),
            dry_mm - damp_mm,
            (max(dry_mm, 0.0), max(damp_mm, 0.0)),
        )

    @property
    def takes_strip(self) -> bool:
        return self.coverage_mm is not None

    def strip_reading(self, gap_mm: float, doubt_mm: float) -> tuple[str, float, float]:
        """The line beside a panel tells the panel's width."""
        sides = self._shown_sides
        return "width_mm", self.built_width_mm - sides * gap_mm, sides * doubt_mm

    # -------------------------------------------------------- drawing

    def section(self, mc: Moistures) -> Section:
        width = float(self.member.width_at(moisture_of(self.member, mc)))
        sight, depth, thick = self.sight_width_mm, self.groove_depth_mm, self.member.thickness_mm
        stile = self.stile_width_mm or max(2.0 * depth, 40.0)
        left_tongue = (width - sight) / 2.0
        if self.held == ONE_EDGE:
            left_tongue = self.held_mm
        right_tongue = width - sight - left_tongue
        tongue_thick = self.tongue_thickness_mm or min(
            thick, INCH / 4.0 if self.profile == "raised" else thick
        )
        frame_thick = max(1.2 * thick, 3.0 * tongue_thick)
        low = -tongue_thick / 2.0
        parts = [
            Part("left stile", "frame", -stile, -frame_thick / 2.0, stile, frame_thick),
            Part("right stile", "frame", sight, -frame_thick / 2.0, stile, frame_thick),
            Part("left groove", "groove", -depth, low, depth, tongue_thick),
            Part("right groove", "groove", sight, low, depth, tongue_thick),
            Part(self.member.name, "member", -left_tongue, low, width, tongue_thick),
        ]
        spaces = [
            Space("left clearance", -depth, -left_tongue, low),
            Space("left engagement", -left_tongue, 0.0, low),
            Space("right engagement", sight, sight + right_tongue, low),
            Space("right clearance", sight + right_tongue, sight + depth, low),
        ]
        if self.shoulder_gap_mm is not None:
            growth = width - self.built_width_mm
            left = 0.0 if self.held == ONE_EDGE else growth / 2.0
            from_left = self.shoulder_gap_mm - left
            to_right = sight - self.shoulder_gap_mm + (growth - left)
            parts.append(Part("raised field", "member", from_left, low, to_right - from_left, thick))
            spaces.append(Space("left shoulder", 0.0, from_left, thick / 2.0))
            spaces.append(Space("right shoulder", to_right, sight, thick / 2.0))
        edge = min(40.0, sight / 4.0)
        return Section(
            f"{self.member.name} in its grooves", tuple(parts), tuple(spaces), ((edge, sight - edge),)
        )
