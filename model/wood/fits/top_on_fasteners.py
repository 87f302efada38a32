"""A solid top held down by buttons, clips, slotted screws or figure-eights.

The top moves away from the line where it is fixed; each fastener sees the movement of the wood between
that line and itself. Moving the fixed line doubles or halves the range. Usual sizes: common practice.
"""

from dataclasses import dataclass
from typing import ClassVar

from model.wood.design.setting_out import ROUNDING_SLACK, Figure, Increments, ServiceRange
from model.wood.fits.drawing import Part, Section, Space
from model.wood.fits.fields import choice, length, one_member
from model.wood.fits.limit import INCH, Moistures, Way
from model.wood.fits.seen import Seen, seen_change
from model.wood.fits.slot import SlotCut, SlottedFit
from model.wood.material.member import Amount, Member
from model.wood.piece_table import NOTHING
from model.wood.reason import Reason

BUTTONS = ("button", "clip")
FIGURE_EIGHT_TRAVEL_MM = INCH / 16.0
# What it swings each way in a relief; wider tops go on buttons (common practice, no source).
FIGURE_EIGHT_SWING_MM = INCH / 8.0
FIGURE_EIGHT_TOP_MM = 18.0 * INCH


@dataclass(frozen=True, kw_only=True)
class TopOnFasteners(SlottedFit):
    """Limits: button-meets-apron, button-leaves-groove and groove-bottom of buttons; slot-end-wet and
    slot-end-dry of screws and figure-eights.
    """

    kind: ClassVar[str] = "top-on-fasteners"
    title: ClassVar[str] = "Top on fasteners"
    what: ClassVar[str] = (
        "A solid top on buttons, clips, slotted screws or figure-eights, fixed along one line."
    )

    slot_when: ClassVar[tuple[str, tuple[str, ...]] | None] = ("fastener", ("slotted-screw", "figure-eight"))
    gap_attribute: ClassVar[str | None] = "button_gap_mm"

    member: Member = one_member("the top")  # noqa: RUF009
    fixed: str = choice("where the top is fixed fast", ("centre", "front", "back"), "centre")
    fastener: str = choice("what holds it down", (*BUTTONS, "slotted-screw", "figure-eight"), "button")
    fastener_distance_mm: float | None = length(
        "from the fixed line to the fasteners farthest from it", None, usual="the edge of the top"
    )
    button_gap_mm: float | None = length(
        "gap between the button's shoulder and the apron", None, zero=True, usual="1/16 to 1/8 in",
        only_when=("fastener", BUTTONS),
    )  # fmt: skip
    engagement_mm: float | None = length(
        "how far the button's tongue stands in its groove",
        None,
        usual="3/8 in",
        only_when=("fastener", BUTTONS),
    )
    groove_depth_mm: float | None = length(
        "depth of the groove that the tongue stands in", None, usual="left out when the shoulder meets first",
        only_when=("fastener", BUTTONS),
    )  # fmt: skip
    least_engagement_mm: float = length(
        "tongue that has to stay in its groove",
        INCH / 8.0,
        zero=True,
        usual="1/8 in",
        only_when=("fastener", BUTTONS),
    )

    @property
    def distance_mm(self) -> float:
        """From the fixed line to the farthest fastener."""
        if self.fastener_distance_mm is not None:
            return self.fastener_distance_mm
        return self.built_width(self.member) / (2.0 if self.fixed == "centre" else 1.0)

    @property
    def moving(self) -> tuple[Member, float]:
        return self.member, self.distance_mm

    @property
    def is_button(self) -> bool:
        return self.fastener in BUTTONS

    def check(self) -> None:
        reach_mm = self.built_width(self.member) / (2.0 if self.fixed == "centre" else 1.0)
        if self.distance_mm > reach_mm + 0.02:
            rule = f"must not be more than from the fixed line to the edge of the top ({reach_mm:.4g} mm)"
            raise self.bad("fastener_distance_mm", rule, self.fastener_distance_mm)
        self.check_slot(needed=self.fastener == "slotted-screw")
        if self.is_button:
            for attribute in ("button_gap_mm", "engagement_mm"):
                if getattr(self, attribute) is None:
                    raise self.bad(attribute, f"must be given for a {self.fastener}", NOTHING)
            if self.groove_depth_mm is not None and (self.engagement_mm or 0.0) > self.groove_depth_mm:
                rule = f"must not be more than the groove is deep ({self.groove_depth_mm:.4g} mm)"
                raise self.bad("engagement_mm", rule, self.engagement_mm)
            if self.has_slot:
                key = "slot_length_mm" if self.slot_length_mm is not None else "travel_mm"
                raise self.bad(key, f"must be left out for a {self.fastener}", getattr(self, key))
            return
        for attribute in ("button_gap_mm", "engagement_mm", "groove_depth_mm"):
            if getattr(self, attribute) is not None:
                raise self.bad(attribute, f"must be left out for a {self.fastener}", getattr(self, attribute))

    @property
    def slot_travel(self) -> tuple[float, float]:
        if self.fastener == "figure-eight" and not self.has_slot:
            return FIGURE_EIGHT_TRAVEL_MM, FIGURE_EIGHT_TRAVEL_MM
        return super().slot_travel

    def gap_now(self, mc: Moistures) -> Amount | None:
        if self.button_gap_mm is None:
            return None
        return self.button_gap_mm - self.distance_mm * self.strain(self.member, mc)

    def ways(self, mc: Moistures) -> list[Way]:
        top = (self.member.called,)
        growth = self.distance_mm * self.strain(self.member, mc)
        if not self.is_button:
            return self.slot_ways(growth)
        gap, engaged = self.button_gap_mm or 0.0, self.engagement_mm or 0.0
        found = [
            Way("button-meets-apron", "swelling", "harms", gap - growth, top),
            Way(
                "button-leaves-groove", "shrinking", "harms", engaged - self.least_engagement_mm + growth, top
            ),
        ]
        if self.groove_depth_mm is not None:
            room = self.groove_depth_mm - engaged - growth
            found.append(Way("groove-bottom", "swelling", "harms", room, top, "button"))
        return found

    def seen(self, dry: Moistures, damp: Moistures) -> Seen:
        dry_mm, damp_mm = (float(self.growth(self.member, mc)) for mc in (dry, damp))
        return seen_change(dry_mm, damp_mm, "seen-top")

    def cut(self, service: ServiceRange, steps: Increments) -> SlotCut:
        if not self.is_button and (self.fastener != "figure-eight" or self.slot_length_mm is not None):
            return super().cut(service, steps)
        swell, shrink = self.travel_needed(service)
        moves = self.movement_reason(service, steps)
        fields = self.cut_head(service, self.member.name) | {"swelling_mm": swell, "shrinking_mm": shrink}
        if not self.is_button:
            # A figure-eight has no slot: it swings on its screw, in a relief cut beside its recess.
            suits = self.built_width(self.member) <= FIGURE_EIGHT_TOP_MM + ROUNDING_SLACK
            suits = suits and max(swell, shrink) <= FIGURE_EIGHT_SWING_MM + ROUNDING_SLACK
            relief = steps.slot_up(max(swell, shrink))
            if suits:
                reasons = [moves, Reason("cut-figure-eight", {"relief_mm": relief})]
                swings = min(self.slot_travel)
                if max(swell, shrink) > swings + ROUNDING_SLACK:
                    record = {"relief_mm": relief, "swings_mm": swings}
                    reasons.append(Reason("cut-figure-eight-record", record))
                figures: list[Figure] = [("relief, each side", relief, "up")]
                return SlotCut(**fields, enough=True, figures=figures, reasons=reasons)
            most = {"widest_mm": FIGURE_EIGHT_TOP_MM, "swing_mm": FIGURE_EIGHT_SWING_MM}
            reasons = [Reason("cut-no-figure-eight", most), moves]
            return SlotCut(
                **fields, enough=False, figures=[("figure-eights", "use buttons", "")], reasons=reasons
            )
        gap, engagement, up = swell, shrink + self.least_engagement_mm, steps.gap_up
        enough = (self.button_gap_mm or 0.0) >= gap - ROUNDING_SLACK
        enough = enough and (self.engagement_mm or 0.0) >= engagement - ROUNDING_SLACK
        reasons = [
            moves,
            Reason("cut-buttons", {"gap_mm": up(gap), "tongue_mm": up(engagement)}),
            Reason("cut-button-mortise", {"longer_mm": steps.slot_up(swell + shrink)}),
        ]
        if not enough:
            reasons.append(Reason("cut-no-room"))
        return SlotCut(
            **fields, enough=enough, reasons=reasons, gap_mm=gap, engagement_mm=engagement,
            figures=[("button gap", up(gap), "up"), ("tongue in its groove", up(engagement), "up")],
        )  # fmt: skip

    def section(self, mc: Moistures) -> Section:
        width = float(self.member.width_at(mc[self.member.name]))
        built = self.built_width(self.member)
        strain = float(self.strain(self.member, mc))
        thick, distance, growth = self.member.thickness_mm, self.distance_mm, self.distance_mm * strain
        left = -width / 2.0 if self.fixed == "centre" else 0.0
        parts = [
            Part(self.member.name, "member", left, 0.0, width, thick),
            Part("fixed line", "fastener", -1.5, -0.5 * thick, 3.0, thick),
        ]
        spaces = []
        if self.is_button:
            gap, engaged = self.button_gap_mm or 0.0, self.engagement_mm or 0.0
            apron = distance + gap
            deep = self.groove_depth_mm or engaged + gap
            parts += [
                Part("apron", "frame", apron, -60.0, 20.0, 60.0),
                Part("groove", "groove", apron, -20.0, deep, 8.0),
                Part("button", "fastener", distance + growth - 25.0, -20.0, 25.0 + gap + engaged, 8.0),
            ]
            spaces = [
                Space("shoulder to apron", distance + growth, apron, -6.0),
                Space("tongue in its groove", apron, distance + growth + gap + engaged, -20.0),
            ]
        else:
            parts += self.slot_parts(distance, growth, -8.0)
            swell, shrink = self.slot_travel
            screw = self.screw_diameter_mm / 2.0
            spaces = [
                Space("slot left, swelling", distance + growth + screw, distance + swell + screw, -8.0),
                Space("slot left, shrinking", distance - shrink - screw, distance + growth - screw, -8.0),
            ]
        plain = ((20.0, distance - 40.0),) if distance > 80.0 else ()
        title = f"{self.member.name}, fixed at the {self.fixed} ({built:.0f} mm as built)"
        return Section(title, tuple(parts), tuple(spaces), plain)
