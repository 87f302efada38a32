"""A mitred frame.

Each member narrows or widens, its length does not, so the angle of the mitre turns by the strain [rad] and
the joint, the square root of two times as long as the member is wide, gapes at one end. Drier than when
it was cut it opens at the heel (inside), damper at the toe (outside).
"""

import math
from dataclasses import dataclass, replace
from typing import ClassVar

from model.wood.design.setting_out import ROUNDING_SLACK, Cut, Increments, ServiceRange
from model.wood.fits.base import Fit
from model.wood.fits.drawing import Part, Section, Space
from model.wood.fits.fields import length, several_members
from model.wood.fits.limit import INCH, Moistures, Way
from model.wood.fits.seen import Seen, seen_change
from model.wood.material.member import Amount, Member
from model.wood.reason import Reason


@dataclass(frozen=True, kw_only=True)
class Mitre(Fit):
    """Limits: heel-opens, toe-opens."""

    kind: ClassVar[str] = "mitre"
    title: ClassVar[str] = "Mitred frame"
    what: ClassVar[str] = "Members that meet at a mitre, which opens at its heel or toe as they move."

    meeting: tuple[Member, ...] = several_members(
        "the members that meet; one name when they are alike", key="parts"
    )
    gap_shows_mm: float = length("opening that shows", INCH / 64.0, usual="1/64 in")

    def check(self) -> None:
        if len(self.meeting) > 2:
            names = [member.name for member in self.meeting]
            raise self.bad("parts", "must be one part or the two that meet", names)

    def heel_gap(self, mc: Moistures) -> Amount:
        """Opening at the heel since the mitre was cut [mm]; negative is opening at the toe."""
        growth: Amount = 0.0
        for member in self.meeting:
            growth = growth + self.growth(member, mc) / len(self.meeting)
        return -math.sqrt(2.0) * growth

    def ways(self, mc: Moistures) -> list[Way]:
        heel = self.heel_gap(mc)
        names = tuple(member.called for member in self.meeting)
        return [
            Way("heel-opens", "shrinking", "shows", self.gap_shows_mm - heel, names),
            Way("toe-opens", "swelling", "shows", self.gap_shows_mm + heel, names),
        ]

    def cut(self, service: ServiceRange, steps: Increments) -> Cut:
        up = steps.gap_up
        share = math.sqrt(2.0) / len(self.meeting)
        heel = share * sum(service.to_dry(member, self.built_width(member)) for member in self.meeting)
        toe = share * sum(service.to_wet(member, self.built_width(member)) for member in self.meeting)
        called = " and ".join(dict.fromkeys(member.called for member in self.meeting))
        sizes = {"heel_mm": up(heel), "toe_mm": up(toe)}
        reasons = [service.reason("cut-mitre", part=called, **sizes)]
        enough = max(heel, toe) <= self.gap_shows_mm + ROUNDING_SLACK
        if not enough:
            widest = self.gap_shows_mm / max(heel, toe) * max(map(self.built_width, self.meeting))
            limits = {"widest_mm": steps.gap_down(widest), "target_pct": service.target_pct}
            reasons.insert(0, Reason("cut-mitre-shows", limits))
        return Cut(
            **self.cut_head(service, " and ".join(member.name for member in self.meeting)),
            enough=enough,
            figures=[("opens at the heel, dry", up(heel), "up"), ("opens at the toe, damp", up(toe), "up")],
            reasons=reasons,
        )

    def seen(self, dry: Moistures, damp: Moistures) -> Seen:
        dry_mm, damp_mm = float(self.heel_gap(dry)), float(self.heel_gap(damp))
        gaps = abs(dry_mm), abs(damp_mm)
        told = seen_change(dry_mm, damp_mm, "seen-mitre", "at its mitres")
        return replace(told, swing_mm=max(gaps), gap_mm=gaps)

    def section(self, mc: Moistures) -> Section:
        width = float(self.meeting[0].width_at(mc[self.meeting[0].name]))
        heel = float(self.heel_gap(mc))
        thick = self.meeting[0].thickness_mm
        joint = math.sqrt(2.0) * width
        parts = (Part(self.meeting[0].name, "member", 0.0, 0.0, joint, thick),)
        spaces = (
            Space("open at the heel", 0.0, max(heel, 0.0), thick),
            Space("open at the toe", joint - max(-heel, 0.0), joint, thick),
        )
        return Section(f"along the mitre of {self.meeting[0].name}, heel to toe", parts, spaces)
