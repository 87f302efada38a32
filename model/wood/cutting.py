"""At the saw: how wide to cut a part today, how deep to groove for it, what gap to leave.

Each answer is for stock at one moisture content that will live between two others, its home's dry and wet
ends. The formulas are those of the trade (common practice, no source) on this project's own definition of
width; what is rounded is rounded the cautious way, and the exact figure stands beside it.
"""

from dataclasses import asdict, dataclass, field
from typing import Any

from model.wood.errors import BadInput
from model.wood.fits.base import INCH
from model.wood.fits.board_back import BoardBack
from model.wood.fits.front_in_opening import FrontInOpening
from model.wood.fits.panel_in_groove import CENTRE, FREE, PanelInGroove
from model.wood.fits.slot import SlottedFit
from model.wood.member import Member
from model.wood.movement import width_at
from model.wood.one_face import cup_caution
from model.wood.piece import Piece
from model.wood.setting_out import (
    HOME_MC_PCT,
    INCH_STEPS,
    LENGTH,
    ROUNDING_SLACK,
    Increments,
    Season,
    Spoken,
    both_units,
    fit_named,
    season_of,
    spoken,
    told,
)
from model.wood.slots import SlotCut, slot_advice

__all__ = [
    "HOME_MC_PCT",
    "GapCut",
    "PanelCut",
    "SlotCut",
    "both_units",
    "cut_advice",
    "cut_document",
    "slot_advice",
]

# Common practice, no source: 1/32 in kept in hand at the wettest, 1/8 in of tongue kept at the driest.
RESERVE_MM = INCH / 32.0
ENGAGEMENT_MM = INCH / 8.0


@dataclass(frozen=True)
class PanelCut:
    """How wide to cut a panel today, and how deep its grooves must be.

    Lengths in mm, exact beside rounded (widths down, depths up). `groove_depth_free_mm` is None where
    no groove is deep enough: a panel so wide would need more groove than frame. `enough` says whether
    the groove as drawn is deep enough for how the panel is held.
    """

    fit: str
    kind: str
    member: str
    held: str
    stock_mc_pct: float
    range_mc_pct: tuple[float, float]
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
    enough: bool
    sentences: list[str] = field(default_factory=list)
    parts: list[Spoken] = field(default_factory=list)


@dataclass(frozen=True)
class GapCut:
    """What gap to leave today beside a front or between boards, and what it will be at both ends.

    Lengths in mm, exact beside rounded up. Width is None where the fit does not say how large its
    opening is; lap is None for a front.
    """

    fit: str
    kind: str
    member: str
    stock_mc_pct: float
    range_mc_pct: tuple[float, float]
    gap_mm: float
    gap_rounded_mm: float
    gap_dry_mm: float
    gap_wet_mm: float
    width_to_cut_mm: float | None
    width_to_cut_rounded_mm: float | None
    lap_needed_mm: float | None
    lap_needed_rounded_mm: float | None
    enough: bool
    sentences: list[str] = field(default_factory=list)
    parts: list[Spoken] = field(default_factory=list)


# ---------------------------------------------------------------- panels


def _panel(fit: PanelInGroove, season: Season, reserve: float, engage: float, steps: Increments) -> PanelCut:
    member, sight, groove = fit.member, fit.sight_width_mm, fit.groove_depth_mm - fit.spacer_mm
    one_edge = fit.held not in (CENTRE, FREE)
    held_mm = fit.built_width_mm - sight if one_edge else 0.0
    if one_edge:
        held_mm = fit.held_engagement_mm if fit.held_engagement_mm is not None else held_mm / 2.0
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
    enough = needed is not None and needed <= fit.groove_depth_mm + ROUNDING_SLACK
    advice = PanelCut(
        fit=fit.name,
        kind=fit.kind,
        member=member.name,
        held=fit.held,
        stock_mc_pct=season.today_pct,
        range_mc_pct=(season.dry_pct, season.wet_pct),
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
        enough=enough,
    )
    advice.parts.extend(_panel_sentences(advice, needed, steps))
    advice.sentences.extend(map(told, advice.parts))
    return advice


def _panel_sentences(cut: PanelCut, needed: float | None, steps: Increments) -> list[Spoken]:
    dry, wet = cut.range_mc_pct
    said = [
        spoken(
            f"Cut {cut.member} {LENGTH} wide today, at {cut.stock_mc_pct:g} %.", cut.width_to_cut_rounded_mm
        ),
        spoken(
            f"At {wet:g} % it has {LENGTH} in hand; at {dry:g} % {LENGTH} of tongue stays in its groove.",
            cut.clearance_wet_mm,
            cut.engagement_dry_mm,
        ),
        spoken(f"From {dry:g} to {wet:g} % it moves {LENGTH}.", cut.movement_mm),
        spoken(f"Held at its centre it needs grooves {LENGTH} deep.", cut.groove_depth_centre_rounded_mm),
    ]
    if cut.groove_depth_free_rounded_mm is not None:
        said.append(spoken(f"Left free to wander it needs {LENGTH}.", cut.groove_depth_free_rounded_mm))
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


# ---------------------------------------------------------------- gaps


def _front(fit: FrontInOpening, season: Season, steps: Increments) -> GapCut:
    def width_today(member: Member) -> float:
        return float(member.width_at(season.today_pct))

    closing = fit.members_across + (fit.opening or ())
    widening = fit.widens or ()

    def growth(mc_pct: float) -> float:
        def one(member: Member) -> float:
            return float(member.width_at(mc_pct)) - width_today(member)

        return sum(map(one, closing)) - sum(map(one, widening))

    # The gap must run freely at whichever end, or today, closes it most.
    most, least_growth = max(growth(season.wet_pct), growth(season.dry_pct), 0.0), growth(season.dry_pct)
    gap = fit.least_gap_mm + most
    width = None
    if fit.opening_size_mm is not None and fit.construction == "slab" and len(fit.members_across) == 1:
        member = fit.members_across[0]
        if not (fit.opening or fit.widens):
            full = fit.opening_size_mm - fit.least_gap_mm
            wettest = max(season.wet_pct, season.today_pct)
            width = float(width_at(full, wettest, season.today_pct, member.movement))
            gap = fit.opening_size_mm - width
        else:
            width = fit.opening_size_mm - gap
    rounded_gap = steps.width_up(gap)
    dry_gap, wet_gap = rounded_gap - least_growth, rounded_gap - growth(season.wet_pct)
    enough = max(dry_gap, wet_gap) <= fit.widest_gap_mm + ROUNDING_SLACK
    what = " and ".join(dict.fromkeys(member.name for member in fit.members_across))
    said = [spoken(f"Leave a gap of {LENGTH} at {what} today, at {season.today_pct:g} %.", rounded_gap)]
    rounded_width = None
    if width is not None:
        rounded_width = steps.width_down(width)
        said.append(spoken(f"Cut it {LENGTH} across the grain.", rounded_width))
    said.append(
        spoken(
            f"At {season.wet_pct:g} % the gap will be {LENGTH}, at {season.dry_pct:g} % {LENGTH}.",
            wet_gap,
            dry_gap,
        )
    )
    if not enough:
        said.append(
            spoken(
                f"That is wider than the {LENGTH} that looks right: frame it, use quartered stock, or "
                "accept it.",
                fit.widest_gap_mm,
            )
        )
    return GapCut(
        fit=fit.name,
        kind=fit.kind,
        member=what,
        stock_mc_pct=season.today_pct,
        range_mc_pct=(season.dry_pct, season.wet_pct),
        gap_mm=gap,
        gap_rounded_mm=rounded_gap,
        gap_dry_mm=dry_gap,
        gap_wet_mm=wet_gap,
        width_to_cut_mm=width,
        width_to_cut_rounded_mm=rounded_width,
        lap_needed_mm=None,
        lap_needed_rounded_mm=None,
        enough=enough,
        sentences=[told(one) for one in said],
        parts=said,
    )


def _boards(fit: BoardBack, season: Season, reserve: float, steps: Increments) -> GapCut:
    def joint(mc_pct: float) -> float:
        """Growth at the joint that moves most, from today [mm]."""
        growths = [
            sum(float(m.width_at(mc_pct)) - float(m.width_at(season.today_pct)) for m in pair) / 2.0
            for pair in fit.joints()
        ]
        return max(growths, key=abs)

    gap = max(joint(season.wet_pct), 0.0) + reserve
    rounded = steps.width_up(gap)
    dry_gap, wet_gap = rounded - joint(season.dry_pct), rounded - joint(season.wet_pct)
    lap = max(dry_gap, rounded) + fit.least_lap_mm
    enough = lap <= fit.lap_mm + ROUNDING_SLACK
    said = [
        spoken(f"Leave {LENGTH} between board and board today, at {season.today_pct:g} %.", rounded),
        spoken(
            f"At {season.wet_pct:g} % it will be {LENGTH}, at {season.dry_pct:g} % {LENGTH}.",
            wet_gap,
            dry_gap,
        ),
        spoken(f"The lap must be {LENGTH} or more.", steps.depth_up(lap)),
    ]
    if not enough:
        said.append(spoken(f"The lap as drawn is {LENGTH}, not enough for this.", fit.lap_mm))
    return GapCut(
        fit=fit.name,
        kind=fit.kind,
        member=" and ".join(dict.fromkeys(board.name for board in fit.boards)),
        stock_mc_pct=season.today_pct,
        range_mc_pct=(season.dry_pct, season.wet_pct),
        gap_mm=gap,
        gap_rounded_mm=rounded,
        gap_dry_mm=dry_gap,
        gap_wet_mm=wet_gap,
        width_to_cut_mm=None,
        width_to_cut_rounded_mm=None,
        lap_needed_mm=lap,
        lap_needed_rounded_mm=steps.depth_up(lap),
        enough=enough,
        sentences=[told(one) for one in said],
        parts=said,
    )


def cut_advice(
    piece: Piece,
    fit_name: str,
    stock_mc_pct: float,
    range_mc_pct: tuple[float, float] = HOME_MC_PCT,
    *,
    reserve_mm: float = RESERVE_MM,
    engagement_mm: float = ENGAGEMENT_MM,
    steps: Increments = INCH_STEPS,
) -> PanelCut | GapCut:
    """How wide to cut a part today for the home it will live in.

    Parameters
    ----------
    piece : Piece
    fit_name : str
        A panel in grooves, a front in its opening, or a back of boards.
    stock_mc_pct : float
        Moisture content of the stock today [%].
    range_mc_pct : (float, float)
        Dry and wet end of its home [%].
    reserve_mm, engagement_mm : float
        Kept in hand at the wettest, both sides together; tongue kept in each groove at the driest.
    steps : Increments
        What to round to.

    Raises
    ------
    BadInput
        For a fit that isn't there or whose part is not cut to width, and moisture contents that can't be.
    """
    fit = fit_named(piece, fit_name)
    season = season_of(fit, stock_mc_pct, range_mc_pct)
    if isinstance(fit, PanelInGroove):
        return _panel(fit, season, reserve_mm, engagement_mm, steps)
    if isinstance(fit, FrontInOpening):
        return _front(fit, season, steps)
    if isinstance(fit, BoardBack):
        return _boards(fit, season, reserve_mm, steps)
    raise BadInput(
        "", f"fit.{fit_name}", "must be one whose part is cut to width (a panel, front or board)", fit.kind
    )


def cut_document(
    piece: Piece,
    fit_name: str,
    stock_mc_pct: float,
    range_mc_pct: tuple[float, float] = HOME_MC_PCT,
    steps: Increments = INCH_STEPS,
) -> dict[str, Any]:
    """Advice for any fit that can be advised on, as one JSON document: `cut_advice`, else `slot_advice`."""
    fit = fit_named(piece, fit_name)
    slotted = isinstance(fit, SlottedFit) and fit.takes_slot
    ask = slot_advice if slotted else cut_advice
    document = asdict(ask(piece, fit_name, stock_mc_pct, range_mc_pct, steps=steps))
    document["range_mc_pct"] = list(document["range_mc_pct"])
    for caution in (cup_caution(member) for member in fit.members):
        if caution is not None:
            document["parts"].append(caution)
            document["sentences"].append(told(caution))
    return {"piece": piece.name, **document}
