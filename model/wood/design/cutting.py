"""At the saw: how wide to cut a part today, how deep to groove for it, what gap or slot it needs.

Each answer is for stock at one moisture content that will live between two others, its home's dry and wet
ends, and whose moisture content is known as well as a meter tells it; each kind of fit gives its own
(`Fit.cut`). The formulas are those of the trade (common practice, no source) on this project's own definition
of width; what is rounded is rounded the cautious way, and the exact figure stands beside it.
"""

from dataclasses import asdict, replace
from typing import Any

from model.wood.design.cautions import cautions, provenance
from model.wood.design.setting_out import (
    HOME_MC_PCT,
    INCH_STEPS,
    Cut,
    Increments,
    ServiceRange,
)
from model.wood.doubt import Knowledge, advice_at_the_saw, doubt_document, start_doubt_pct, width_doubt
from model.wood.errors import BadInput
from model.wood.fits import Fit
from model.wood.material.member import MOST_DOUBT_PCT
from model.wood.piece import Piece
from model.wood.piece_table import near_matches
from model.wood.reason import Reason


def _fit_named(piece: Piece, fit_name: str) -> Fit:
    try:
        return piece.fits[fit_name]
    except KeyError:
        names = ", ".join(sorted(piece.fits)) or "none"
        known = near_matches(fit_name, piece.fits) or f" (there are: {names})"
        raise BadInput("", "fit", f"must be a fit of {piece.name}{known}", fit_name) from None


def _service_of(
    fit: Fit, stock_mc_pct: float, range_mc_pct: tuple[float, float], mc_doubt_pct: float
) -> ServiceRange:
    saturation = min(member.fibre_saturation_pct for member in fit.members)
    dry_pct, wet_pct = range_mc_pct
    for what, mc_pct in (("mc", stock_mc_pct), ("range", dry_pct), ("range", wet_pct)):
        if not 0.0 <= mc_pct <= saturation:
            raise BadInput("", what, f"must lie in 0 to {saturation:g} % (fibre saturation)", mc_pct)
    if dry_pct >= wet_pct:
        raise BadInput(
            "", "range", "must run from a dry to a wetter moisture content", f"{dry_pct:g}-{wet_pct:g}"
        )
    return ServiceRange(stock_mc_pct, dry_pct, wet_pct, doubt_given(mc_doubt_pct))


def doubt_given(mc_doubt_pct: float) -> float:
    """How far a moisture content may be out, as somebody typed it [points].

    Raises
    ------
    BadInput
        If it isn't within 0 to 5.
    """
    if not 0.0 <= mc_doubt_pct <= MOST_DOUBT_PCT:
        rule = f"must lie in 0 to {MOST_DOUBT_PCT:g} points of moisture content"
        raise BadInput("", "doubt", rule, mc_doubt_pct)
    return mc_doubt_pct


def cut_advice(
    piece: Piece,
    fit_name: str,
    stock_mc_pct: float,
    range_mc_pct: tuple[float, float] = HOME_MC_PCT,
    *,
    mc_doubt_pct: float | None = None,
    steps: Increments = INCH_STEPS,
) -> Cut:
    """How to cut, groove or slot for a fit today, for the home it will live in.

    Parameters
    ----------
    piece : Piece
    stock_mc_pct : float
        Moisture content of the stock today [%].
    range_mc_pct : (float, float)
        Dry and wet end of its home [%].
    mc_doubt_pct : float
        How far today's moisture content may be out, either way [points], 0 to 5; as the parts have it where
        it isn't given.

    Raises
    ------
    BadInput
        For a fit that isn't there, and moisture contents that can't be.
    """
    fit = _fit_named(piece, fit_name)
    if mc_doubt_pct is None:
        mc_doubt_pct = max(map(start_doubt_pct, fit.members))
    service = _service_of(fit, stock_mc_pct, range_mc_pct, mc_doubt_pct)
    advice = fit.cut(service, steps)
    if not service.is_too_wet:
        return advice
    not_yet = service.reason("cut-not-yet", target_pct=service.target_pct)
    return replace(advice, figures=[("build with this stock", "not yet", "")], reasons=[not_yet])


def cut_document(
    piece: Piece,
    fit_name: str,
    stock_mc_pct: float,
    range_mc_pct: tuple[float, float] = HOME_MC_PCT,
    steps: Increments = INCH_STEPS,
    mc_doubt_pct: float | None = None,
) -> dict[str, Any]:
    """`cut_advice` as one JSON document, with its doubt, what has to be said of its figures, and what cups.

    `width_doubt_mm` is the ± of how wide the part will be through its home's year; of several parts, and of
    both ends of the year, that of the least sure. None where nothing is built of this stock yet.
    """
    advice = cut_advice(piece, fit_name, stock_mc_pct, range_mc_pct, mc_doubt_pct=mc_doubt_pct, steps=steps)
    members = piece.fits[fit_name].members
    told, sure = _sure(piece.fits[fit_name], advice)
    return {
        "piece": piece.name,
        **asdict(advice),
        "range_mc_pct": list(advice.range_mc_pct),
        "figures": [list(figure) for figure in advice.figures if figure[1] is not None],
        "reasons": [reason.document() for reason in (*advice.reasons, *told)],
        **sure,
        "cautions": [reason.document() for reason in cautions(members)],
        "provenance": provenance(members),
    }


def _sure(fit: Fit, advice: Cut) -> tuple[list[Reason], dict[str, Any]]:
    """How sure the least sure width of a fit's parts is through the year: as a reason, and as JSON."""
    if not advice.build_now:
        return [], {"width_doubt_mm": None, "doubt": None}
    found = []
    for member in fit.members:
        cut = replace(member, width_mm=fit.built_width(member), mc_pct=advice.stock_mc_pct)
        for end_pct in advice.range_mc_pct:
            known = Knowledge(end_pct, advice.mc_doubt_pct)
            found.append((width_doubt(cut, known), known, member.called))
    doubt, known, called = max(found, key=lambda one: one[0].total)
    shrink = advice_at_the_saw(doubt, known)
    also = () if shrink is None else (shrink,)
    told = Reason("width-doubt", {"part": called, "doubt_mm": doubt.total, "also": also})
    return [told], {"width_doubt_mm": doubt.total, "doubt": doubt_document(doubt, shrink)}
