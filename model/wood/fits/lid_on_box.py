"""A solid lid on a box.

The lid's depth moves, the box's does not: its ends are long grain. Hinged at the back, all of the movement
comes out at the front; lifted off, half at each edge. A lip below the lid's front hangs before the box and
closes on it as the lid shrinks. Common practice, no source.
"""

from dataclasses import dataclass
from typing import ClassVar

from model.wood.design.setting_out import ROUNDING_SLACK, Cut, Figure, Increments, ServiceRange
from model.wood.fits.base import Fit
from model.wood.fits.drawing import Part, Section, Space
from model.wood.fits.fields import choice, length, one_member
from model.wood.fits.limit import INCH, Moistures, Way
from model.wood.fits.seen import Seen, seen_change, seen_gap
from model.wood.material.member import Amount, Member
from model.wood.piece_table import NOTHING
from model.wood.reason import Reason


@dataclass(frozen=True, kw_only=True)
class LidOnBox(Fit):
    """Limits, for whatever of them the fit gives a size: overhang-gone, overhang-shows, lip-binds, binds,
    gap-shows, lock-misses-wet, lock-misses-dry.
    """

    kind: ClassVar[str] = "lid-on-box"
    title: ClassVar[str] = "Lid on a box"
    what: ClassVar[str] = "A solid lid over or in a box whose depth stays as it is."
    gap_attribute: ClassVar[str | None] = "inset_gap_mm"

    member: Member = one_member("the lid; its width is its depth from back to front")  # noqa: RUF009
    held: str = choice("hinged at the back, or lifted off", ("hinged", "lift-off"), "hinged")
    overhang_mm: float | None = length("how far the lid stands beyond the box's front, as built", None)
    least_overhang_mm: float = length("overhang that has to stay", 0.0, zero=True)
    widest_overhang_mm: float | None = length("greatest overhang that still looks right", None)
    lip_clearance_mm: float | None = length(
        "room between the lid's dust lip and the box's front", None, zero=True
    )
    inset_gap_mm: float | None = length("gap at the front of a lid that lies within the box", None, zero=True)
    least_gap_mm: float = length(
        "gap that an inset lid needs to run freely", INCH / 64.0, zero=True, usual="1/64 in"
    )
    widest_gap_mm: float = length(
        "widest gap at an inset lid that still looks right", INCH / 8.0, usual="1/8 in"
    )
    lock_play_mm: float | None = length("how far the lock may be out of line, either way", None, zero=True)

    def check(self) -> None:
        given = (self.overhang_mm, self.lip_clearance_mm, self.inset_gap_mm, self.lock_play_mm)
        if all(value is None for value in given):
            rule = "must be given, or lip_clearance, inset_gap or lock_play: something the lid can run out of"
            raise self.bad("overhang_mm", rule, NOTHING)
        if self.inset_gap_mm is not None and self.overhang_mm is not None:
            raise self.bad(
                "overhang_mm", "must be left out of a lid that lies within the box", self.overhang_mm
            )
        if self.overhang_mm is not None and self.overhang_mm < self.least_overhang_mm:
            rule = f"must not be more than the overhang ({self.overhang_mm:.4g} mm)"
            raise self.bad("least_overhang_mm", rule, self.least_overhang_mm)
        if self.widest_overhang_mm is not None:
            if self.overhang_mm is None:
                raise self.bad("overhang_mm", "must be given when widest_overhang is", NOTHING)
            if self.widest_overhang_mm <= self.overhang_mm:
                rule = f"must be more than the overhang ({self.overhang_mm:.4g} mm)"
                raise self.bad("widest_overhang_mm", rule, self.widest_overhang_mm)
        if self.widest_gap_mm <= self.least_gap_mm:
            rule = f"must be more than least_gap ({self.least_gap_mm:.4g} mm)"
            raise self.bad("widest_gap_mm", rule, self.widest_gap_mm)

    def _in_front(self, mc: Moistures) -> Amount:
        """Growth that comes out at the front [mm]."""
        return self.growth(self.member, mc) / (1.0 if self.held == "hinged" else 2.0)

    def gap_now(self, mc: Moistures) -> Amount | None:
        return None if self.inset_gap_mm is None else self.inset_gap_mm - self._in_front(mc)

    def ways(self, mc: Moistures) -> list[Way]:
        lid = (self.member.called,)
        growth = self._in_front(mc)
        found: list[Way] = []
        if self.overhang_mm is not None:
            left = self.overhang_mm + growth
            found.append(Way("overhang-gone", "shrinking", "shows", left - self.least_overhang_mm, lid))
            if self.widest_overhang_mm is not None:
                found.append(Way("overhang-shows", "swelling", "shows", self.widest_overhang_mm - left, lid))
        if self.lip_clearance_mm is not None:
            found.append(Way("lip-binds", "shrinking", "harms", self.lip_clearance_mm + growth, lid))
        if self.inset_gap_mm is not None:
            gap = self.inset_gap_mm - growth
            found.append(Way("binds", "swelling", "harms", gap - self.least_gap_mm, lid, "box"))
            found.append(Way("gap-shows", "shrinking", "shows", self.widest_gap_mm - gap, lid, "front"))
        if self.lock_play_mm is not None:
            found.append(Way("lock-misses-wet", "swelling", "harms", self.lock_play_mm - growth, lid))
            found.append(Way("lock-misses-dry", "shrinking", "harms", self.lock_play_mm + growth, lid))
        return found

    def cut(self, service: ServiceRange, steps: Increments) -> Cut:
        up, width = steps.gap_up, self.built_width(self.member)
        share = 1.0 if self.held == "hinged" else 0.5
        swell, shrink = share * service.to_wet(self.member, width), share * service.to_dry(self.member, width)
        # What is asked of each size that the fit gives: its name, what it is, and what it needs.
        needs = [
            ("overhang in front", self.overhang_mm, self.least_overhang_mm + shrink),
            ("lip clearance", self.lip_clearance_mm, shrink),
            ("gap in front", self.inset_gap_mm, self.least_gap_mm + swell),
            ("lock play", self.lock_play_mm, max(swell, shrink)),
        ]
        sizes = {"swell_mm": up(swell), "shrink_mm": up(shrink)}
        reasons = [service.reason("cut-lid", part=self.member.called, **sizes)]
        figures: list[Figure] = []
        enough = True
        for name, drawn, needed in needs:
            if drawn is None:
                continue
            figures.append((name, up(needed), "up"))
            reasons.append(Reason("cut-needs", {"size": name, "needed_mm": up(needed)}))
            if needed > drawn + ROUNDING_SLACK:
                enough = False
                reasons.append(Reason("cut-short", {"drawn_mm": steps.gap_down(drawn)}))
        if self.inset_gap_mm is not None and self.least_gap_mm + swell + shrink > self.widest_gap_mm:
            reasons.append(service.reason("cut-lid-gap-wide", widest_mm=self.widest_gap_mm))
        head = self.cut_head(service, self.member.name)
        return Cut(**head, enough=enough, figures=figures, reasons=reasons)

    def seen(self, dry: Moistures, damp: Moistures) -> Seen:
        less_mm, more_mm = float(self._in_front(dry)), float(self._in_front(damp))
        if self.inset_gap_mm is not None:
            gaps = self.inset_gap_mm - less_mm, self.inset_gap_mm - more_mm
            return seen_gap(*gaps, self.least_gap_mm, "at the front")
        return seen_change(less_mm, more_mm, "seen-overhang")

    def section(self, mc: Moistures) -> Section:
        lid = float(self.member.width_at(mc[self.member.name]))
        built = self.built_width(self.member)
        thick = self.member.thickness_mm
        back = 0.0 if self.held == "hinged" else (built - lid) / 2.0
        front = back + lid
        spaces: list[Space] = []
        if self.inset_gap_mm is not None:
            wall = built + self.inset_gap_mm
            box = [
                Part("box back", "frame", -20.0, -40.0, 20.0, 40.0 + thick),
                Part("box front", "frame", wall, -40.0, 20.0, 40.0 + thick),
            ]
            spaces.append(Space("gap", front, wall, thick))
        else:
            face = built - (self.overhang_mm or 0.0)
            box = [
                Part("box back", "frame", 0.0, -40.0, 15.0, 40.0),
                Part("box front", "frame", face - 15.0, -40.0, 15.0, 40.0),
            ]
            if self.overhang_mm is not None:
                spaces.append(Space("overhang", face, front, 0.0))
            if self.lip_clearance_mm is not None:
                lip = face + self.lip_clearance_mm + (front - built)
                box.append(Part("dust lip", "member", lip, -20.0, 8.0, 20.0))
                spaces.append(Space("lip clearance", face, lip, -10.0))
        parts = (*box, Part(self.member.name, "member", back, 0.0, lid, thick))
        plain = ((40.0, built - 50.0),) if built > 120.0 else ()
        return Section(f"{self.member.name}, back to front", parts, tuple(spaces), plain)
