"""At the saw: how wide to cut a part today, how deep to groove for it, what gap or slot it needs.

Each answer is for stock at one moisture content that will live between two others, its home's dry and wet
ends; each kind of fit gives its own (`Fit.cut`). The formulas are those of the trade (common practice, no
source) on this project's own definition of width; what is rounded is rounded the cautious way, and the exact
figure stands beside it.
"""

from dataclasses import asdict
from typing import Any

from model.wood.errors import BadInput
from model.wood.fits import Fit
from model.wood.one_face import cautions
from model.wood.piece import Piece
from model.wood.piece_table import near_matches
from model.wood.setting_out import HOME_MC_PCT, INCH_STEPS, Allowances, Cut, Increments, Season


def _fit_named(piece: Piece, fit_name: str) -> Fit:
    try:
        return piece.fits[fit_name]
    except KeyError:
        names = ", ".join(sorted(piece.fits)) or "none"
        known = near_matches(fit_name, piece.fits) or f" (there are: {names})"
        raise BadInput("", "fit", f"must be a fit of {piece.name}{known}", fit_name) from None


def _season_of(fit: Fit, stock_mc_pct: float, range_mc_pct: tuple[float, float]) -> Season:
    saturation = min(member.fibre_saturation_pct for member in fit.members)
    dry_pct, wet_pct = range_mc_pct
    for what, mc_pct in (("mc", stock_mc_pct), ("range", dry_pct), ("range", wet_pct)):
        if not 0.0 <= mc_pct <= saturation:
            raise BadInput("", what, f"must lie in 0 to {saturation:g} % (fibre saturation)", mc_pct)
    if dry_pct >= wet_pct:
        raise BadInput(
            "", "range", "must run from a dry to a wetter moisture content", f"{dry_pct:g}-{wet_pct:g}"
        )
    return Season(stock_mc_pct, dry_pct, wet_pct)


def cut_advice(
    piece: Piece,
    fit_name: str,
    stock_mc_pct: float,
    range_mc_pct: tuple[float, float] = HOME_MC_PCT,
    *,
    reserve_mm: float | None = None,
    engagement_mm: float | None = None,
    steps: Increments = INCH_STEPS,
) -> Cut:
    """How to cut, groove or slot for a fit today, for the home it will live in.

    Parameters
    ----------
    piece : Piece
    fit_name : str
        A fit whose kind has something to say at the saw.
    stock_mc_pct : float
        Moisture content of the stock today [%].
    range_mc_pct : (float, float)
        Dry and wet end of its home [%].
    reserve_mm, engagement_mm : float, optional
        Kept in hand at the wettest; tongue kept in each groove at the driest. Usual: `Allowances`.
    steps : Increments
        What to round to.

    Raises
    ------
    BadInput
        For a fit that isn't there or that nothing is cut for, and moisture contents that can't be.
    """
    fit = _fit_named(piece, fit_name)
    season = _season_of(fit, stock_mc_pct, range_mc_pct)
    kept = Allowances(reserve_mm, steps=steps)
    if engagement_mm is not None:
        kept = Allowances(reserve_mm, engagement_mm, steps)
    advice = fit.cut(season, kept)
    if advice is None:
        rule = "must be one whose part is cut to width (a panel, front or board) or held by a screw or button"
        raise BadInput("", f"fit.{fit_name}", rule, fit.kind)
    return advice


def cut_document(
    piece: Piece,
    fit_name: str,
    stock_mc_pct: float,
    range_mc_pct: tuple[float, float] = HOME_MC_PCT,
    steps: Increments = INCH_STEPS,
) -> dict[str, Any]:
    """`cut_advice` as one JSON document, with a caution on each part that will cup."""
    document = asdict(cut_advice(piece, fit_name, stock_mc_pct, range_mc_pct, steps=steps))
    document["range_mc_pct"] = list(document["range_mc_pct"])
    document["figures"] = [list(figure) for figure in document["figures"] if figure[1] is not None]
    document["cautions"] = [reason.document() for reason in cautions(piece.fits[fit_name].members)]
    return {"piece": piece.name, **document}
