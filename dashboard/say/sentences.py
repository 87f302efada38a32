"""What a place's air, a stack or a piece comes to, as reasons said in the viewer's units.

Pure: a record from the book and a `Display` in, text out.
"""

from collections.abc import Mapping
from typing import Any

from model.records.queries.answers import share_left as play_left
from model.records.queries.overview import FitNow, Judgement, PieceNow, PlaceNow, StackNow
from model.watch.state.humidity import lever_reasons
from model.wood.air.sorption import equilibrium_moisture_content
from model.wood.errors import OutsideValidity
from model.wood.reason import Reason
from model.words import display as say
from model.words.display import Display
from model.words.reasons import clause, in_sentences

LIKELY = 0.1  # a chance below this is not worth a sentence

counted, number_word = say.counted, say.number_word


def so_many(number: int, noun: str, one: str, many: str) -> str:
    """A number of things and their verb: `two sensors are silent`."""
    return f"{counted(number, noun)} {one if number == 1 else many}"


def emc_of(temperature_c: float, rh_pct: float) -> float | None:
    """The moisture content wood settles at in this air [%]; none where the curve doesn't reach."""
    try:
        return float(equilibrium_moisture_content(temperature_c, rh_pct))
    except OutsideValidity:
        return None


def air(place: PlaceNow, display: Display) -> str:
    """A place's air: `47 % at 66 °F; wood will settle at 8.7 %`."""
    if place.air is None:
        return clause(Reason("air-unknown"))
    temperature_c, rh_pct = place.air.temperature_c, place.air.rh_pct
    emc_pct = emc_of(temperature_c, rh_pct)
    values = {"temperature_c": temperature_c, "rh_pct": rh_pct, "emc_pct": emc_pct}
    return clause(Reason("air-alone" if emc_pct is None else "air", values), display)


def fit_verdicts(piece: PieceNow) -> list[str]:
    return [fit.judgement.verdict for fit in piece.fits]


def piece_verdict(piece: PieceNow) -> str:
    """A piece stands as its worst fit does, unless the watch has said how it stands."""
    if piece.judgement.evaluated_at is not None:
        return piece.judgement.verdict
    return say.worst(fit_verdicts(piece))


def governing(piece: PieceNow) -> FitNow | None:
    """The fit that matters most: as judged, else of those with the worst verdict the one with least left."""
    if not piece.fits:
        return None
    for fit in piece.fits:
        if fit.name == piece.judgement.detail.get("fit"):
            return fit
    verdict = say.worst(fit_verdicts(piece))
    return min((fit for fit in piece.fits if fit.judgement.verdict == verdict), key=_left)


def _left(fit: FitNow) -> float:
    margin_mm = fit.judgement.detail.get("margin_mm")
    return margin_mm if isinstance(margin_mm, int | float) else float("inf")


def reason(judgement: Judgement, display: Display) -> str:
    """Why something stands as it does, in sentences."""
    return in_sentences(judgement.reason, display)


def advice(detail: Mapping[str, Any]) -> str:
    """What a limit ahead comes to if the room stays as it is, and what would keep it; nothing else.

    `detail` is that of a limit in an outlook, with a humidity to hold that the room bears.
    """
    stays, lever = detail.get("if_it_stays"), detail.get("lever")
    reasons = [Reason("if-it-stays", stays)] if stays else []
    return in_sentences([*reasons, *(lever_reasons(lever) if lever else ())])


def ahead(details: Mapping[str, Mapping[str, Any]]) -> str:
    """What the coming year is likely to bring at a fit's likeliest limit, and what would keep it.

    Parameters
    ----------
    details : mapping of limit name to detail
        Of an outlook: `chance`, `crossing`, `lever`, `if_it_stays`, `seen`. A limit past now has no
        `crossing`: nothing of it is ahead.
    """
    likely = [
        detail
        for detail in details.values()
        if float(detail.get("chance") or 0.0) >= LIKELY and detail.get("crossing")
    ]
    if not likely:
        return ""
    worst = max(likely, key=lambda detail: float(detail["chance"]))
    crossing = dict(worst.get("crossing") or {})
    low_days = crossing.get("low_days", crossing.get("days"))
    values = {"seen": Reason.of(worst["seen"]), "chance_pct": 100.0 * float(worst["chance"])}
    if low_days is None:
        first = Reason("coming-some-day", values)
    else:
        high_days = crossing.get("high_days", crossing.get("days"))
        first = Reason("coming", values | {"low_days": low_days, "high_days": high_days})
    return f"{in_sentences(first)} {advice(worst)}".strip()


def margin_left(margin_mm: float, display: Display) -> str:
    """What is left before a limit, or how far past it something is."""
    return f"{display.overrun(margin_mm)} past" if margin_mm < 0 else display.margin(margin_mm)


def chance(share: float) -> str:
    """A share of years for a table: `3 in 10`, `under 1 in 10`, `nearly all`."""
    tenths = round(float(share) * 10)
    if share <= 0.0:
        return "none"
    if tenths == 0:
        return "under 1 in 10"
    return "nearly all" if tenths == 10 else f"{tenths} in 10"


def piece_reason(piece: PieceNow, display: Display) -> str:
    """Why a piece stands as it does."""
    governs = governing(piece)
    if piece.judgement.evaluated_at is not None or governs is None:
        return reason(piece.judgement, display)
    return reason(governs.judgement, display)


def share_left(piece: PieceNow) -> float:
    """What is left of the play at a piece's tightest limit, as a share of it; much when it isn't known."""
    detail = piece.judgement.detail
    margin_mm, play_mm = detail.get("margin_mm"), detail.get("play_mm")
    if not isinstance(margin_mm, int | float) or not isinstance(play_mm, int | float):
        return 1.0
    return float(play_left(margin_mm, play_mm))


def stack_wood(stack: StackNow, display: Display) -> str:
    """What a stack is: `white ash, 1 in thick`."""
    species = str(stack.document.get("species", "lumber"))
    thickness_mm = stack.document.get("thickness_mm")
    if isinstance(thickness_mm, int | float):
        return clause(Reason("lumber", {"species": species, "thickness_mm": thickness_mm}), display)
    return species
