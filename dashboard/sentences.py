"""Sentences a page says: what a place's air, a stack or a piece comes to, in words and in the viewer's units.

Pure: a record from the book and a `Display` in, text out.
"""

from dashboard import display as say
from dashboard.display import Display
from model.records.queries import FitNow, PieceNow, PlaceNow, StackNow
from model.wood.errors import OutsideValidity
from model.wood.sorption import equilibrium_moisture_content

NUMBERS = (
    *("no", "one", "two", "three", "four", "five", "six"),
    *("seven", "eight", "nine", "ten", "eleven", "twelve"),
)


def counted(number: int, thing: str, things: str = "") -> str:
    """A count in words up to twelve: `one piece`, `three pieces`, `14 pieces`."""
    named = NUMBERS[number] if number < len(NUMBERS) else str(number)
    return f"{named} {thing if number == 1 else things or thing + 's'}"


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


def stack_wood(stack: StackNow, display: Display) -> str:
    """What a stack is: `white ash, 1 in thick`."""
    species = str(stack.document.get("species", "lumber"))
    thickness_mm = stack.document.get("thickness", stack.document.get("thickness_mm"))
    if isinstance(thickness_mm, int | float):
        return f"{species}, {display.length(thickness_mm)} thick"
    return species
