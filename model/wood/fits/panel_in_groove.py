"""A panel floating in the grooves of a frame.

The sight width between the stiles is fixed by the rails' long grain; the panel moves across it. What is
left before the tongue bottoms, leaves its groove, or shows bare wood follows from panel, sight width and
groove depth. Margins are movement of the panel's whole width. Geometry and usual sizes: common practice.
"""

import math
from dataclasses import dataclass
from typing import ClassVar

from model.wood.fits.base import INCH, Fit, Moistures, Way, moisture_of
from model.wood.fits.drawing import Part, Section, Space
from model.wood.fits.fields import choice, length, number, one_member
from model.wood.member import Amount, Member
from model.wood.piece_table import NOTHING

CENTRE, ONE_EDGE, FREE = "centre", "one-edge", "free"
BEFORE, AFTER = "before assembly", "after assembly"
# Bare wood is seen once it is this wide on one side (common practice, no source).
SEEN_MM = INCH / 64.0
# Half-thousandths lost in inches are no contradiction.
SLACK_MM = 0.02


@dataclass(frozen=True, kw_only=True)
class PanelInGroove(Fit):
    """Limits: groove-bottom, leaves-groove; shoulder-closes and bevel-wedges of a raised panel; bare-line
    where a tongue is not finished all over; rattle where it was asked for.
    """

    kind: ClassVar[str] = "panel-in-groove"
    title: ClassVar[str] = "Panel in grooves"
    what: ClassVar[str] = "A solid panel floats in the grooves of its frame, or a bottom in those of its box."

    member: Member = one_member("the panel")  # noqa: RUF009
    sight_width_mm: float = length("width seen between the frame's edges, across the panel's grain")
    groove_depth_mm: float = length(
        "depth of each groove", usual="3/8 in for panels to about 15 in", suggest=9.525
    )
    held: str = choice(
        "where the panel is pinned or spaced so that it can't wander", (CENTRE, ONE_EDGE, FREE), CENTRE
    )
    finished: str = choice(
        "whether the panel had its finish, tongue and all, before it went into the frame",
        (BEFORE, AFTER),
        BEFORE,
    )
    finish_onto_tongue_mm: float | None = length(
        "width of tongue that carries finish beyond the sight line, each side",
        None,
        zero=True,
        usual="the whole tongue when finished before assembly, none when after",
    )
    profile: str = choice("the panel's edge", ("flat", "raised"), "flat")
    shoulder_gap_mm: float | None = length(
        "gap between the raised field's shoulder and each stile",
        None,
        zero=True,
        usual="1/32 to 1/16 in",
        suggest=1.5875,
        only_when=("profile", ("raised",)),
    )
    bevel_deg: float = number(
        "slope of a bevelled tongue where it enters the groove", (0.0, 45.0), "degrees", 0.0
    )
    groove_slack_mm: float = length(
        "how much wider the groove is than the bevelled tongue at its lip",
        0.0,
        zero=True,
        only_when=("profile", ("raised",)),
    )
    tongue_thickness_mm: float | None = length(
        "thickness of the tongue", None, usual="1/4 in, or the panel's own"
    )
    least_engagement_mm: float = length(
        "tongue that has to stay in each groove",
        INCH / 16.0,
        zero=True,
        usual="1/16 in at the least, 1/8 in for 3/4 in work",
    )
    held_engagement_mm: float | None = length(
        "tongue in the groove at the held edge",
        None,
        usual="as much as at the other",
        only_when=("held", (ONE_EDGE,)),
    )
    spacer_mm: float = length("crushed thickness of the spacer in each groove", 0.0, zero=True)
    rattle_mm: float | None = length(
        "play in both grooves together from which the panel rattles",
        None,
        usual="left out: it does not matter",
    )
    stile_width_mm: float | None = length("width of each stile", None)

    # -------------------------------------------------------- as built

    @property
    def built_width_mm(self) -> float:
        """Width of the panel when the frame was closed."""
        return self.built_width(self.member)

    @property
    def coverage_mm(self) -> float | None:
        """Tongue finished beyond the sight line, each side; None when there is no bare wood to show."""
        if self.finish_onto_tongue_mm is not None:
            return self.finish_onto_tongue_mm
        return None if self.finished == BEFORE else 0.0

    def check(self) -> None:
        self._check_fill()
        self._check_held_edge()
        self._check_edge()

    def _check_fill(self) -> None:
        built_mm, groove_mm, sight_mm = self.built_width_mm, self.groove_depth_mm, self.sight_width_mm
        panel = f"the panel {self.member.name} is {built_mm:.4g} mm wide"
        if self.stile_width_mm is not None and groove_mm >= self.stile_width_mm:
            rule = f"must be less than the stile is wide ({self.stile_width_mm:.4g} mm)"
            raise self.bad("groove_depth_mm", rule, groove_mm)
        if built_mm <= sight_mm:
            raise self.bad(
                "sight_width_mm", f"must be less, or the panel can't reach its grooves: {panel}", sight_mm
            )
        room_mm = sight_mm + 2.0 * groove_mm
        if built_mm > room_mm + SLACK_MM:
            rule = f"must be more, or the panel is too wide for its grooves: {panel} and has {room_mm:.4g} mm"
            raise self.bad("groove_depth_mm", rule, groove_mm)
        if self.spacer_mm >= groove_mm:
            raise self.bad(
                "spacer_mm", f"must be less than the groove is deep ({groove_mm:.4g} mm)", self.spacer_mm
            )

    def _check_held_edge(self) -> None:
        held_mm = self.held_engagement_mm
        if held_mm is None:
            return
        if self.held != ONE_EDGE:
            raise self.bad("held_engagement_mm", "must be left out unless held is one-edge", held_mm)
        if held_mm > self.groove_depth_mm:
            rule = f"must not be more than the groove is deep ({self.groove_depth_mm:.4g} mm)"
            raise self.bad("held_engagement_mm", rule, held_mm)
        free_mm = self.built_width_mm - self.sight_width_mm - held_mm
        if not 0.0 < free_mm <= self.groove_depth_mm + SLACK_MM:
            rule = (
                f"must leave a tongue at the free edge of 0 to {self.groove_depth_mm:.4g} mm, "
                f"the groove's depth (it leaves {free_mm:.4g} mm)"
            )
            raise self.bad("held_engagement_mm", rule, held_mm)

    def _check_edge(self) -> None:
        shoulder_mm, onto_mm = self.shoulder_gap_mm, self.finish_onto_tongue_mm
        if self.profile == "raised" and shoulder_mm is None:
            raise self.bad("shoulder_gap_mm", "must be given for a raised panel (0 or more)", NOTHING)
        if self.profile == "flat" and shoulder_mm is not None:
            raise self.bad("shoulder_gap_mm", "must be left out unless profile is raised", shoulder_mm)
        tongue_mm = self._tongue(self.built_width_mm)
        if onto_mm is not None and onto_mm > float(tongue_mm) + SLACK_MM:
            rule = f"must not be more than the tongue in the groove ({float(tongue_mm):.4g} mm)"
            raise self.bad("finish_onto_tongue_mm", rule, onto_mm)
        thick_mm = self.tongue_thickness_mm
        if thick_mm is not None and thick_mm > self.member.thickness_mm:
            rule = f"must not be more than the panel is thick ({self.member.thickness_mm:.4g} mm)"
            raise self.bad("tongue_thickness_mm", rule, thick_mm)

    def _tongue(self, width_mm: Amount) -> Amount:
        """Engagement where it changes: at the free edge, or at either edge of a centred panel."""
        spare = width_mm - self.sight_width_mm
        if self.held != ONE_EDGE:
            return spare / 2.0
        if self.held_engagement_mm is not None:
            return spare - self.held_engagement_mm
        return spare - (self.built_width_mm - self.sight_width_mm) / 2.0

    # -------------------------------------------------------- limits

    def ways(self, mc: Moistures) -> list[Way]:
        panel = self.member.name
        width = self.member.width_at(moisture_of(self.member, mc))
        growth = width - self.built_width_mm
        depth = self.groove_depth_mm - self.spacer_mm
        tongue = self._tongue(width)
        # At one edge all the movement comes out on one side; else each side has half of it.
        sides = 1.0 if self.held == ONE_EDGE else 2.0
        if self.held == FREE:
            engaged = width - self.sight_width_mm - depth - self.least_engagement_mm
            leaves = f"{panel} has wandered to one side and its tongue leaves the other groove"
        else:
            engaged = sides * (tongue - self.least_engagement_mm)
            leaves = f"the tongue of {panel} leaves its groove"
        found = [
            Way(
                "groove-bottom",
                "swelling",
                "harms",
                sides * (depth - tongue),
                f"the tongue of {panel} bottoms in its groove and pushes the frame",
            ),
            Way("leaves-groove", "shrinking", "harms", engaged, leaves),
        ]
        if self.shoulder_gap_mm is not None:
            says = f"the shoulder of {panel} closes on the stile and pushes the frame"
            found.append(
                Way("shoulder-closes", "swelling", "harms", sides * self.shoulder_gap_mm - growth, says)
            )
        if self.bevel_deg > 0.0:
            found.append(self._wedge(mc, growth / sides))
        covered = self.coverage_mm
        if covered is not None:
            # A finish that stops at the sight line still hides a hair of movement.
            seen_from = max(covered, SEEN_MM)
            says = f"bare wood shows along the edge of {panel}"
            found.append(Way("bare-line", "shrinking", "shows", sides * seen_from + growth, says))
        if self.rattle_mm is not None:
            play = self.sight_width_mm + 2.0 * depth - width
            says = f"{panel} is loose in its grooves and rattles"
            found.append(Way("rattle", "shrinking", "shows", self.rattle_mm - play, says))
        return found

    def _wedge(self, mc: Moistures, growth_a_side: Amount) -> Way:
        """A bevelled tongue thickens at the lip of the groove as it goes in."""
        thicker = growth_a_side * math.tan(math.radians(self.bevel_deg))
        if self.tongue_thickness_mm is not None:
            reference = self.reference_mc(self.member)
            own = self.member.thickness_strain_from(reference, moisture_of(self.member, mc))
            thicker = thicker + self.tongue_thickness_mm * own
        says = f"the bevel of {self.member.name} wedges its groove open"
        return Way("bevel-wedges", "swelling", "harms", self.groove_slack_mm - thicker, says)

    # -------------------------------------------------------- drawing

    def section(self, mc: Moistures) -> Section:
        width = float(self.member.width_at(moisture_of(self.member, mc)))
        sight, depth, thick = self.sight_width_mm, self.groove_depth_mm, self.member.thickness_mm
        stile = self.stile_width_mm or max(2.0 * depth, 40.0)
        left_tongue = (width - sight) / 2.0
        if self.held == ONE_EDGE:
            left_tongue = self.held_engagement_mm or (self.built_width_mm - sight) / 2.0
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
