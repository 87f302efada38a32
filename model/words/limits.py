"""Limits of fits in words."""

from typing import Any

from model.wood.design.check import check_document
from model.wood.fits import Way
from model.wood.piece import Piece
from model.wood.reason import Reason
from model.words.display import Display
from model.words.reasons import METRIC, clause, in_sentences


def limit_said(limit: Way) -> str:
    """What is seen when a limit is passed, as a clause without a full stop.

    >>> limit_said(Way("rattle", "shrinking", "shows", 0.0, ("the door panel",)))
    'the door panel is loose in its grooves and rattles'
    """
    return clause(limit.reason)


def checked(
    piece: Piece, temperature_c: float = 20.0, mc_pct: float | None = None, display: Display = METRIC
) -> dict[str, Any]:
    """`check_document` with the sentence of each limit as its `says`, and its cautions in sentences."""
    document = check_document(piece, temperature_c, mc_pct)
    for name, fit in piece.fits.items():
        said = {limit.name: limit_said(limit) for limit in fit.limits(fit.references())}
        for limit in document["fits"][name]["limits"]:
            limit["says"] = said[limit["name"]]
    document["cautions"] = [in_sentences(Reason.of(one), display) for one in document["cautions"]]
    return document
