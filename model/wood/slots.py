"""At the drill: how long a slot must be, and where its screw stands today (common practice, no source)."""

from dataclasses import dataclass, field

from model.wood.errors import BadInput
from model.wood.fits.base import INCH
from model.wood.fits.slot import SlottedFit
from model.wood.fits.top_on_fasteners import TopOnFasteners
from model.wood.member import Member
from model.wood.piece import Piece
from model.wood.setting_out import (
    HOME_MC_PCT,
    INCH_STEPS,
    LENGTH,
    ROUNDING_SLACK,
    Increments,
    Season,
    Spoken,
    fit_named,
    season_of,
    spoken,
    told,
)

SLOT_RESERVE_MM = INCH / 64.0


@dataclass(frozen=True)
class SlotCut:
    """How long a slot must be, and where in it the screw stands today.

    `screw_at_mm` is from the slot's end nearest the fixed line to the middle of the screw, in a slot of
    the length needed; `screw_at_in_slot_mm` the same in the slot as drawn. `enough` says whether that is
    long enough. For a button, slot and screw are None and gap and engagement say what it needs.
    """

    fit: str
    kind: str
    member: str
    stock_mc_pct: float
    range_mc_pct: tuple[float, float]
    swelling_mm: float
    shrinking_mm: float
    slot_length_mm: float | None
    slot_length_rounded_mm: float | None
    screw_at_mm: float | None
    screw_at_in_slot_mm: float | None
    place: str
    gap_mm: float | None
    engagement_mm: float | None
    enough: bool
    sentences: list[str] = field(default_factory=list)
    parts: list[Spoken] = field(default_factory=list)


def slot_advice(
    piece: Piece,
    fit_name: str,
    stock_mc_pct: float,
    range_mc_pct: tuple[float, float] = HOME_MC_PCT,
    *,
    reserve_mm: float = SLOT_RESERVE_MM,
    steps: Increments = INCH_STEPS,
) -> SlotCut:
    """How long a slot must be and where its screw stands today, for the home a part will live in.

    Parameters and errors as `cut_advice`, for a fit held by a screw, a pin or buttons; `reserve_mm` is
    kept at each end of the slot.
    """
    fit = fit_named(piece, fit_name)
    season = season_of(fit, stock_mc_pct, range_mc_pct)
    if not isinstance(fit, SlottedFit) or not fit.takes_slot:
        raise BadInput(
            "", f"fit.{fit_name}", "must be one that is held by a screw in a slot, or by buttons", fit.kind
        )
    member, distance = fit.moving
    today = distance * (1.0 + float(member.strain_from(fit.reference_mc(member), season.today_pct)))
    swell, shrink = season.to_wet(member, today), season.to_dry(member, today)
    if isinstance(fit, TopOnFasteners) and fit.is_button:
        return _button(fit, season, swell, shrink, reserve_mm, steps)
    screw = fit.screw_diameter_mm
    slot = screw + swell + shrink + 2.0 * reserve_mm
    rounded = steps.width_up(slot)
    near = swell if fit.slot_moves else shrink
    share = 0.5 if swell + shrink == 0.0 else near / (swell + shrink)
    at = screw / 2.0 + reserve_mm + near
    place = _place(fit, share)
    in_slot, travel = None, sum(fit.slot_travel)
    if fit.slot_length_mm is not None:
        in_slot = screw / 2.0 + share * travel
    enough = travel + ROUNDING_SLACK >= swell + shrink if fit.has_slot else True
    dry, wet = season.dry_pct, season.wet_pct
    said = [
        _movement_said(member, season, swell, shrink),
        spoken(f"Make the slot {LENGTH} long and set the screw {place}.", rounded),
    ]
    if in_slot is not None:
        said.append(
            spoken(f"In the slot as drawn, that is {LENGTH} from the end nearest the fixed line.", in_slot)
        )
    if not enough:
        said.append(spoken(f"The slot as drawn lets it travel {LENGTH} in all, not enough for this.", travel))
    return SlotCut(
        fit=fit.name,
        kind=fit.kind,
        member=member.name,
        stock_mc_pct=season.today_pct,
        range_mc_pct=(dry, wet),
        swelling_mm=swell,
        shrinking_mm=shrink,
        slot_length_mm=slot,
        slot_length_rounded_mm=rounded,
        screw_at_mm=at,
        screw_at_in_slot_mm=in_slot,
        place=place,
        gap_mm=None,
        engagement_mm=None,
        enough=enough,
        sentences=[told(one) for one in said],
        parts=said,
    )


def _place(fit: SlottedFit, share: float) -> str:
    """Where in the slot the screw belongs, for its share of the travel from the end nearest the line."""
    if 0.4 <= share <= 0.6:
        return "in the middle of the slot"
    return f"toward the {fit.near_end if share < 0.5 else fit.far_end} end of the slot"


def _movement_said(member: Member, season: Season, swell: float, shrink: float) -> Spoken:
    return spoken(
        f"{member.name} will swell {LENGTH} to {season.wet_pct:g} % "
        f"and shrink {LENGTH} to {season.dry_pct:g} %.",
        swell,
        shrink,
    )


def _button(
    fit: TopOnFasteners, season: Season, swell: float, shrink: float, reserve: float, steps: Increments
) -> SlotCut:
    gap, engagement = swell + reserve, shrink + fit.least_engagement_mm
    built_gap, built_engagement = fit.button_gap_mm or 0.0, fit.engagement_mm or 0.0
    longer = steps.width_up(swell + shrink)
    enough = built_gap >= swell - ROUNDING_SLACK and built_engagement >= engagement - ROUNDING_SLACK
    said = [
        _movement_said(fit.member, season, swell, shrink),
        spoken(
            f"Leave {LENGTH} between each button and the apron, and at least "
            f"{LENGTH} of tongue in the groove.",
            steps.width_up(gap),
            steps.width_up(engagement),
        ),
        spoken(f"On the end aprons, make each mortise {LENGTH} longer than its button.", longer),
    ]
    if not enough:
        said.append(["As drawn, the buttons have not enough room for this."])
    return SlotCut(
        fit=fit.name,
        kind=fit.kind,
        member=fit.member.name,
        stock_mc_pct=season.today_pct,
        range_mc_pct=(season.dry_pct, season.wet_pct),
        swelling_mm=swell,
        shrinking_mm=shrink,
        slot_length_mm=None,
        slot_length_rounded_mm=None,
        screw_at_mm=None,
        screw_at_in_slot_mm=None,
        place="",
        gap_mm=gap,
        engagement_mm=engagement,
        enough=enough,
        sentences=[told(one) for one in said],
        parts=said,
    )
