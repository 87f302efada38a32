"""A breadboard (clamped) end: a long-grain end across a solid panel.

The end's length is fixed; the panel moves past it on pins in slots, and its edges come to stand short of
the end or beyond it. The slots are in the panel's tenons, so they move past the pins. Usual sizes: common
practice, no source.
"""

from dataclasses import dataclass
from typing import ClassVar

from model.wood.fits.drawing import Part, Section, Space
from model.wood.fits.fields import choice, length, one_member
from model.wood.fits.limit import Moistures, Way, moisture_of
from model.wood.fits.seen import Seen, seen_change
from model.wood.fits.slot import SlottedFit
from model.wood.material.member import Member


@dataclass(frozen=True, kw_only=True)
class BreadboardEnd(SlottedFit):
    """Limits: slot-end-wet, slot-end-dry; tenon-bottoms, end-proud and end-shy where the fit says enough for
    them.
    """

    kind: ClassVar[str] = "breadboard-end"
    title: ClassVar[str] = "Breadboard end"
    what: ClassVar[str] = (
        "A long-grain end across a solid panel, pinned fast at one place and in slots elsewhere."
    )
    slot_moves: ClassVar[bool] = True

    member: Member = one_member("the panel")  # noqa: RUF009
    fixed: str = choice("where the end is pinned fast", ("centre", "edge"), "centre")
    pin_distance_mm: float = length("from the fast pin to the pin farthest from it")
    mortise_clearance_mm: float | None = length(
        "room between the outer tenon's edge and the end of its mortise", None, zero=True
    )
    end_longer_mm: float = length(
        "how far the end stands beyond the panel, each side, as built", 0.0, zero=True
    )
    flush_within_mm: float | None = length(
        "how far from flush still looks right, each side", None, usual="left out: a step is accepted"
    )

    def check(self) -> None:
        self.check_slot()
        reach_mm = self.built_width(self.member) / (2.0 if self.fixed == "centre" else 1.0)
        if self.pin_distance_mm >= reach_mm:
            rule = f"must be less than from the fast pin to the panel's edge ({reach_mm:.4g} mm)"
            raise self.bad("pin_distance_mm", rule, self.pin_distance_mm)
        if self.flush_within_mm is not None and self.end_longer_mm > self.flush_within_mm:
            rule = f"must not be more than flush_within ({self.flush_within_mm:.4g} mm)"
            raise self.bad("end_longer_mm", rule, self.end_longer_mm)

    @property
    def moving(self) -> tuple[Member, float]:
        return self.member, self.pin_distance_mm

    @property
    def _sides(self) -> float:
        """Held at its centre the panel moves by half at each edge, held at an edge by all at the other."""
        return 2.0 if self.fixed == "centre" else 1.0

    def ways(self, mc: Moistures) -> list[Way]:
        panel = (self.member.called,)
        found = self.slot_ways(self.pin_distance_mm * self.strain(self.member, mc), "pins")
        at_edge = self.growth(self.member, mc) / self._sides
        if self.mortise_clearance_mm is not None:
            room = self.mortise_clearance_mm - at_edge
            found.append(Way("tenon-bottoms", "swelling", "harms", room, panel))
        if self.flush_within_mm is not None:
            beyond = self.end_longer_mm - at_edge
            within = self.flush_within_mm
            found.append(Way("end-proud", "shrinking", "shows", within - beyond, panel))
            found.append(Way("end-shy", "swelling", "shows", within + beyond, panel))
        return found

    def seen(self, dry: Moistures, damp: Moistures) -> Seen:
        dry_mm, damp_mm = (
            self.end_longer_mm - float(self.growth(self.member, mc)) / self._sides for mc in (dry, damp)
        )
        return seen_change(dry_mm, damp_mm, "seen-end")

    def section(self, mc: Moistures) -> Section:
        width = float(self.member.width_at(moisture_of(self.member, mc)))
        built = self.built_width(self.member)
        growth = float(self.growth(self.member, mc))
        at_pin = self.pin_distance_mm * float(self.strain(self.member, mc))
        thick = self.member.thickness_mm
        centred = self.fixed == "centre"
        left = -width / 2.0 if centred else 0.0
        end_left = (-built / 2.0 if centred else 0.0) - self.end_longer_mm
        end_right = (built / 2.0 if centred else built) + self.end_longer_mm
        parts = [
            Part("breadboard end", "frame", end_left, -0.25 * thick, end_right - end_left, 1.5 * thick),
            Part(self.member.name, "member", left, 0.0, width, thick),
            Part("fast pin", "fastener", -self.screw_diameter_mm / 2.0, 0.0, self.screw_diameter_mm, thick),
            *self.slot_parts(self.pin_distance_mm, at_pin, thick / 3.0),
        ]
        right = left + width
        spaces = [Space("end beyond the panel", right, end_right, thick)]
        if self.mortise_clearance_mm is not None:
            shown = growth / self._sides
            spaces.append(Space("mortise end", right, right + self.mortise_clearance_mm - shown, 0.5 * thick))
        plain = ((30.0, self.pin_distance_mm - 30.0),) if self.pin_distance_mm > 90.0 else ()
        return Section(f"{self.member.name} in its breadboard end", tuple(parts), tuple(spaces), plain)
