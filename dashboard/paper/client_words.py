"""What a client sheet says in words, apart from a piece's own numbers.

Advice is common practice, no source, but where one is named. Seasons, never dates: a sheet is kept for years.
"""

from model.wood.material.finish import BARE
from model.wood.piece import Piece
from model.words.display import Display

WHY = (
    "Solid wood grows wider in damp air and narrower in dry air, across its grain and slowly, over "
    "weeks; a finish slows this and never stops it."
)
ROOM = (
    "This piece is built to let that happen, so what you see move has been given room to move, and comes "
    "back by itself."
)
TROUBLE = (
    "One thing won't have room enough in the air of your home: {says}, most likely in {season}. "
    "Call us before then, and leave it alone until we come."
)
STEADY = "Steady beats perfect: an hour or a day outside is nothing, weeks are what count."
CEILING = (
    "The marks above the rule are the most your house can bear when it is that cold outside, {examples} "
    "(double glazing; old or single bears less). Never humidify beyond them, nor above {highest} % in "
    "any weather, even if the piece would like it. Water on the window glass means turn it down."
)
TOO_DRY = (
    "In hard frost the house bears less than the piece would like: then let it be dry, keep it off the "
    "heat, and expect the gap."
)
COMES_BACK = "It comes back by itself: never glue, fill or plane a gap or a tight drawer in its season."

NOT_NORMAL = (
    "A crack in the wood or an opened joint (not a gap between parts). A gap two letters wider than {mark}. "
    "A door or drawer that sticks all year. Anything that rocks, smells musty or was wetted. "
    "Tell us when, and send a photo. Movement with the seasons is no fault; workmanship is ours to put "
    "right."
)
MOVING = (
    "Wrap it for the journey, unwrap it in the room, keep it off the heat for some weeks. Ask us before it "
    "goes to a much drier or damper place: it moves once, over months, and settles. Avoid garages, "
    "attics and cellars; if it must be, off the floor, under a breathable cover, never sealed plastic, "
    "and bring it back indoors in spring."
)
MEASURING = (
    "Cut the strip out. Hold its edge across the gap and slide it along until one bar carries the gap on "
    "exactly. Tell us the letter, the place and the day. A photo with a ruler beside the gap does too."
)

_FEEDING = (
    (("oil",), "Renew the oil when it looks dry, once a year or so, thinly, all faces alike."),
    (("wax",), "Wax again when it looks dull."),
    (("shellac",), "Shellac is marked by alcohol and hot cups."),
    (("lacquer", "varnish", "urethane", "epoxy"), "Its finish needs no feeding."),
)


def stand(display: Display) -> str:
    """Where to stand it."""
    off = "2 to 3 ft" if display.units == "inch" else "60 to 90 cm"
    return (
        f"{off} from radiators, stoves and fires; never over a floor register; out of the sun; a hand's "
        "breadth off an outside wall. Level, with all its feet carrying."
    )


def care(piece: Piece) -> str:
    """Cleaning and renewing, by the finishes on it."""
    told = ["Dust with a soft dry cloth, wipe spills at once, no silicone sprays."]
    finishes = {m.finish.face.lower() for m in piece.members.values() if m.finish.face != BARE}
    for names, advice in _FEEDING:
        # "oil-modified urethane varnish" is a varnish.
        if any(name in finish and "oil-modified" not in finish for finish in finishes for name in names) or (
            "varnish" in names and any("oil-modified" in finish for finish in finishes)
        ):
            told.append(advice)
    return " ".join(told)


def anchoring(display: Display) -> str:
    """Against tipping: 16 CFR 1261 makes ASTM F2057-23 the rule for clothing storage in the US."""
    tall = "27 in" if display.units == "inch" else "27 in (69 cm)"
    return (
        "Anchor tall furniture to a stud through a long-grain rail, with a strap or a slotted hole so "
        "that a solid back can move; never remove the anchor because of a gap. US rule for clothing "
        f"storage of {tall} and up: ASTM F2057-23, 16 CFR 1261; check the rules where you live."
    )


def chapters(piece: Piece, display: Display) -> list[tuple[str, str]]:
    """The short chapters in their order."""
    return [
        ("What is not", NOT_NORMAL.format(mark="its mark below")),
        ("Where to stand it", stand(display)),
        ("Care", care(piece)),
        ("Moving and storing", MOVING),
        ("So that it can't tip", anchoring(display)),
        ("Measuring a gap for us", MEASURING),
    ]
