"""What a drawn case is asked for, what was typed, and the case made of it: its piece, how each fit stands."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from dashboard.forms import drafts
from dashboard.forms.declared import Asked, Form, Options
from dashboard.pages.plans.plan_asked import USUAL, home_of
from dashboard.shell.view import View
from model.records.acts.shop_figures import figures_of
from model.records.queries import overview as queries
from model.wood.design.at_ends import at_ends
from model.wood.design.cut_list import CutRow, cut_list
from model.wood.design.gap_table import shop_mc_pct
from model.wood.design.part_request import PartWanted
from model.wood.design.patterns import Case, CasePattern, CaseSize
from model.wood.design.patterns.request import (
    CaseRequest,
    can_be_glued,
    expanded,
    request_from_document,
)
from model.wood.design.patterns.shop_figures import ShopFigures
from model.wood.doubt import ASSUMED_DOUBT_PCT
from model.wood.errors import BadInput
from model.wood.fits import Fit
from model.wood.material.finish import finish_names
from model.wood.material.instruments import METER_UNCERTAINTY_PCT
from model.wood.material.member import MOST_DOUBT_PCT
from model.wood.material.ring_angle import RING_ANGLE_OF_CUT
from model.wood.piece import Piece, piece_from_document
from model.words import display as say
from model.words import times
from model.words.limits import ends_said
from model.words.reasons import in_sentences

FORM = "case"
INSTEAD = {
    "cross-grain-fixing": "Glue the front {held} only, and slot what lies behind.",
    "top-on-fasteners": "Its frame stands still and it moves: slot the screws.",
    "panel-in-groove": "Let it float in its grooves.",
    "breadboard-end": "Glue its middle only.",
    "wide-tenon": "Split the tenon, and leave one dry.",
}
"""What to do in place of glueing across the grain, by kind of fit (common practice, no source)."""

CaseTyped = Mapping[str, Any]
USUAL_WOOD = "black walnut"
USUAL_INSIDE = "yellow-poplar"
CUTS: Options = tuple((cut, cut) for cut in RING_ANGLE_OF_CUT)
FINISHES: Options = tuple((name, "bare" if name == "none" else name) for name in finish_names())
WOOD = (
    Asked("stack", "Cut from", "choice", "a stack brings its wood"),
    Asked("species", "Wood", list="species-names"),
    Asked("cut", "Cut", "choice", options=CUTS),
    Asked("inside_species", "Wood inside", hint="backs and drawer bottoms", list="species-names"),
    Asked("inside_cut", "Cut inside", "choice", options=CUTS),
    Asked(
        "mc_pct",
        "Moisture today",
        "number",
        "%, metered; left out, as is usual in this month",
        what="moisture today",
        needed=False,
    ),
    Asked("face", "Finish, both faces", "choice", options=FINISHES),
    Asked("coats", "Coats", "number", unit="coats", needed=False),
)
"""One wood, moisture and finish for all of it."""
GOES = (
    Asked("home", "Its home", "choice"),
    Asked("place", "It stands now at", "place", what="where it stands"),
    Asked("since", "Since", "day"),
    Asked("client", "Client", list="client-names"),
)
PART_OWN = {
    "species": Asked("", "Wood", list="species-names"),
    "cut": Asked("", "Cut", "choice", options=(("", "as the rest"), *CUTS)),
    "width": Asked("", "Measured width", "length", needed=False),
    "gap": Asked("", "Gap as built", "length", needed=False),
}
"""What a single part, or the fit of that name, may have of its own."""
HELD = Asked("", "Held", "choice", options=(("free", "free to move"), ("glued", "glued across")))


def case_form(pattern: CasePattern, view: View) -> Form:
    """What a pattern asks for: its name, sizes and choices, its wood, where it goes."""
    return Form(FORM, "Record it", (*sizes_asked(pattern, view), *WOOD, *GOES), whose="pattern")


def sizes_asked(pattern: CasePattern, view: View) -> tuple[Asked, ...]:
    """The name, sizes and choices of a pattern."""
    shop = ShopFigures("inch" if view.units == "inch" else "metric")
    choices = [
        Asked(choice.key, _label(choice.meaning), "choice", options=[(one, one) for one in choice.options])
        for choice in pattern.choices
    ]
    name = Asked("name", "Name", placeholder=f"Valley {pattern.key}")
    return (name, *(_size(size, shop, view) for size in pattern.sizes), *choices)


def _size(size: CaseSize, shop: ShopFigures, view: View) -> Asked:
    usual, least, most = size.bounds(shop)
    if size.is_count:
        counts = [(str(n), str(n)) for n in range(int(least), int(most) + 1)]
        return Asked(size.key, _label(size.meaning), "choice", options=counts, usual=str(int(usual)))
    bare = view.display.bare_length
    unit = "in" if view.units == "inch" else "mm"
    hint = f"{unit}; usual {bare(usual)}, {bare(least)} to {bare(most)}"
    return Asked(size.key, _label(size.meaning), "length", hint, what=size.meaning, needed=False)


def part_asked(piece: Piece, name: str) -> Form:
    """What a single part may have of its own, and the gap of the fit of that name."""
    fit = piece.fits.get(name)
    keys = [f"part.{name}.{what}" for what in ("species", "cut", "width")]
    if fit is not None and fit.gap_attribute == "gap_mm":
        keys.append(f"fit.{name}.gap")
    return Form(FORM, "", tuple(map(_own_asked, keys)))


def held_asked(fit: str) -> Form:
    """Whether a fit was glued across after all."""
    return Form(FORM, "", (replace(HELD, key=f"held.{fit}"),))


def _own_asked(key: str) -> Asked:
    name, _, what = key.rpartition(".")
    said = f"{what} of {say.said(name.partition('.')[2])}"
    return replace(PART_OWN[what], key=key, what=said)


def _label(meaning: str) -> str:
    return say.sentence(meaning).rstrip(".")


@dataclass(frozen=True)
class FitThere:
    """A fit of the case, as it will stand at the dry and at the wet end of its home's year.

    `instead` is what to do where it would come to harm; empty of one that won't.
    """

    name: str
    called: str
    parts: tuple[str, ...]
    verdict: str
    said: str
    instead: str
    least_mm: float
    can_be_glued: bool
    is_glued: bool


@dataclass(frozen=True)
class Made:
    """A case as typed: made, judged at both ends of its home's year."""

    request: CaseRequest
    piece: Piece
    case: Case
    fits: tuple[FitThere, ...]
    home_says: str
    notes: tuple[str, ...]

    @property
    def home_mc_pct(self) -> tuple[float, float]:
        return self.request.home_mc_pct

    @property
    def harmed(self) -> tuple[FitThere, ...]:
        """The fits that would come to harm there, the worst first."""
        return tuple(fit for fit in self.fits if fit.verdict == "past")

    @cached_property
    def cuts(self) -> tuple[CutRow, ...]:
        return cut_list(self.piece, self.home_mc_pct, self.case.shop.steps)


def usual_case(pattern: CasePattern, view: View) -> Case:
    """The case as it comes, for its picture."""
    wood = {"species": USUAL_WOOD, "cut": "flat-sawn", "mc_pct": 8.0}
    shop = "inch" if view.units == "inch" else "metric"
    return request_from_document({"pattern": pattern.key, "shop": shop, **wood}).case()


def make_case(pattern: CasePattern, typed: CaseTyped, view: View) -> Made:
    """The case of what was typed; a field left empty is as usual.

    Raises
    ------
    BadInput
        For what is typed wrong, all of it by field, or a case that can't be built so.
    """
    notes: list[str] = []
    asked = Form(FORM, "", (*sizes_asked(pattern, view), *WOOD)).read(typed, view)
    table = _table(pattern, asked, typed, view, notes)
    request = request_from_document(table)
    home, home_says = _home(typed, request, view)
    table["home_mc_pct"] = list(home)
    client = str(typed.get("client") or "").strip()
    head = {"name": asked["name"] or pattern.key, **({"client": client} if client else {})}
    own = _own_tables(typed, view)
    piece = piece_from_document(expanded({"piece": head, "case": table, **own}))
    assert piece.case is not None
    request = request_from_document(piece.case)
    made = request.case(own["part"])
    judged = [_there(fit, request, made, view) for fit in piece.fits.values()]
    order = {"past": 0, "near": 1, "clear": 2}
    judged.sort(key=lambda one: (order[one.verdict], one.least_mm))
    grain = made.grain()
    if grain is not None:
        notes.append(in_sentences(grain.reasons, view.display))
    return Made(request, piece, made, tuple(judged), home_says, tuple(notes))


def _own_tables(typed: CaseTyped, view: View) -> dict[str, dict[str, dict[str, Any]]]:
    """What was typed of single parts and fits: tables to lay over the pattern's."""
    keys = [
        key
        for key, text in typed.items()
        if key.startswith(("part.", "fit."))
        and key.rpartition(".")[2] in PART_OWN
        and str(text or "").strip()
    ]
    found: dict[str, dict[str, dict[str, Any]]] = {"part": {}, "fit": {}}
    for key, value in Form(FORM, "", tuple(map(_own_asked, keys))).read(typed, view).items():
        owner, _, what = key.rpartition(".")
        kind, _, name = owner.partition(".")
        found[kind].setdefault(name, {})[what] = value
    return found


def _table(
    pattern: CasePattern, asked: Mapping[str, Any], typed: CaseTyped, view: View, notes: list[str]
) -> dict[str, Any]:
    """The [case] table of what was asked."""
    shop = "inch" if view.units == "inch" else "metric"
    table: dict[str, Any] = {"pattern": pattern.key, "shop": shop}
    with view.store.session() as session:
        own = figures_of(session)
    if own:
        table["figures"] = own
    for size in pattern.sizes:
        if asked[size.key] not in (None, ""):
            table[size.key] = drafts.whole(asked[size.key]) if size.is_count else asked[size.key]
    table |= {choice.key: asked[choice.key] for choice in pattern.choices if asked[choice.key]}
    stack = _stack(asked["stack"], view)
    table["species"] = wood_typed(typed, stack) or USUAL_WOOD
    if not wood_typed(typed, stack):
        notes.append(f"Drawn in {USUAL_WOOD} until you say the wood.")
    table["cut"] = asked["cut"] or "flat-sawn"
    table["inside_wood"] = {
        "species": asked["inside_species"] or USUAL_INSIDE,
        "cut": asked["inside_cut"] or "flat-sawn",
    }
    table |= _moisture(asked["mc_pct"], stack, view, notes)
    if asked["face"] not in ("", "none"):
        table["finish"] = {"face": asked["face"], "coats": drafts.whole(f"{asked['coats'] or 2:g}")}
    glued = [
        key.removeprefix("held.")
        for key, value in typed.items()
        if key.startswith("held.") and value == "glued"
    ]
    if glued:
        names = {*request_from_document(table).case().fits}
        table["glued"] = [name for name in glued if name in names]
    return table


def _moisture(
    metered_pct: float | None, stack: Mapping[str, Any] | None, view: View, notes: list[str]
) -> dict[str, Any]:
    """Today's moisture and how far it may be out: metered, that of the stack, or what is usual this month."""
    if metered_pct is not None:
        return {"mc_pct": metered_pct, "mc_doubt_pct": METER_UNCERTAINTY_PCT}
    if stack is not None:
        if stack["mc_doubt_pct"] > METER_UNCERTAINTY_PCT:
            known = say.mc_with_doubt(stack["mc_pct"], stack["mc_doubt_pct"])
            notes.append(
                f"The stack is known to {known}: slots and grooves have room for that. Meter it today to "
                "need less."
            )
        return {key: stack[key] for key in ("mc_pct", "mc_doubt_pct")}
    month = view.now.astimezone(times.zone_of(view.context.zone)).month
    assumed_pct = shop_mc_pct()[month - 1]
    notes.append(
        f"Nobody metered this wood: {say.mc_with_doubt(assumed_pct, ASSUMED_DOUBT_PCT)} is assumed, as is "
        "usual in a heated shop this month. Meter it before you cut."
    )
    return {"mc_pct": assumed_pct, "mc_basis": "assumed", "mc_doubt_pct": ASSUMED_DOUBT_PCT}


def wood_typed(typed: CaseTyped, stack: Mapping[str, Any] | None) -> str:
    """The wood as typed, else that of the stack it is cut from; nothing where neither says."""
    return str(typed.get("species") or "").strip() or str((stack or {}).get("species", ""))


def _stack(number: str, view: View) -> dict[str, Any] | None:
    if not number.isdigit():
        return None
    with view.store.session() as session:
        found = queries.stacks(session, view.now, only=int(number))
    if not found:
        raise BadInput("", "the stack it is cut from", "must be one in the book", number)
    stack = found[0]
    mc_pct, doubt_pct = stack.mc_known
    return {
        "species": str(stack.document.get("species", "")),
        "mc_pct": round(mc_pct, 1),
        "mc_doubt_pct": min(round(doubt_pct, 1), MOST_DOUBT_PCT),
    }


def _home(typed: CaseTyped, request: CaseRequest, view: View) -> tuple[tuple[float, float], str]:
    """Dry and wet end of where it goes, and a sentence on what that is known from."""
    panel_mm = request.case().shop["panel_thick"]
    wood = PartWanted(
        "side",
        300.0,
        600.0,
        panel_mm,
        request.show.species,
        request.show.ring_angle_deg,
        request.mc_pct,
        request.finish,
    )
    with view.store.session() as session:
        home, says = home_of({"home": str(typed.get("home") or USUAL)}, wood, session, view)
    low, high = (round(mc_pct, 1) for mc_pct in home.mc_range_pct)
    return (low, high), f"{say.sentence(says)}"


def _there(fit: Fit, request: CaseRequest, made: Case, view: View) -> FitThere:
    """How a fit stands at the ends of its home's year: what it has least of, and at which end."""
    worst = at_ends(fit, request.home_mc_pct)
    count = f" × {fit.alike}" if fit.alike > 1 else ""
    own = made.parts.get(fit.name)
    called = f"{_label(own.role if own is not None and own.role else say.said(fit.name))}{count}"
    is_glued = fit.name in request.glued
    instead = _instead(fit, is_glued, made, view) if worst.verdict == "past" else ""
    return FitThere(
        fit.name,
        called,
        tuple(member.name for member in fit.members),
        worst.verdict,
        " ".join(filter(None, (f"{ends_said(worst, view.display).rstrip('.')}.", instead))),
        instead,
        worst.margin_mm,
        fit.name in made.fits and can_be_glued(made.fits[fit.name]),
        is_glued,
    )


def _instead(fit: Fit, is_glued: bool, made: Case, view: View) -> str:
    """What to do in place of what would harm: let it move, or build it as the rule has it."""
    ruled = made.fits.get(fit.name)
    if ruled is None:
        return ""
    length = view.display.length
    if is_glued:
        return INSTEAD[ruled.kind].format(held=length(made.shop["held_in_front"]))
    gap_mm = ruled.fields.get("gap")
    if gap_mm is not None and fit.document().get("gap") != gap_mm:
        return f"Leave {length(gap_mm, 'up', 64)}."
    for member in fit.members:
        width_mm = made.parts[member.name].width_mm if member.name in made.parts else member.width_mm
        if abs(member.width_mm - width_mm) > 1e-6:
            return f"Make {member.called} {length(width_mm, 'nearest', 64)} wide."
    return ""
