"""Solid edging glued to the edge of sheet goods.

The sheet's thickness hardly moves; the edging's width, which lies across it, does, and comes to stand proud
or shy of the face. A gloss finish shows 0.002 to 0.003 in (common practice, no source).
"""

from dataclasses import dataclass
from typing import ClassVar

from model.wood.design.setting_out import ROUNDING_SLACK, Cut, Increments, ServiceRange
from model.wood.fits.base import Fit
from model.wood.fits.drawing import Part, Section, Space
from model.wood.fits.fields import length, one_member
from model.wood.fits.limit import INCH, Moistures, Way
from model.wood.fits.seen import Seen
from model.wood.material.member import Member
from model.wood.reason import Reason

GLOSS_SHOWS_MM = 0.003 * INCH


@dataclass(frozen=True, kw_only=True)
class EdgingOnSheet(Fit):
    """Limits: stands-proud, stands-shy."""

    kind: ClassVar[str] = "edging-on-sheet"
    title: ClassVar[str] = "Edging on sheet goods"
    what: ClassVar[str] = (
        "Solid edging trimmed flush with plywood or board, which it outgrows or shrinks from."
    )

    member: Member = one_member("the edging; its width lies across the sheet's thickness")  # noqa: RUF009
    step_shows_mm: float = length("step that shows at a face", GLOSS_SHOWS_MM, usual="0.003 in under gloss")

    def ways(self, mc: Moistures) -> list[Way]:
        growth = self.growth(self.member, mc)
        edging = (self.member.called,)
        return [
            Way("stands-proud", "swelling", "shows", self.step_shows_mm - growth, edging),
            Way("stands-shy", "shrinking", "shows", self.step_shows_mm + growth, edging),
        ]

    def cut(self, service: ServiceRange, steps: Increments) -> Cut:
        width, up = self.built_width(self.member), steps.gap_up
        proud, shy = service.to_wet(self.member, width), service.to_dry(self.member, width)
        sizes = {"proud_mm": up(proud), "shy_mm": up(shy)}
        reasons = [service.reason("cut-edging", part=self.member.called, **sizes)]
        shows = max(proud, shy) > self.step_shows_mm + ROUNDING_SLACK
        if shows:
            reasons.append(Reason("cut-edging-shows", {"target_pct": service.target_pct}))
        return Cut(
            **self.cut_head(service, self.member.name),
            enough=not shows,
            figures=[("proud, damp", up(proud), "up"), ("shy, dry", up(shy), "up")],
            reasons=reasons,
        )

    def seen(self, dry: Moistures, damp: Moistures) -> Seen:
        swing_mm = float(self.growth(self.member, damp)) - float(self.growth(self.member, dry))
        return Seen(Reason("seen-step"), Reason("seen-step"), swing_mm, where="at the edging")

    def section(self, mc: Moistures) -> Section:
        built = self.built_width(self.member)
        width = float(self.member.width_at(mc[self.member.name]))
        thick = self.member.thickness_mm
        parts = (
            Part("sheet", "sheet", 0.0, thick, built, 60.0),
            Part(self.member.name, "member", 0.0, 0.0, width, thick),
        )
        return Section(
            f"{self.member.name} on the sheet's edge", parts, (Space("step", built, width, thick),)
        )
