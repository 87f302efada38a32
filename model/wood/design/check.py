"""A piece's design range, and the humidity that may be said of it, as one JSON document."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from model.wood.air.sorption import equilibrium_moisture_content, relative_humidity_for
from model.wood.design.cautions import cautions, provenance
from model.wood.design.comfort import comfort_of
from model.wood.design.design_range import (
    DesignRange,
    FitRange,
    Governing,
    LimitAt,
    Span,
    design_band,
    design_range,
    settled,
)
from model.wood.doubt import as_measured, margin_doubts
from model.wood.errors import BadInput
from model.wood.fits import Fit
from model.wood.piece import Piece


def _named(governing: Governing | None) -> dict[str, Any] | None:
    if governing is None:
        return None
    tied = [{"fit": fit, "limit": limit} for fit, limit in governing.tied]
    return {"fit": governing.fit, "limit": governing.limit, "tied": tied}


def span_document(span: Span) -> dict[str, Any]:
    """A span as JSON: its four ends, what governs each, and whether it holds no moisture content at all."""
    return {
        "mc_low_pct": span.mc_low_pct,
        "mc_high_pct": span.mc_high_pct,
        "rh_low_pct": span.rh_low_pct,
        "rh_high_pct": span.rh_high_pct,
        "governing": {"low": _named(span.low), "high": _named(span.high)},
        "empty": span.empty,
    }


def _ends(span: Span) -> dict[str, float | None]:
    return {"mc_low_pct": span.mc_low_pct, "mc_high_pct": span.mc_high_pct}


def _levels(of: DesignRange | FitRange) -> dict[str, Any]:
    return {"shows": span_document(of.shows), "harms": span_document(of.harms)}


def _limit_doubt(fit: Fit, at: LimitAt) -> float | None:
    """The ± of the moisture content at a limit [points]: the margin's doubt there, over its slope."""
    if at.mc_at_limit_pct is None:
        return None
    near = {member.name: as_measured(member, at.mc_at_limit_pct) for member in fit.members}
    saturation = min(member.fibre_saturation_pct for member in fit.members)
    low, high = max(at.mc_at_limit_pct - 0.5, 0.0), min(at.mc_at_limit_pct + 0.5, saturation)
    margins = [
        {limit.name: float(limit.margin_mm) for limit in fit.limits(settled(fit.members, mc))}
        for mc in (low, high)
    ]
    slope = abs(margins[1][at.limit.name] - margins[0][at.limit.name]) / max(high - low, 1e-9)
    return margin_doubts(fit, near)[at.limit.name].total / slope if slope else None


@dataclass(frozen=True)
class EndDoubts:
    """The ± of both ends of a design range, moisture and humidity [points]; None where no limit is."""

    mc_low_pct: float | None
    mc_high_pct: float | None
    rh_low_pct: float | None
    rh_high_pct: float | None


def end_doubts(piece: Piece, design: DesignRange) -> EndDoubts:
    """How sure the ends of a design range are, by the limit that governs each."""
    found: list[tuple[float | None, float | None]] = []
    for governing in (design.span.low, design.span.high):
        by_mc = by_rh = None
        if governing is not None:
            limits = design.fits[governing.fit].limits
            at = next(one for one in limits if one.limit.name == governing.limit)
            by_mc = _limit_doubt(piece.fits[governing.fit], at)
            if by_mc is not None and at.mc_at_limit_pct is not None:
                most = equilibrium_moisture_content(design.temperature_c, 100.0)
                ends = np.clip(at.mc_at_limit_pct + np.array([-by_mc, by_mc]), 0.0, most)
                dry, wet = relative_humidity_for(design.temperature_c, ends)
                by_rh = float(wet - dry) / 2.0
        found.append((by_mc, by_rh))
    (mc_low, rh_low), (mc_high, rh_high) = found
    return EndDoubts(mc_low, mc_high, rh_low, rh_high)


def check_document(piece: Piece, temperature_c: float = 20.0, mc_pct: float | None = None) -> dict[str, Any]:
    """A piece's design range as one JSON document.

    Parameters
    ----------
    piece : Piece
    temperature_c : float
        Room temperature [°C].
    mc_pct : float, optional
        Moisture content of every member at which to give the margins [%]; else each as it was measured.

    Returns
    -------
    dict
        ``piece, temperature_c, mc_low_pct, mc_high_pct, rh_low_pct, rh_high_pct, governing, fits``, with
        the same of each fit and its ``limits``; None where no limit exists below fibre saturation or
        above 0 %, or where no air takes wood that far. Each end has its ±,
        ``mc_low_doubt_pct`` and its like. ``shows`` and ``harms`` give the range of each severity,
        ``band`` the range if the wood moves as much, or as little, as its kind may.
        ``comfort_rh_low_pct, comfort_rh_high_pct`` are what may be said to anyone, within 25 to 60 %: both
        None, with ``comfort_reasons``, where nothing is left. ``cautions`` are reasons on figures that are
        remembered or assumed and on parts that cup; ``provenance`` says of each part how its figures are
        known.

    Raises
    ------
    BadInput
        If `mc_pct` is not within 0 to the fibre saturation of the piece's woods.
    """
    saturation = min((m.fibre_saturation_pct for m in piece.members.values()), default=30.0)
    if mc_pct is not None and not 0.0 <= mc_pct <= saturation:
        raise BadInput("", "mc_pct", f"must lie in 0 to {saturation:g} % (fibre saturation)", mc_pct)
    design = design_range(piece, temperature_c)
    fits = {}
    for name, fit in piece.fits.items():
        fit_range = design.fits[name]
        moistures = fit.references() if mc_pct is None else settled(fit.members, mc_pct)
        now = {limit.name: float(limit.margin_mm) for limit in fit.limits(moistures)}
        known = {member.name: as_measured(member, mc_pct) for member in fit.members}
        if mc_pct is None:
            known = {name: replace(one, mc_pct=moistures[name]) for name, one in known.items()}
        margins = margin_doubts(fit, known)
        fits[name] = {
            "kind": fit.kind,
            **span_document(fit_range.span),
            **_levels(fit_range),
            "limits": [
                {
                    "name": at.limit.name,
                    "direction": at.limit.direction,
                    "severity": at.limit.severity,
                    "mc_at_limit_pct": at.mc_at_limit_pct,
                    "mc_at_limit_doubt_pct": _limit_doubt(fit, at),
                    "margin_mm": now[at.limit.name],
                    "margin_doubt_mm": margins[at.limit.name].total,
                    "play_mm": at.limit.play_mm,
                }
                for at in fit_range.limits
            ],
        }
    sure = end_doubts(piece, design)
    most, least = design_band(piece, temperature_c)
    comfort = comfort_of(piece, design)
    return {
        "piece": piece.name,
        "temperature_c": temperature_c,
        **span_document(design.span),
        "mc_low_doubt_pct": sure.mc_low_pct,
        "mc_high_doubt_pct": sure.mc_high_pct,
        "rh_low_doubt_pct": sure.rh_low_pct,
        "rh_high_doubt_pct": sure.rh_high_pct,
        "comfort_rh_low_pct": comfort.rh_low_pct,
        "comfort_rh_high_pct": comfort.rh_high_pct,
        "comfort_reasons": [reason.document() for reason in comfort.reasons],
        "cautions": [reason.document() for reason in cautions(piece.members.values())],
        "provenance": provenance(piece.members.values()),
        **_levels(design),
        "band": {"moves_most": _ends(most.span), "moves_least": _ends(least.span)},
        "fits": fits,
    }
