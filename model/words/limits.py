"""Limits of fits, a piece's range and the advice at the saw in words."""

from collections.abc import Mapping
from typing import Any

from model.wood.design.at_ends import AtEnds
from model.wood.design.check import check_document
from model.wood.design.comfort import Comfort
from model.wood.fits import Fit, Way
from model.wood.piece import Piece
from model.wood.reason import Reason
from model.words.display import Display, humidity_range
from model.words.reasons import METRIC, clause, in_sentences

SPARE_MM = 25.4 / 64.0
"""Less is nothing to spare."""


def limit_said(limit: Way) -> str:
    """What is seen when a limit is passed, as a clause without a full stop.

    >>> limit_said(Way("rattle", "shrinking", "shows", 0.0, ("the door panel",)))
    'the door panel is loose in its grooves and rattles'
    """
    return clause(limit.reason)


def limits_said(fit: Fit) -> dict[str, str]:
    """What is seen when each limit of a fit is passed, by the limit's name."""
    return {limit.name: limit_said(limit) for limit in fit.limits(fit.references())}


def ends_said(worst: AtEnds, display: Display) -> str:
    """How a fit stands at the worse end of a home's year, as the rest of a sentence about it."""
    if worst.limit is None:
        return "has nothing that can run out."
    if worst.margin_mm < 0.0:
        return f"at the {worst.end} {limit_said(worst.limit)}"
    left = display.margin(worst.margin_mm, worst.doubt_mm)
    spare = f"with {left} to spare" if worst.margin_mm >= SPARE_MM else "with nothing to spare"
    return f"stays free, {spare} at the {worst.end}."


def checked(
    piece: Piece, temperature_c: float = 20.0, mc_pct: float | None = None, display: Display = METRIC
) -> dict[str, Any]:
    """`check_document` in words: each limit `says` itself, cautions and `comfort_reason` are sentences."""
    document = check_document(piece, temperature_c, mc_pct)
    for name, fit in piece.fits.items():
        said = limits_said(fit)
        for limit in document["fits"][name]["limits"]:
            limit["says"] = said[limit["name"]]
    document["cautions"] = [in_sentences(Reason.of(one), display) for one in document["cautions"]]
    document["comfort_reason"] = in_sentences(map(Reason.of, document.pop("comfort_reasons"))) or None
    return document


def comfort_range(comfort: Comfort) -> str:
    """The humidity to hold: `31–60 %`; empty where there is none."""
    return "" if comfort.why else humidity_range(comfort.rh_low_pct, comfort.rh_high_pct)


def comfort_reason(comfort: Comfort) -> str:
    """Why no humidity is left and what the maker does about it; empty where there is a range."""
    return in_sentences(comfort.reasons)


def comfort_for_client(comfort: Comfort) -> str:
    """What a client is told: the humidity to hold, or why there is none and what to do in the room."""
    if comfort.why:
        return in_sentences(filter(None, (comfort.why, comfort.meanwhile)))
    told = f"It is comfortable at {comfort_range(comfort)} relative humidity"
    if comfort.ceiling_pct is not None:
        return f"{told} in the weeks ahead: above that the windows may sweat in the cold."
    return f"{told}."


def cut_said(document: Mapping[str, Any], display: Display) -> list[str]:
    """A cut document's advice, then its cautions, as sentences."""
    return [in_sentences(Reason.of(one), display) for one in (*document["reasons"], *document["cautions"])]
