"""How wide to cut a panel today, and how deep its grooves must be (common practice, no source)."""

from dataclasses import dataclass, replace

from model.wood.design.setting_out import (
    ENGAGEMENT_MM,
    ROUNDING_SLACK,
    Cut,
    Figure,
    Increments,
    ServiceRange,
    Widths,
    width_figures,
    widths_reason,
)
from model.wood.fits.panel_in_groove.geometry import CENTRE, FREE, ONE_EDGE, PanelGeometry
from model.wood.reason import Reason


@dataclass(frozen=True, kw_only=True)
class PanelCut(Cut):
    """How wide to cut a panel today, and how deep its grooves must be.

    Lengths in mm, exact beside rounded. `groove_depth_free_mm` is None where no groove is deep enough: a
    panel so wide would need more groove than frame. `enough` says whether the grooves as drawn are deep
    enough for how the panel is held. Clearance and engagement are those of the best width, whatever the
    doubt of the meter hides.
    """

    held: str
    engagement_mm: float
    movement_mm: float
    groove_depth_mm: float
    groove_depth_centre_mm: float
    groove_depth_centre_rounded_mm: float
    groove_depth_free_mm: float | None
    groove_depth_free_rounded_mm: float | None
    clearance_wet_mm: float
    engagement_dry_mm: float
    shoulder_gap_mm: float | None
    shoulder_gap_rounded_mm: float | None


def panel_cut(fit: PanelGeometry, service: ServiceRange, steps: Increments) -> PanelCut:
    engage, member = ENGAGEMENT_MM, fit.member
    sight, groove, held_mm = fit.sight_width_mm, fit.groove_depth_mm - fit.spacer_mm, fit.held_mm
    # By how much the panel outgrows its width of today, and how much wider it is today than at its
    # narrowest, in the worst case of the meter. Stock wetter or drier than its home has to go in today.
    grows = max(service.ratio(member, service.driest_pct, service.wet_pct), 1.0)
    shrinks = max(service.ratio(member, service.dry_pct, service.wettest_pct), 1.0)
    room = {ONE_EDGE: sight + groove + held_mm}.get(fit.held, sight + 2.0 * groove)
    narrowest = {CENTRE: sight + 2.0 * engage, FREE: sight + groove + engage}.get(
        fit.held, sight + held_mm + engage
    )
    least, most = narrowest * shrinks, room / grows
    widths = Widths.between(least, most, service.doubt(member, (least + most) / 2.0), "both")
    cut = steps.widths(widths)
    # Grooves in which the least width is also the most.
    swing = grows * shrinks
    centre = fit.spacer_mm + ((sight + 2.0 * engage) * swing - sight) / 2.0
    free = None
    if swing < 2.0:
        free = fit.spacer_mm + ((sight + engage) * swing - sight) / (2.0 - swing)
    edge = fit.spacer_mm + (sight + held_mm + engage) * swing - sight - held_mm
    needed = {CENTRE: centre, FREE: free}.get(fit.held, edge)
    spare = cut.best_mm / shrinks - sight
    shoulder = None
    if fit.shoulder_gap_mm is not None:
        shoulder = service.to_wet(member, cut.best_mm) / (1.0 if fit.held == ONE_EDGE else 2.0)
    advice = PanelCut(
        **fit.cut_head(service, member.name),
        enough=needed is not None and needed <= fit.groove_depth_mm + ROUNDING_SLACK,
        figures=[],
        reasons=[],
        width_least_mm=least,
        width_best_mm=widths.best_mm,
        width_most_mm=most,
        width_best_rounded_mm=cut.best_mm,
        held=fit.held,
        engagement_mm=engage,
        movement_mm=cut.best_mm * (service.ratio(member, service.dry_pct, service.wet_pct) - 1.0),
        groove_depth_mm=fit.groove_depth_mm,
        groove_depth_centre_mm=centre,
        groove_depth_centre_rounded_mm=steps.slot_up(centre),
        groove_depth_free_mm=free,
        groove_depth_free_rounded_mm=None if free is None else steps.slot_up(free),
        clearance_wet_mm=room - cut.best_mm * grows,
        engagement_dry_mm={CENTRE: spare / 2.0, FREE: spare - groove}.get(fit.held, spare - held_mm),
        shoulder_gap_mm=shoulder,
        shoulder_gap_rounded_mm=None if shoulder is None else steps.gap_up(shoulder),
    )
    needs = None if needed is None else steps.slot_up(needed)
    figures: list[Figure] = width_figures(cut)
    # The widths fill the grooves as drawn: in any others they would not fit.
    if advice.enough:
        figures.append(("grooves deep", fit.groove_depth_mm, "up"))
    else:
        figures = [("grooves as drawn", fit.groove_depth_mm, "down"), ("grooves it needs", needs, "up")]
    reasons = _reasons(advice, member.called, service, steps, cut, needs)
    return replace(advice, figures=figures, reasons=reasons)


def _reasons(
    cut: PanelCut, called: str, service: ServiceRange, steps: Increments, widths: Widths, needs: float | None
) -> list[Reason]:
    dry, wet = cut.range_mc_pct
    if cut.enough:
        in_hand_mm = steps.gap_down(cut.clearance_wet_mm)
        tongue_mm = steps.gap_down(cut.engagement_dry_mm)
        found = [
            widths_reason(service, called, widths),
            service.reason("cut-in-hand", in_hand_mm=in_hand_mm, tongue_mm=tongue_mm),
        ]
    else:
        how = "" if needs is None else "deeper"
        sizes = {"groove_mm": cut.groove_depth_mm, "needed_mm": needs}
        found = [service.reason("cut-no-width", how=how, part=called, **sizes)]
    found.append(service.reason("cut-moves", how="it", moved_mm=steps.gap_up(cut.movement_mm)))
    found += [
        Reason(key, {"size_mm": size_mm})
        for key, size_mm in (
            ("cut-grooves-pinned", cut.groove_depth_centre_rounded_mm),
            ("cut-grooves-free", cut.groove_depth_free_rounded_mm),
            ("cut-shoulders", cut.shoulder_gap_rounded_mm),
        )
        if size_mm is not None
    ]
    if cut.stock_mc_pct > wet and cut.build_now:
        found.append(Reason("cut-only-shrinks"))
    elif cut.stock_mc_pct < dry:
        found.append(Reason("cut-only-swells"))
    return found
