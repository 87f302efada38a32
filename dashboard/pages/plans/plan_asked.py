"""What a plan is asked for, as its address holds it: the part, its wood, and the home it is for.

Everything stands in the query, lengths with their unit, so that an address means the same to whoever it is
sent to.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy.orm import Session

from dashboard.forms import asking
from dashboard.forms import fields as forms
from dashboard.forms.declared import Asked, Form
from dashboard.shell.view import View
from model.answers.annual_range import home_of_part
from model.records.queries import overview as queries
from model.records.queries.overview import StackNow
from model.records.schema.tables import Place
from model.wood.design.construction import Comparison, HomeRange, PartWanted, compare
from model.wood.design.part_request import ROLES
from model.wood.design.setting_out import HOME_MC_PCT
from model.wood.errors import BadInput
from model.wood.material.finish import finish_names, permeance_of
from model.wood.material.member import MOST_DOUBT_PCT, Finish
from model.wood.material.ring_angle import RING_ANGLE_OF_CUT, ring_angle_of_cut
from model.wood.material.species import find_species
from model.words.display import said

FILMS = tuple((name, "bare" if name == "none" else name) for name in finish_names())
ROLE_WORDS = {
    "side": "side of a case",
    "door": "door",
    "top": "top",
    "back": "back",
    "bottom": "drawer bottom",
}
USUAL_MM = {"panel": 9.525, "stile": 57.15, "board": 152.4}
FORM = Form(
    "plan",
    "Compare",
    (
        Asked("role", "Part", "choice", options=tuple((role, ROLE_WORDS[role]) for role in ROLES)),
        Asked("width", "Width across the grain", "length"),
        Asked("length", "Length along the grain", "length"),
        Asked("thickness", "Thickness", "length"),
        Asked(
            "stack",
            "Cut from",
            "choice",
            "a stack brings its wood and its moisture",
            what="the stack it is cut from",
        ),
        Asked("species", "Wood", list="species-names"),
        Asked("cut", "Cut", "choice", options=tuple((cut, cut) for cut in RING_ANGLE_OF_CUT)),
        Asked(
            "mc", "Moisture of the stock today", "number", "%, metered", what="moisture content of the stock"
        ),
        Asked("home", "Home", "choice"),
        Asked("low", "Driest humidity there", "number", "%, for a home without a sensor"),
        Asked("high", "Dampest humidity there", "number", "%, for a home without a sensor"),
        Asked("face", "Finish, both faces", "choice", options=FILMS, what="finish"),
        Asked("coats", "Coats", "number"),
        Asked("panel", "Thickness of a panel, if framed", "length", what="thickness of a panel"),
        Asked("stile", "Width of a stile, if framed", "length", what="width of a stile"),
        Asked("board", "Boards at hand are wide", "length", what="width of the boards"),
    ),
    is_first=True,
)
USUAL, GIVEN = "usual", "given"
KINDS = ("slab", "framed", "sheet")


@dataclass(frozen=True)
class Plan:
    """A part compared for a home, and where the home's range comes from.

    Attributes
    ----------
    comparison : Comparison
    says : str
        What the home's range rests on.
    chosen : str
        The choice the address names, else the one advised.
    """

    comparison: Comparison
    says: str
    chosen: str


def asked_of(query: Mapping[str, str]) -> dict[str, str]:
    """What an address asks of a plan; empty fields are left out."""
    return asking.asked_of(FORM, query)


def plan_of(asked: Mapping[str, str], view: View, chosen: str = "") -> Plan:
    """The comparison an address asks for.

    Raises
    ------
    BadInput
        For the first field that is missing or wrong.
    """
    with view.store.session() as session:
        stack = stack_of(asked, session, view)
        part = part_of(asked, stack, view)
        home, says = home_of(asked, part, session, view)
    comparison = compare(part, home, view.display.steps)
    return Plan(comparison, says, chosen if chosen in KINDS else comparison.advised)


def stack_of(asked: Mapping[str, str], session: Session, view: View) -> StackNow | None:
    """The stack the part is cut from, where the address names one."""
    number = asked.get("stack", "")
    if not number.isdigit():
        return None
    found = queries.stacks(session, view.now, only=int(number))
    if not found:
        raise BadInput("", "the stack it is cut from", "must be one in the book", number)
    return found[0]


def part_of(asked: Mapping[str, str], stack: StackNow | None, view: View) -> PartWanted:
    """The part an address asks for; what it leaves out is the stack's, else what is usual."""
    role = asked.get("role", "door")
    if role not in ROLES:
        raise BadInput("", "part", f"must be one of {', '.join(ROLES)}", role)
    species = asked.get("species") or (str(stack.document.get("species", "")) if stack else "")
    if not species:
        raise BadInput("", "wood", "must be given", "nothing")
    doubt_pct: float | None = None
    if asked.get("mc"):
        mc_pct = forms.number_typed(asked["mc"], "moisture content of the stock")
    elif stack is not None:
        mc_pct, doubt_pct = (round(pct, 1) for pct in stack.mc_known)
    else:
        raise BadInput("", "moisture content of the stock", "must be given", "nothing")

    def length(key: str, what: str) -> float:
        return forms.length_typed(asked.get(key), view.units, what)

    more = {
        f"{key}_mm": length(name, what)
        for name, key, what in (
            ("panel", "panel_thickness", "thickness of a panel"),
            ("stile", "stile", "width of a stile"),
            ("board", "board_width", "width of the boards"),
        )
        if asked.get(name)
    }
    return PartWanted(
        role,
        length("width", "width across the grain"),
        length("length", "length along the grain"),
        length("thickness", "thickness"),
        find_species(species, what="wood", region=view.context.region),
        ring_angle_of_cut(asked.get("cut", next(iter(RING_ANGLE_OF_CUT))), what="cut"),
        mc_pct,
        _finish(asked),
        mc_doubt_pct=None if doubt_pct is None else min(doubt_pct, MOST_DOUBT_PCT),
        **more,
    )


def _finish(asked: Mapping[str, str]) -> Finish:
    face = asked.get("face", "none")
    if face == "none":
        return Finish()
    coats = asked.get("coats", "2")
    if not coats.isdigit():
        raise BadInput("", "coats", "must be a whole number", coats)
    permeance_of(face, int(coats))  # refuses what is no finish
    return Finish(face, int(coats), face, int(coats))


def home_of(
    asked: Mapping[str, str], part: PartWanted, session: Session, view: View
) -> tuple[HomeRange, str]:
    """The range the home brings the part to, and what that is known from."""
    wanted = asked.get("home", USUAL)
    if wanted == GIVEN:
        low, high = (
            forms.number_typed(asked.get(key), f"{name} humidity there")
            for key, name in (("low", "driest"), ("high", "dampest"))
        )
        if not 0.0 < low < high <= 95.0:
            raise BadInput("", "dampest humidity there", "must be over the driest, and at most 95 %", high)
        exact = HomeRange.of_humidity(low, high)
        home = HomeRange(round(exact.mc_low_pct, 1), round(exact.mc_high_pct, 1))
        return home, f"{low:g} to {high:g} % RH as given, held long enough"
    place = session.get(Place, int(wanted)) if wanted.isdigit() else None
    if place is None:
        low, high = HOME_MC_PCT
        return HomeRange(low, high), f"what is usual in heated homes, {low:g} to {high:g} %"
    return home_of_part(session, part, place.id, place.name, view.now)


def part_says(part: PartWanted, view: View) -> str:
    """The part in words: `A door, 18 × 24 in, of black walnut, flat-sawn, at 8.1 %`."""
    cut = next((name for name, deg in RING_ANGLE_OF_CUT.items() if deg == part.ring_angle_deg), "")
    size = f"{view.display.bare_length(part.width_mm)} × {view.display.length(part.length_mm)}"
    return f"A {said(part.role)}, {size}, of {part.species.name}, {cut}, stock at {part.mc_pct:.1f} %"
