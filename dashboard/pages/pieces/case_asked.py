"""What was typed of a case, and the case made of it: its piece, its drawing, how each fit will stand."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from dashboard.forms import drafts
from dashboard.forms import fields as forms
from dashboard.pages.plans.plan_asked import USUAL, home_of
from dashboard.shell.view import View
from model.records.acts.shop_figures import figures_of
from model.records.queries import overview as queries
from model.wood.design.at_ends import at_ends
from model.wood.design.cut_list import CutRow, cut_list
from model.wood.design.gap_table import shop_mc_pct
from model.wood.design.part_request import PartWanted
from model.wood.design.patterns import Case, CasePattern
from model.wood.design.patterns.request import (
    CaseRequest,
    can_be_glued,
    expanded,
    request_from_document,
)
from model.wood.errors import BadInput
from model.wood.fits import Fit
from model.wood.piece import Piece, piece_from_document
from model.words import display as say
from model.words.limits import ends_said

INSTEAD = {
    "cross-grain-fixing": "Glue the front 3 in only, and slot what lies behind.",
    "top-on-fasteners": "Its frame stands still and it moves: slot the screws.",
    "panel-in-groove": "Let it float in its grooves.",
    "breadboard-end": "Glue its middle only.",
    "wide-tenon": "Split the tenon, and leave one dry.",
}
"""What to do in place of glueing across the grain, by kind of fit (common practice, no source)."""

CaseTyped = Mapping[str, str]
USUAL_WOOD = "black walnut"
USUAL_INSIDE = "yellow-poplar"


@dataclass(frozen=True)
class FitThere:
    """A fit of the case, as it will stand at the dry and at the wet end of its home's year."""

    name: str
    called: str
    parts: tuple[str, ...]
    verdict: str
    said: str
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
        For the first field that is wrong, or a case that can't be built so.
    """
    notes: list[str] = []
    table = _table(pattern, typed, view, notes)
    request = request_from_document(table)
    home, home_says = _home(typed, request, view)
    table["home_mc_pct"] = list(home)
    name = typed.get("name", "").strip() or pattern.key
    client = typed.get("client", "").strip()
    head = {"name": name, **({"client": client} if client else {})}
    piece = piece_from_document(expanded({"piece": head, "case": table, **_own_tables(typed, view)}))
    assert piece.case is not None
    request = request_from_document(piece.case)
    made = request.case(_own_tables(typed, view)["part"])
    judged = [_there(fit, request, made, view) for fit in piece.fits.values()]
    order = {"past": 0, "near": 1, "clear": 2}
    judged.sort(key=lambda one: (order[one.verdict], one.least_mm))
    return Made(request, piece, made, tuple(judged), home_says, tuple(notes))


def _own_tables(typed: CaseTyped, view: View) -> dict[str, dict[str, dict[str, Any]]]:
    """What was typed of single parts and fits: tables to lay over the pattern's."""
    found: dict[str, dict[str, dict[str, Any]]] = {"part": {}, "fit": {}}
    for key, text in typed.items():
        kind, _, rest = key.partition(".")
        name, _, what = rest.rpartition(".")
        if kind not in found or not name or not text.strip():
            continue
        value: Any = text.strip()
        if what in ("width", "gap"):
            value = forms.length_typed(text, view.units, f"{what} of {say.said(name)}")
        found[kind].setdefault(name, {})[what] = value
    return found


def _table(pattern: CasePattern, typed: CaseTyped, view: View, notes: list[str]) -> dict[str, Any]:
    """The [case] table of what was typed."""
    shop = "inch" if view.units == "inch" else "metric"
    table: dict[str, Any] = {"pattern": pattern.key, "shop": shop}
    with view.store.session() as session:
        own = figures_of(session)
    if own:
        table["figures"] = own
    for size in pattern.sizes:
        text = typed.get(size.key, "").strip()
        if text:
            table[size.key] = (
                drafts.whole(text) if size.is_count else forms.length_typed(text, view.units, size.meaning)
            )
    for choice in pattern.choices:
        if typed.get(choice.key):
            table[choice.key] = typed[choice.key]
    stack = _stack(typed, view)
    table["species"] = wood_typed(typed, stack) or USUAL_WOOD
    if not wood_typed(typed, stack):
        notes.append(f"Drawn in {USUAL_WOOD} until you say the wood.")
    table["cut"] = typed.get("cut") or "flat-sawn"
    inside = typed.get("inside_species", "").strip() or USUAL_INSIDE
    table["inside_wood"] = {"species": inside, "cut": typed.get("inside_cut") or "flat-sawn"}
    if typed.get("mc_pct", "").strip():
        table["mc_pct"] = forms.number_typed(typed["mc_pct"], "moisture today")
    elif stack is not None:
        table["mc_pct"] = stack["mc_pct"]
    else:
        month = view.now.astimezone(say.zone_of(view.context.zone)).month
        table |= {"mc_pct": shop_mc_pct()[month - 1], "mc_basis": "assumed"}
        notes.append(
            f"Nobody metered this wood: {say.mc(table['mc_pct'])} is assumed, as is usual in a heated shop "
            "this month. Meter it before you cut."
        )
    face = typed.get("face") or "none"
    if face != "none":
        table["finish"] = {"face": face, "coats": drafts.whole(typed.get("coats") or "2")}
    glued = [
        key.removeprefix("held.")
        for key, value in typed.items()
        if key.startswith("held.") and value == "glued"
    ]
    if glued:
        names = {*request_from_document(table).case().fits}
        table["glued"] = [name for name in glued if name in names]
    return table


def wood_typed(typed: CaseTyped, stack: Mapping[str, Any] | None) -> str:
    """The wood as typed, else that of the stack it is cut from; nothing where neither says."""
    return typed.get("species", "").strip() or str((stack or {}).get("species", ""))


def _stack(typed: CaseTyped, view: View) -> dict[str, Any] | None:
    number = typed.get("stack", "")
    if not number.isdigit():
        return None
    with view.store.session() as session:
        found = queries.stacks(session, view.now, only=int(number))
    if not found:
        raise BadInput("", "the stack it is cut from", "must be one in the book", number)
    stack = found[0]
    mc_pct = round(stack.moisture.mc_mean_pct if stack.moisture else stack.start_mc_pct, 1)
    return {"species": str(stack.document.get("species", "")), "mc_pct": mc_pct}


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
        home, says = home_of({"home": typed.get("home") or USUAL}, wood, session, view)
    low, high = (round(mc_pct, 1) for mc_pct in home.mc_range_pct)
    return (low, high), f"{say.sentence(says)}"


def _there(fit: Fit, request: CaseRequest, made: Case, view: View) -> FitThere:
    """How a fit stands at the ends of its home's year: what it has least of, and at which end."""
    worst = at_ends(fit, request.home_mc_pct)
    count = f" × {fit.alike}" if fit.alike > 1 else ""
    called = f"{say.sentence(say.said(fit.name)).rstrip('.')}{count}"
    said = ends_said(worst, view.display)
    made_fit = made.fits.get(fit.name)
    if made_fit is not None and fit.name in request.glued:
        said = f"{said.rstrip('.')}. {INSTEAD[made_fit.kind]}"
    return FitThere(
        fit.name,
        called,
        tuple(member.name for member in fit.members),
        worst.verdict,
        said,
        worst.margin_mm,
        made_fit is not None and can_be_glued(made_fit),
        fit.name in request.glued,
    )
