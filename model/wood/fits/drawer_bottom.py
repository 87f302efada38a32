"""A solid drawer bottom, held at the front and free to move under the drawer's back.

Its grain runs from side to side, so its depth moves. It grows rearward past a screw that stands still in
the drawer's back: swelling brings the slot's front (closed) end to the screw, shrinking its rear end.
Usual sizes: common practice, no source.
"""

from dataclasses import dataclass
from typing import ClassVar

from model.wood.fits.drawing import Part, Section, Space
from model.wood.fits.fields import flag, length, one_member
from model.wood.fits.limit import Moistures, Way
from model.wood.fits.slot import SlottedFit
from model.wood.material.member import Member
from model.wood.piece_table import NOTHING


@dataclass(frozen=True, kw_only=True)
class DrawerBottom(SlottedFit):
    """Limits: slot-end-wet, slot-end-dry; meets-case-back, leaves-back and leaves-front-groove where the fit
    says enough for them.
    """

    kind: ClassVar[str] = "drawer-bottom"
    hides_edges: ClassVar[bool] = True
    title: ClassVar[str] = "Drawer bottom"
    what: ClassVar[str] = (
        "A solid bottom in the drawer's grooves, fixed in front, screwed through a slot at the back."
    )
    slot_moves: ClassVar[bool] = True
    near_end: ClassVar[str] = "front"
    far_end: ClassVar[str] = "rear"

    member: Member = one_member("the bottom; its width is its depth from front to back")  # noqa: RUF009
    front_glued: bool = flag("whether the front edge is glued in its groove", True)
    front_engagement_mm: float | None = length(
        "how far the bottom stands in the front groove, when it isn't glued there", None, usual="1/4 in"
    )
    back_overhang_mm: float | None = length(
        "how far the bottom reaches past the inner face of the drawer's back", None
    )
    back_clearance_mm: float | None = length(
        "room behind the bottom before it meets the case's back, drawer shut", None, zero=True
    )

    @property
    def moving(self) -> tuple[Member, float]:
        return self.member, self.built_width(self.member)

    def check(self) -> None:
        self.check_slot()
        if not self.front_glued and self.front_engagement_mm is None:
            rule = "must be given when the front is not glued (how far the bottom stands in its groove)"
            raise self.bad("front_engagement_mm", rule, NOTHING)
        if self.front_glued and self.front_engagement_mm is not None:
            raise self.bad(
                "front_engagement_mm", "must be left out when the front is glued", self.front_engagement_mm
            )
        depth_mm = self.built_width(self.member)
        if self.back_overhang_mm is not None and self.back_overhang_mm >= depth_mm:
            rule = f"must be less than the bottom is deep ({depth_mm:.4g} mm)"
            raise self.bad("back_overhang_mm", rule, self.back_overhang_mm)

    def ways(self, mc: Moistures) -> list[Way]:
        bottom = (self.member.called,)
        growth = self.growth(self.member, mc)
        found = self.slot_ways(growth)
        if self.back_clearance_mm is not None:
            found.append(Way("meets-case-back", "swelling", "harms", self.back_clearance_mm - growth, bottom))
        if self.back_overhang_mm is not None:
            found.append(Way("leaves-back", "shrinking", "harms", self.back_overhang_mm + growth, bottom))
        if self.front_engagement_mm is not None:
            left = self.front_engagement_mm + growth
            found.append(Way("leaves-front-groove", "shrinking", "harms", left, bottom))
        return found

    def section(self, mc: Moistures) -> Section:
        depth = float(self.member.width_at(mc[self.member.name]))
        built = self.built_width(self.member)
        growth = float(self.growth(self.member, mc))
        thick = self.member.thickness_mm
        overhang = self.back_overhang_mm or 12.0
        inner = built - overhang
        parts = [
            Part("drawer front", "frame", -10.0, 0.0, 20.0, 5.0 * thick),
            Part("front groove", "groove", 0.0, 1.0 * thick, 10.0, thick),
            Part("drawer back", "frame", inner, 2.0 * thick, 12.0, 3.0 * thick),
            Part(self.member.name, "member", 0.0, thick, depth, thick),
            *self.slot_parts(inner + 6.0, growth, thick),
        ]
        spaces = [Space("past the drawer's back", inner, depth, thick)]
        if self.back_clearance_mm is not None:
            case = built + self.back_clearance_mm
            parts.append(Part("case back", "opening", case, 0.0, 10.0, 5.0 * thick))
            spaces.append(Space("to the case's back", depth, case, 1.5 * thick))
        plain = ((30.0, inner - 30.0),) if inner > 70.0 else ()
        return Section(f"{self.member.name}, front to back", tuple(parts), tuple(spaces), plain)
