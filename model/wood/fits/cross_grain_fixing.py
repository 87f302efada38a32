"""Something of long grain fixed across a wide part: runner, cleat, moulding, batten, web frame.

The wide part moves, what is fixed across it does not. Fast at one place and in slots beyond, or with a
dry telescoping tenon, the part can move; fixed tight it is crushed or splits. Common practice, no source,
but for the strain that wood takes when it is held (see `limit.RESTRAINED_STRAIN`).
"""

from dataclasses import dataclass
from typing import ClassVar

from model.wood.design.setting_out import ROUNDING_SLACK, Increments, ServiceRange
from model.wood.fits.drawing import Part, Section, Space
from model.wood.fits.fields import choice, length, one_member, text
from model.wood.fits.limit import IGNORED_WIDTH_MM, INCH, Moistures, Way, restrained_ways
from model.wood.fits.seen import Seen, seen_change
from model.wood.fits.slot import SlotCut, SlottedFit
from model.wood.material.member import Member
from model.wood.piece_table import NOTHING
from model.wood.reason import Reason

SLOTTED, TIGHT, TELESCOPING = "slotted", "tight", "telescoping"


@dataclass(frozen=True, kw_only=True)
class CrossGrainFixing(SlottedFit):
    """Limits: slot-end-wet and slot-end-dry when slotted; tenon-pulls-out and shoulder-closes when
    telescoping; crushes and splits when tight over more than four inches; front-proud and front-sunk of
    drawers stopped at the back.
    """

    kind: ClassVar[str] = "cross-grain-fixing"
    title: ClassVar[str] = "Fixing across the grain"
    what: ClassVar[str] = "A runner, cleat, moulding, batten or web frame across a solid side or panel."

    slot_when: ClassVar[tuple[str, tuple[str, ...]] | None] = ("fixing", (SLOTTED,))

    member: Member = one_member("the wide part")  # noqa: RUF009
    across: str = text(
        "what is fixed across it: runner, cleat, moulding, batten, kicker, web frame", "runner"
    )
    fixing: str = choice("how it is held beyond the fast end", (SLOTTED, TIGHT, TELESCOPING), SLOTTED)
    distance_mm: float | None = length(
        "from the fast end to the screw farthest from it", None, usual="the width of the part"
    )
    shoulder_gap_mm: float | None = length(
        "gap at the shoulder of a dry telescoping tenon", None, usual="1/8 to 3/16 in",
        only_when=("fixing", (TELESCOPING,)),
    )  # fmt: skip
    tenon_length_mm: float | None = length(
        "how far the dry tenon stands in its mortise", None, only_when=("fixing", (TELESCOPING,))
    )
    least_tenon_mm: float = length(
        "tenon that has to stay in its mortise", INCH / 8.0, zero=True, only_when=("fixing", (TELESCOPING,))
    )
    drawer_stopped_at: str = choice(
        "where the drawer that runs here is stopped", ("front", "back", "no drawer"), "no drawer"
    )
    flush_within_mm: float = length("how far a drawer front may stand from flush", INCH / 8.0, usual="1/8 in")

    @property
    def reach_mm(self) -> float:
        """From the fast end to the farthest screw."""
        return self.built_width(self.member) if self.distance_mm is None else self.distance_mm

    @property
    def moving(self) -> tuple[Member, float]:
        return self.member, self.reach_mm

    def check(self) -> None:
        if self.reach_mm > self.built_width(self.member) + 0.02:
            rule = f"must not be more than the part is wide ({self.built_width(self.member):.4g} mm)"
            raise self.bad("distance_mm", rule, self.distance_mm)
        self.check_slot(needed=self.fixing == SLOTTED)
        if self.fixing != SLOTTED and self.has_slot:
            key = "slot_length_mm" if self.slot_length_mm is not None else "travel_mm"
            raise self.bad(key, f"must be left out when fixing is {self.fixing}", getattr(self, key))
        for attribute in ("shoulder_gap_mm", "tenon_length_mm"):
            value = getattr(self, attribute)
            if self.fixing == TELESCOPING and value is None:
                raise self.bad(attribute, "must be given when fixing is telescoping", NOTHING)
            if self.fixing != TELESCOPING and value is not None:
                raise self.bad(attribute, "must be left out unless fixing is telescoping", value)

    def ways(self, mc: Moistures) -> list[Way]:
        wide, part = (self.member.called,), self.across
        growth = self.reach_mm * self.strain(self.member, mc)
        found: list[Way] = []
        if self.fixing == SLOTTED:
            found += self.slot_ways(growth, across=part)
        elif self.fixing == TELESCOPING:
            tenon = (self.tenon_length_mm or 0.0) - self.least_tenon_mm
            shoulder = (self.shoulder_gap_mm or 0.0) + growth
            found += [
                Way("tenon-pulls-out", "swelling", "harms", tenon - growth, wide, across=part),
                Way("shoulder-closes", "shrinking", "harms", shoulder, wide, "across", part),
            ]
        elif self.reach_mm > IGNORED_WIDTH_MM:
            found += restrained_ways(self.reach_mm, growth, self.member.called)
        if self.drawer_stopped_at == "back":
            step = self.growth(self.member, mc)
            found.append(Way("front-proud", "shrinking", "shows", self.flush_within_mm + step, wide))
            found.append(Way("front-sunk", "swelling", "shows", self.flush_within_mm - step, wide))
        return found

    def cut(self, service: ServiceRange, steps: Increments) -> SlotCut:
        if self.fixing == SLOTTED:
            return super().cut(service, steps)
        swell, shrink = self.travel_needed(service)
        moves = self.movement_reason(service, steps)
        fields = self.cut_head(service, self.member.name) | {"swelling_mm": swell, "shrinking_mm": shrink}
        if self.fixing == TELESCOPING:
            gap, tenon, up = shrink, swell + self.least_tenon_mm, steps.slot_up
            reasons = [moves, Reason("cut-telescope", {"gap_mm": up(gap), "tenon_mm": up(tenon)})]
            enough = gap <= (self.shoulder_gap_mm or 0.0) + ROUNDING_SLACK
            enough = enough and tenon <= (self.tenon_length_mm or 0.0) + ROUNDING_SLACK
            if not enough:
                reasons.append(Reason("cut-no-room"))
            return SlotCut(
                **fields, enough=enough, reasons=reasons, gap_mm=gap, engagement_mm=tenon,
                figures=[("gap at the shoulder", up(gap), "up"), ("dry tenon", up(tenon), "up")],
            )  # fmt: skip
        if self.reach_mm <= IGNORED_WIDTH_MM:
            reasons = [moves, Reason("cut-may-be-fast", {"most_mm": IGNORED_WIDTH_MM})]
            return SlotCut(**fields, enough=True, figures=[("fixed fast", "may stay", "")], reasons=reasons)
        slot = self.screw_diameter_mm + swell + shrink
        rounded = steps.slot_up(slot)
        sizes = {"across": self.across, "part": self.member.called, "reach_mm": self.reach_mm}
        return SlotCut(
            **fields, enough=False, figures=[("fixed fast", "don't", ""), ("slot long", rounded, "up")],
            reasons=[Reason("cut-not-fast", sizes | {"slot_mm": rounded}), moves],
            slot_length_mm=slot, slot_length_rounded_mm=rounded,
        )  # fmt: skip

    def seen(self, dry: Moistures, damp: Moistures) -> Seen | None:
        if self.drawer_stopped_at != "back":
            return None
        dry_mm, damp_mm = (float(self.growth(self.member, mc)) for mc in (dry, damp))
        return seen_change(dry_mm, damp_mm, "seen-fronts", "drawer fronts")

    def section(self, mc: Moistures) -> Section:
        width = float(self.member.width_at(mc[self.member.name]))
        thick, reach = self.member.thickness_mm, self.reach_mm
        growth = reach * float(self.strain(self.member, mc))
        gap = (self.shoulder_gap_mm or 0.0) + growth
        length_mm = reach + 15.0 if self.fixing != TELESCOPING else reach - (self.shoulder_gap_mm or 0.0)
        parts = [
            Part(self.member.name, "member", 0.0, 0.0, width, thick),
            Part(self.across, "frame", 0.0, thick, length_mm, thick),
            Part("fast screw", "fastener", 10.0, 0.3 * thick, self.screw_diameter_mm, 1.5 * thick),
        ]
        spaces = []
        if self.fixing == SLOTTED:
            parts += self.slot_parts(reach, growth, 1.4 * thick)
            swell, shrink = self.slot_travel
            half = self.screw_diameter_mm / 2.0
            spaces = [
                Space("slot left, swelling", reach + growth + half, reach + swell + half, 1.4 * thick),
                Space("slot left, shrinking", reach - shrink - half, reach + growth - half, 1.4 * thick),
            ]
        elif self.fixing == TELESCOPING:
            rear = length_mm + gap
            in_mortise = (self.tenon_length_mm or 0.0) - growth
            parts += [
                Part("rear divider", "frame", rear, thick, 60.0, thick),
                Part(
                    "mortise", "groove", rear, 1.3 * thick, (self.tenon_length_mm or 0.0) + 5.0, 0.4 * thick
                ),
                Part("dry tenon", "frame", length_mm, 1.3 * thick, gap + in_mortise, 0.4 * thick),
            ]
            spaces = [
                Space("shoulder gap", length_mm, rear, 2.0 * thick),
                Space("tenon in its mortise", rear, rear + in_mortise, 1.3 * thick),
            ]
        else:
            last = reach - self.screw_diameter_mm
            parts.append(Part("screw", "fastener", last, 0.3 * thick, self.screw_diameter_mm, 1.5 * thick))
        plain = ((30.0, reach - 40.0),) if reach > 100.0 else ()
        return Section(f"{self.across} across {self.member.name}", tuple(parts), tuple(spaces), plain)
