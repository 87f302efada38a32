"""Sentences a page says: what a place's air, a stack or a piece comes to, in words and in the viewer's units.

Pure: a record from the book and a `Display` in, text out.
"""

from collections.abc import Mapping
from typing import Any

from dashboard import display as say
from dashboard.display import Display
from model.records.answers import share_left as play_left
from model.records.queries import FitNow, Judgement, PieceNow, PlaceNow, StackNow
from model.watch.humidity import lever_in_words
from model.wood.errors import OutsideValidity
from model.wood.sorption import equilibrium_moisture_content

LIKELY = 0.1  # a chance below this is not worth a sentence

NUMBERS = (
    *("no", "one", "two", "three", "four", "five", "six"),
    *("seven", "eight", "nine", "ten", "eleven", "twelve"),
)


def counted(number: int, thing: str, things: str = "") -> str:
    """A count in words up to twelve: `one piece`, `three pieces`, `14 pieces`."""
    return f"{number_word(number)} {thing if number == 1 else things or thing + 's'}"


def number_word(number: int) -> str:
    """A number in words up to twelve."""
    return NUMBERS[number] if number < len(NUMBERS) else str(number)


def emc_of(temperature_c: float, rh_pct: float) -> float | None:
    """The moisture content wood tends to in this air [%]; none where the curve doesn't reach."""
    try:
        return float(equilibrium_moisture_content(temperature_c, rh_pct))
    except OutsideValidity:
        return None


def air(place: PlaceNow, display: Display) -> str:
    """A place's air: `47 % at 66 °F; wood tends to 8.7 %`."""
    if place.air is None:
        return "no air known yet"
    emc_pct = emc_of(place.air.temperature_c, place.air.rh_pct)
    text = f"{say.rh(place.air.rh_pct)} at {display.temperature(place.air.temperature_c)}"
    if emc_pct is not None:
        text += f"; wood tends to {say.mc(emc_pct)}"
    return text


def fit_verdicts(piece: PieceNow) -> list[str]:
    return [fit.judgement.verdict for fit in piece.fits]


def piece_verdict(piece: PieceNow) -> str:
    """A piece stands as its worst fit does, unless the watch has said how it stands."""
    if piece.judgement.evaluated_at is not None:
        return piece.judgement.verdict
    return say.worst(fit_verdicts(piece))


def governing(piece: PieceNow) -> FitNow | None:
    """The fit that matters most: of those with the piece's worst verdict, the one with least left."""
    if not piece.fits:
        return None
    verdict = say.worst(fit_verdicts(piece))
    return min((fit for fit in piece.fits if fit.judgement.verdict == verdict), key=_left)


def _left(fit: FitNow) -> float:
    margin_mm = fit.judgement.detail.get("margin_mm")
    return margin_mm if isinstance(margin_mm, int | float) else float("inf")


def reason(judgement: Judgement, display: Display) -> str:
    """Why something stands as it does, as a clause in the viewer's units.

    The watch stores its reason in mm with the numbers behind it; what it doesn't give numbers for is said
    as it stored it.
    """
    detail = judgement.detail
    key = detail.get("key")
    if key == "unknown" and "last_known" in detail:
        head = judgement.reason.split("; last known")[0]
        told = _limit_clause(str(detail["last_known"]), detail, display)
        return f"{head}; last known: {told}" if told else judgement.reason
    return _limit_clause(str(key), detail, display) or what_is_seen(judgement.reason)


def _limit_clause(key: str, detail: Mapping[str, Any], display: Display) -> str:
    says = what_is_seen(str(detail.get("says", "")))
    margin_mm, play_mm = detail.get("margin_mm"), detail.get("play_mm")
    if not says or not isinstance(margin_mm, int | float) or not isinstance(play_mm, int | float):
        return ""
    left = display.margin(max(margin_mm, 0.0))
    if key == "past":
        return f"{says}, {display.overrun(margin_mm)} past"
    if key == "past-easing":
        return f"{says}; back by {left}, not yet clearly"
    if key == "no-play":
        return f"{left} is left until {says}; it was built with none"
    if key == "near":
        return f"{left} of {display.margin(play_mm)} is left until {says}"
    if key == "near-easing":
        return f"{left} of {display.margin(play_mm)} is left until {says}, not yet clearly more"
    if key == "clear":
        return f"{left} is left until {says}"
    return ""


def advice(detail: Mapping[str, Any]) -> str:
    """What a limit ahead comes to if the room stays as it is, and what would keep it; nothing else.

    `detail` is that of a limit in an outlook, with a humidity to hold that the room bears.
    """
    told = []
    stays = detail.get("if_it_stays")
    if stays:
        when = say.lead_time(stays["low_days"], stays["high_days"])
        told.append(f"If the room stays at {say.rh(stays['rh_pct'])}, {when}.")
    lever = detail.get("lever")
    if lever:
        told.append(lever_in_words(lever))
    return " ".join(told)


def ahead(details: Mapping[str, Mapping[str, Any]]) -> str:
    """What the coming year is likely to bring at a fit's likeliest limit, and what would keep it.

    Parameters
    ----------
    details : mapping of limit name to detail
        Of an outlook: `chance`, `crossing`, `lever`, `if_it_stays`, `says`. A limit past now has no
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
    when = say.lead_time(worst["crossing"]["low_days"], worst["crossing"]["high_days"])
    seen = what_is_seen(str(worst.get("says", "")))
    years = chance(worst["chance"]).replace(" in ", " of ")
    told = f"{seen} {when}, in {years} years that may come."
    return f"{say.sentence(told)} {advice(worst)}".strip()


def chance(share: float) -> str:
    """A share of years in words a maker bets by: `3 in 10`, `under 1 in 10`, `nearly all`."""
    tenths = round(float(share) * 10)
    if share <= 0.0:
        return "none"
    if tenths == 0:
        return "under 1 in 10"
    return "nearly all" if tenths == 10 else f"{tenths} in 10"


def what_is_seen(says: str) -> str:
    """A limit's clause with the names of members as people say them."""
    return says.replace("_", " ").rstrip(".")


def piece_reason(piece: PieceNow, display: Display) -> str:
    """Why a piece stands as it does, with the fit it is about."""
    if piece.judgement.evaluated_at is not None:
        fit = piece.judgement.detail.get("fit")
        text = reason(piece.judgement, display)
        return f"{say.said(str(fit))}: {text}" if fit else text
    governs = governing(piece)
    if governs is None:
        return piece.judgement.reason
    return f"{say.said(governs.name)}: {reason(governs.judgement, display)}"


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
        return f"{species}, {display.length(thickness_mm)} thick"
    return species
