"""A back of narrow boards, tongue and groove or shiplap, each fixed once at its middle.

Each joint takes half the movement of the boards on its two sides; a gap against the case takes half of
one board. Geometry and usual sizes: common practice, no source.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import ClassVar

from model.wood.design.setting_out import ROUNDING_SLACK, GapCut, Increments, ServiceRange
from model.wood.fits.base import Fit
from model.wood.fits.drawing import Part, Section, Space
from model.wood.fits.fields import choice, length, several_members
from model.wood.fits.limit import INCH, Moistures, Way, least
from model.wood.fits.panel_in_groove.geometry import AFTER, BEFORE, SEEN_MM
from model.wood.fits.seen import NOTHING_MM, Seen
from model.wood.material.member import Amount, Member
from model.wood.reason import Reason


@dataclass(frozen=True, kw_only=True)
class BoardBack(Fit):
    """Limits: boards-touch, leaves-lap; groove-bottom, board-meets-case, bare-line and gap-shows where the
    fit says enough for them. Each is that of the worst joint.
    """

    kind: ClassVar[str] = "board-back"
    title: ClassVar[str] = "Back of boards"
    what: ClassVar[str] = "Boards side by side, tongue and groove or shiplap, each fixed once at its middle."
    gap_attribute: ClassVar[str | None] = "gap_mm"

    boards: tuple[Member, ...] = several_members(
        "the boards in order, each fixed at its middle; one name when they are all alike", key="parts"
    )
    gap_mm: float = length("gap between board and board as built", zero=True, usual="1/32 to 1/16 in")
    lap_mm: float = length(
        "length of the tongue, or width of the rabbet", usual="twice the largest gap or more"
    )
    joint: str = choice("the joint between boards", ("tongue-and-groove", "shiplap"), "tongue-and-groove")
    groove_depth_mm: float | None = length(
        "depth of the groove",
        None,
        usual="as deep as the tongue is long",
        only_when=("joint", ("tongue-and-groove",)),
    )
    end_gap_mm: float | None = length("gap between the end boards and the case, each side", None, zero=True)
    least_lap_mm: float = length("lap that has to stay", INCH / 16.0, zero=True, usual="1/16 in")
    widest_gap_mm: float | None = length("widest gap that still looks right", None)
    finished: str = choice(
        "whether tongues and laps had their finish before they went in", (BEFORE, AFTER), BEFORE
    )

    def check(self) -> None:
        if self.gap_mm >= self.lap_mm:
            rule = f"must be less than the lap ({self.lap_mm:.4g} mm), or the boards don't reach each other"
            raise self.bad("gap_mm", rule, self.gap_mm)
        if self.groove_depth_mm is not None:
            if self.joint == "shiplap":
                raise self.bad("groove_depth_mm", "must be left out of a shiplap joint", self.groove_depth_mm)
            if self.groove_depth_mm < self.lap_mm - self.gap_mm:
                rule = "must be more, or the tongue is longer than its groove (it reaches "
                reach = f"{self.lap_mm - self.gap_mm:.4g} mm in)"
                raise self.bad("groove_depth_mm", rule + reach, self.groove_depth_mm)
        if self.widest_gap_mm is not None and self.widest_gap_mm <= self.gap_mm:
            raise self.bad(
                "widest_gap_mm", f"must be more than the gap ({self.gap_mm:.4g} mm)", self.widest_gap_mm
            )

    def joints(self) -> list[tuple[Member, Member]]:
        """The boards on the two sides of each joint; boards all alike make one kind of joint."""
        if len(self.boards) == 1:
            return [(self.boards[0], self.boards[0])]
        return list(dict.fromkeys(pairwise(self.boards)))

    def _tightest_and_widest(self, mc: Moistures) -> tuple[Amount, Amount]:
        """The smallest and the largest gap of all joints."""
        gaps = []
        for left, right in self.joints():
            gaps.append(self.gap_mm - (self.growth(left, mc) + self.growth(right, mc)) / 2.0)
        return least(gaps), -least([-gap for gap in gaps])

    def gap_now(self, mc: Moistures) -> Amount:
        return self._tightest_and_widest(mc)[0]

    def ways(self, mc: Moistures) -> list[Way]:
        tight, wide = self._tightest_and_widest(mc)
        parts = tuple(board.called for board in self.boards)
        found = [Way("boards-touch", "swelling", "harms", tight, parts)]
        if self.groove_depth_mm is not None:
            tip = self.groove_depth_mm - self.lap_mm + tight
            found.append(Way("groove-bottom", "swelling", "harms", tip, parts, "boards"))
        if self.end_gap_mm is not None:
            ends = [self.boards[0], self.boards[-1]]
            room = least([self.end_gap_mm - self.growth(board, mc) / 2.0 for board in ends])
            found.append(Way("board-meets-case", "swelling", "harms", room, parts))
        lap = self.lap_mm - wide - self.least_lap_mm
        found.append(Way("leaves-lap", "shrinking", "harms", lap, parts, self.joint))
        if self.finished == AFTER:
            bare = SEEN_MM + self.gap_mm - wide
            found.append(Way("bare-line", "shrinking", "shows", bare, parts, "boards"))
        if self.widest_gap_mm is not None:
            left = self.widest_gap_mm - wide
            found.append(Way("gap-shows", "shrinking", "shows", left, parts, "boards"))
        return found

    def seen(self, dry: Moistures, damp: Moistures) -> Seen:
        dry_mm, damp_mm = float(self.gap_now(dry)), float(self.gap_now(damp))
        damp_key = "seen-closed" if damp_mm < NOTHING_MM else "seen-gaps"
        return Seen(
            Reason("seen-gaps", {"how": "most", "gap_mm": dry_mm}),
            Reason(damp_key, {"gap_mm": damp_mm}),
            dry_mm - damp_mm,
            (max(dry_mm, 0.0), max(damp_mm, 0.0)),
            "between boards",
        )

    def cut(self, service: ServiceRange, steps: Increments) -> GapCut:
        def closes(today_pct: float, mc_pct: float) -> list[float]:
            """How much of the gap closes at each joint from today to a moisture content [mm]."""
            return [
                sum(self.built_width(m) * (service.ratio(m, today_pct, mc_pct) - 1.0) for m in pair) / 2.0
                for pair in self.joints()
            ]

        gap = max(*closes(service.driest_pct, service.wet_pct), 0.0)
        rounded = steps.gap_up(gap)
        lap = rounded + max(*(-one for one in closes(service.wettest_pct, service.dry_pct)), 0.0)
        lap += self.least_lap_mm
        dry_gap = rounded - min(closes(service.today_pct, service.dry_pct))
        wet_gap = rounded - max(closes(service.today_pct, service.wet_pct))
        lap_rounded = steps.slot_up(lap)
        enough = lap <= self.lap_mm + ROUNDING_SLACK
        reasons = [
            service.reason("cut-boards", gap_mm=rounded),
            service.reason("cut-gap-year", wet_mm=steps.gap_down(wet_gap), dry_mm=steps.gap_up(dry_gap)),
            Reason("cut-lap", {"lap_mm": lap_rounded}),
        ]
        if not enough:
            reasons.append(Reason("cut-short", {"drawn_mm": self.lap_mm}))
        return GapCut(
            **self.cut_head(service, " and ".join(dict.fromkeys(board.name for board in self.boards))),
            enough=enough,
            figures=[
                ("gap today", rounded, "up"),
                ("gap at the dry end", steps.gap_up(dry_gap), "up"),
                ("gap at the damp end", steps.gap_down(wet_gap), "down"),
                ("lap at least", lap_rounded, "up"),
            ],
            reasons=reasons,
            gap_mm=gap,
            gap_rounded_mm=rounded,
            gap_least_mm=gap,
            gap_dry_mm=dry_gap,
            gap_wet_mm=wet_gap,
            lap_needed_mm=lap,
            lap_needed_rounded_mm=lap_rounded,
        )

    def section(self, mc: Moistures) -> Section:
        left, right = self.joints()[0]
        thick = min(left.thickness_mm, right.thickness_mm)
        half = [float(member.width_at(mc[member.name])) / 2.0 for member in (left, right)]
        gap = self.gap_mm - sum(float(self.growth(member, mc)) for member in (left, right)) / 2.0
        tongued = self.joint == "tongue-and-groove"
        low, high = (thick / 3.0, thick / 3.0) if tongued else (0.0, thick / 2.0)
        hollow_mm = self.groove_depth_mm or self.lap_mm
        parts = [
            Part(left.name, "member", -half[0], 0.0, half[0], thick),
            Part(right.name, "member", gap, 0.0, half[1], thick),
            Part("groove" if tongued else "rabbet", "groove", gap, low, hollow_mm, high),
            Part("tongue" if tongued else "lap", "member", 0.0, low, self.lap_mm, high),
        ]
        spaces = (Space("gap", 0.0, gap, thick), Space("lap", gap, self.lap_mm, 0.0))
        edge = 3.0 * self.lap_mm
        plain = tuple(
            span for span in ((-half[0] + 5.0, -edge), (edge, gap + half[1] - 5.0)) if span[0] < span[1]
        )
        return Section(f"{left.name} beside {right.name}", tuple(parts), spaces, plain)
