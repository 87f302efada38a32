"""How wide to cut a panel today, and how deep its grooves must be (common practice, no source)."""

from dataclasses import dataclass, replace

from model.wood.fits.base import INCH
from model.wood.fits.panel_in_groove.geometry import CENTRE, FREE, ONE_EDGE, PanelGeometry
from model.wood.movement import width_at
from model.wood.setting_out import (
    LENGTH,
    ROUNDING_SLACK,
    Allowances,
    Cut,
    Figure,
    Increments,
    Season,
    Spoken,
    spoken,
)

# Kept in hand at the wettest, both sides together (common practice, no source).
RESERVE_MM = INCH / 32.0


@dataclass(frozen=True, kw_only=True)
class PanelCut(Cut):
    """How wide to cut a panel today, and how deep its grooves must be.

    Lengths in mm, exact beside rounded (widths down, depths up). `groove_depth_free_mm` is None where
    no groove is deep enough: a panel so wide would need more groove than frame. `enough` says whether
    the groove as drawn is deep enough for how the panel is held.
    """

    held: str
    reserve_mm: float
    engagement_mm: float
    width_to_cut_mm: float
    width_to_cut_rounded_mm: float
    width_least_mm: float
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


def panel_cut(fit: PanelGeometry, season: Season, kept: Allowances) -> PanelCut:
    reserve, engage, steps = kept.reserve(RESERVE_MM), kept.engagement_mm, kept.steps
    member, sight, groove = fit.member, fit.sight_width_mm, fit.groove_depth_mm - fit.spacer_mm
    one_edge = fit.held == ONE_EDGE
    held_mm = fit.held_mm if one_edge else 0.0
    room = sight + groove + held_mm if one_edge else sight + 2.0 * groove
    wet_width = room - reserve
    # Stock wetter or drier than its home has to go in today.
    widest_pct, narrowest_pct = max(season.wet_pct, season.today_pct), min(season.dry_pct, season.today_pct)
    exact = float(width_at(wet_width, widest_pct, season.today_pct, member.movement))
    rounded = steps.width_down(exact)
    dry_to_wet = float(width_at(1.0, narrowest_pct, widest_pct, member.movement))
    shrunk = 1.0 - 1.0 / dry_to_wet
    # Grooves that a panel filling them needs: its width depends on them, so they are solved together.
    centre = fit.spacer_mm + reserve / 2.0 + (engage + shrunk * sight / 2.0) / (1.0 - shrunk)
    free = None
    if shrunk < 0.5:
        free = fit.spacer_mm + (reserve * (1.0 - shrunk) + engage + shrunk * sight) / (1.0 - 2.0 * shrunk)
    edge = fit.spacer_mm + reserve + (engage + shrunk * (sight + held_mm)) / (1.0 - shrunk)
    needed = {CENTRE: centre, FREE: free}.get(fit.held, edge)
    dry_width = float(width_at(rounded, season.today_pct, season.dry_pct, member.movement))
    spare = dry_width - sight
    engaged = {CENTRE: spare / 2.0, FREE: spare - groove}.get(fit.held, spare - held_mm)
    least_spare = {CENTRE: 2.0 * engage, FREE: groove + engage}.get(fit.held, held_mm + engage)
    least_width = float(width_at(sight + least_spare, season.dry_pct, season.today_pct, member.movement))
    wettest = float(width_at(rounded, season.today_pct, season.wet_pct, member.movement))
    shoulder = None
    if fit.shoulder_gap_mm is not None:
        sides = 1.0 if one_edge else 2.0
        shoulder = (season.to_wet(member, rounded) + reserve) / sides
    advice = PanelCut(
        **fit.cut_head(season, member.name),
        enough=needed is not None and needed <= fit.groove_depth_mm + ROUNDING_SLACK,
        figures=[],
        parts=[],
        held=fit.held,
        reserve_mm=reserve,
        engagement_mm=engage,
        width_to_cut_mm=exact,
        width_to_cut_rounded_mm=rounded,
        width_least_mm=least_width,
        movement_mm=wettest - dry_width,
        groove_depth_mm=fit.groove_depth_mm,
        groove_depth_centre_mm=centre,
        groove_depth_centre_rounded_mm=steps.depth_up(centre),
        groove_depth_free_mm=free,
        groove_depth_free_rounded_mm=None if free is None else steps.depth_up(free),
        clearance_wet_mm=room - wettest,
        engagement_dry_mm=engaged,
        shoulder_gap_mm=shoulder,
        shoulder_gap_rounded_mm=None if shoulder is None else steps.width_up(shoulder),
    )
    return replace(
        advice,
        figures=_figures(advice, steps, needed),
        parts=_sentences(advice, member.called, steps, needed),
    )


def _figures(cut: PanelCut, steps: Increments, needed: float | None) -> list[Figure]:
    found: list[Figure] = [("cut it wide", cut.width_to_cut_rounded_mm, "nearest")]
    # The width above fills the grooves as drawn: in any others it would not fit.
    if cut.enough:
        found.append(("grooves deep", cut.groove_depth_mm, "up"))
    else:
        found.append(("grooves as drawn", cut.groove_depth_mm, "up"))
        found.append(("grooves it needs", None if needed is None else steps.depth_up(needed), "up"))
    how = {CENTRE: "at its centre", FREE: "free"}.get(cut.held, "at one edge")
    return [*found, ("held", how, ""), ("shoulder gap", cut.shoulder_gap_rounded_mm, "up")]


def _sentences(cut: PanelCut, called: str, steps: Increments, needed: float | None) -> list[Spoken]:
    dry, wet = cut.range_mc_pct
    said = [
        spoken(f"Cut {called} {LENGTH} wide today, at {cut.stock_mc_pct:g} %.", cut.width_to_cut_rounded_mm),
        spoken(
            f"At {wet:g} % it has {LENGTH} in hand; at {dry:g} % {LENGTH} of tongue stays in its groove.",
            cut.clearance_wet_mm,
            cut.engagement_dry_mm,
        ),
        spoken(f"From {dry:g} to {wet:g} % it moves {LENGTH}.", cut.movement_mm),
        spoken(f"Pinned at its centre, it needs grooves {LENGTH} deep.", cut.groove_depth_centre_rounded_mm),
    ]
    if cut.groove_depth_free_rounded_mm is not None:
        said.append(spoken(f"Unpinned, it needs grooves {LENGTH} deep.", cut.groove_depth_free_rounded_mm))
    if cut.shoulder_gap_rounded_mm is not None:
        said.append(
            spoken(f"Leave {LENGTH} between each shoulder and its stile.", cut.shoulder_gap_rounded_mm)
        )
    if not cut.enough:
        drawn = f"The grooves as drawn are {LENGTH} deep, not enough for this"
        if needed is None:
            said.append(spoken(f"{drawn}.", cut.groove_depth_mm))
        else:
            said.append(spoken(f"{drawn}: {LENGTH} would do.", cut.groove_depth_mm, steps.depth_up(needed)))
    if cut.stock_mc_pct > wet:
        said.append(["The stock is wetter than it will ever be again: fit it close, it can only shrink."])
    elif cut.stock_mc_pct < dry:
        said.append(["The stock is drier than it will ever be again: it can only swell, leave it its room."])
    return said
