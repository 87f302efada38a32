"""A screw, pin or button in a slot: how far it may travel each way.

One part moves across its grain and the other stands still; the screw holds them together and the slot
lets it travel. Which end of the slot it nears as the wood swells depends on which of the two has the slot.
"""

import dataclasses
from abc import abstractmethod
from dataclasses import dataclass
from typing import ClassVar

from model.wood.design.setting_out import ROUNDING_SLACK, Cut, Increments, ServiceRange
from model.wood.fits.base import Fit
from model.wood.fits.drawing import Part
from model.wood.fits.fields import Field, length
from model.wood.fits.limit import INCH, Way
from model.wood.material.member import Amount, Member
from model.wood.piece_table import NOTHING
from model.wood.reason import Reason

# Number 6 wood screw, 0.138 in at the shank.
SCREW_MM = 0.138 * INCH


@dataclass(frozen=True, kw_only=True)
class SlotCut(Cut):
    """How long a slot must be, and where in it the screw stands today.

    `screw_at_mm` is from the slot's end nearest the fixed line to the middle of the screw, in a slot of
    the length needed; `screw_at_in_slot_mm` the same in the slot as drawn; `place` says it in a word,
    "middle" or the end it is nearer to. For a button, slot and screw are None and gap and engagement say what
    it needs.
    """

    swelling_mm: float
    shrinking_mm: float
    slot_length_mm: float | None = None
    slot_length_rounded_mm: float | None = None
    screw_at_mm: float | None = None
    screw_at_in_slot_mm: float | None = None
    place: str = ""
    gap_mm: float | None = None
    engagement_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class SlottedFit(Fit):
    """A fit that may be held by a screw or pin in a slot."""

    # Whether the part that moves has the slot (a drawer bottom) or the screw (a top).
    slot_moves: ClassVar[bool] = False
    # The key, and its values, for which the slot counts.
    slot_when: ClassVar[tuple[str, tuple[str, ...]] | None] = None
    # What the ends of the slot are called: nearest the fixed line, and farthest from it.
    near_end: ClassVar[str] = "inner"
    far_end: ClassVar[str] = "outer"

    travel_mm: float | None = length(
        "how far the screw can travel each way, as built, when that is all that is known", None, zero=True
    )
    slot_length_mm: float | None = length("length of the slot", None, usual="1/4 to 3/8 in")
    screw_diameter_mm: float = length(
        "diameter of the screw's shank, or of the pin", SCREW_MM, usual="0.138 in, number 6"
    )
    screw_at_mm: float | None = length(
        "from the slot's end nearest the fixed line to the middle of the screw, as built",
        None,
        usual="the middle of the slot",
    )

    @classmethod
    def fields(cls) -> list[Field]:
        slot = {own.name for own in dataclasses.fields(SlottedFit)} - {
            own.name for own in dataclasses.fields(Fit)
        }
        return [
            dataclasses.replace(found, only_when=cls.slot_when) if found.attribute in slot else found
            for found in super().fields()
        ]

    @property
    @abstractmethod
    def moving(self) -> tuple[Member, float]:
        """The member whose movement the slot takes, and how much of its width lies before the screw [mm]."""

    def check_slot(self, needed: bool = True) -> None:
        """Refuse a slot given twice, not at all, too short for its screw, or with the screw outside it."""
        slot_mm, travel_mm = self.slot_length_mm, self.travel_mm
        if slot_mm is not None and travel_mm is not None:
            raise self.bad("travel_mm", "must be left out when slot_length is given", travel_mm)
        if slot_mm is None:
            if needed and travel_mm is None:
                raise self.bad("slot_length_mm", "must be given (length of the slot), or travel", NOTHING)
            if self.screw_at_mm is not None:
                raise self.bad(
                    "screw_at_mm", "must be left out unless slot_length is given", self.screw_at_mm
                )
            return
        if slot_mm < self.screw_diameter_mm:
            rule = f"must be at least the screw's diameter ({self.screw_diameter_mm:.4g} mm)"
            raise self.bad("slot_length_mm", rule, slot_mm)
        half = self.screw_diameter_mm / 2.0
        if (
            self.screw_at_mm is not None
            and abs(self.screw_at_mm - slot_mm / 2.0) > slot_mm / 2.0 - half + 1e-5
        ):
            rule = f"must lie inside the slot: {half:.4g} to {slot_mm - half:.4g} mm"
            raise self.bad("screw_at_mm", rule, self.screw_at_mm)

    @property
    def has_slot(self) -> bool:
        return self.slot_length_mm is not None or self.travel_mm is not None

    @property
    def slot_travel(self) -> tuple[float, float]:
        """Travel left as built [mm]: as the wood swells, and as it shrinks."""
        if self.slot_length_mm is None:
            travel = self.travel_mm or 0.0
            return travel, travel
        half = self.screw_diameter_mm / 2.0
        at = self.slot_length_mm / 2.0 if self.screw_at_mm is None else self.screw_at_mm
        near, far = at - half, self.slot_length_mm - at - half
        return (near, far) if self.slot_moves else (far, near)

    def slot_ways(self, growth: Amount, how: str = "", across: str = "") -> list[Way]:
        """The two ends of the slot, for a growth of the wood between fixed line and screw [mm]."""
        swell, shrink = self.slot_travel
        parts = (self.moving[0].called,)
        return [
            Way("slot-end-wet", "swelling", "harms", swell - growth, parts, how, across),
            Way("slot-end-dry", "shrinking", "harms", shrink + growth, parts, how, across),
        ]

    # -------------------------------------------------------- at the drill

    def travel_needed(self, service: ServiceRange) -> tuple[float, float]:
        """How far the wood at the screw may swell and shrink from today, the meter's doubt in both [mm]."""
        member, distance = self.moving
        today = distance * (1.0 + float(member.strain_from(self.reference_mc(member), service.today_pct)))
        return service.to_wet(member, today), service.to_dry(member, today)

    def movement_reason(self, service: ServiceRange, steps: Increments) -> Reason:
        swell, shrink = map(steps.gap_up, self.travel_needed(service))
        part = self.moving[0].called
        return service.reason("cut-slot-moves", part=part, swell_mm=swell, shrink_mm=shrink)

    def cut(self, service: ServiceRange, steps: Increments) -> SlotCut:
        swell, shrink = self.travel_needed(service)
        screw = self.screw_diameter_mm
        slot = screw + swell + shrink
        rounded = steps.slot_up(slot)
        near = swell if self.slot_moves else shrink
        share = 0.5 if swell + shrink == 0.0 else near / (swell + shrink)
        at = screw / 2.0 + near
        place = "middle" if 0.4 <= share <= 0.6 else self.near_end if share < 0.5 else self.far_end
        travel = sum(self.slot_travel)
        in_slot = None if self.slot_length_mm is None else screw / 2.0 + share * travel
        enough = travel + ROUNDING_SLACK >= swell + shrink if self.has_slot else True
        how = {"how": "middle"} if place == "middle" else {"end": place}
        reasons = [self.movement_reason(service, steps), Reason("cut-slot", {**how, "slot_mm": rounded})]
        if in_slot is not None:
            reasons.append(Reason("cut-slot-drawn", {"at_mm": in_slot}))
        if not enough:
            sure = sum(self.travel_needed(dataclasses.replace(service, doubt_pct=0.0)))
            how = {"how": "unsure"} if travel + ROUNDING_SLACK >= sure else {}
            reasons.append(service.reason("cut-slot-short", travel_mm=steps.gap_down(travel), **how))
        return SlotCut(
            **self.cut_head(service, self.moving[0].name),
            enough=enough,
            figures=[
                ("slot long", rounded, "up"),
                ("screw from the near end", at if in_slot is None else in_slot, "nearest"),
            ],
            reasons=reasons,
            swelling_mm=swell,
            shrinking_mm=shrink,
            slot_length_mm=slot,
            slot_length_rounded_mm=rounded,
            screw_at_mm=at,
            screw_at_in_slot_mm=in_slot,
            place=place,
        )

    # -------------------------------------------------------- drawing

    def slot_parts(self, at_mm: float, growth_mm: float, y_mm: float) -> list[Part]:
        """Slot and screw for a drawing, the screw as built at `at_mm` from the fixed line."""
        swell, shrink = self.slot_travel
        screw = self.screw_diameter_mm
        moved = growth_mm
        if self.slot_moves:
            slot_left, screw_at = at_mm - screw / 2.0 - swell + moved, at_mm
        else:
            slot_left, screw_at = at_mm - screw / 2.0 - shrink, at_mm + moved
        return [
            Part("slot", "slot", slot_left, y_mm, swell + shrink + screw, screw),
            Part("screw", "fastener", screw_at - screw / 2.0, y_mm, screw, screw),
        ]
