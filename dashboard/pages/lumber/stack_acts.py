"""What a maker does to a stack: records it, meters it, moves it, uses it up."""

from collections.abc import Mapping, Sequence
from typing import Any

from dash import Dash, html

from dashboard.forms.acts import Act, answers, doing, done
from dashboard.forms.declared import Asked, Form
from dashboard.pages.frame import empty
from dashboard.pages.pieces.piece_acts import MEASURED_BACK, moved, others_than, to_another_place
from dashboard.shell.view import Context, View, address
from model.records.acts import book, measured
from model.records.acts.lumber import lumber_from_document
from model.records.queries.overview import PlaceNow, StackNow
from model.records.schema.tables import Stack
from model.wood.material import metering
from model.wood.material.species import named_here
from model.words import display as say
from model.words.reasons import in_sentences

RETIRE = "stack-retire"
NAME = Asked("name", "Name", placeholder="Ash, spring batch")
MC = Asked(
    "mc", "Moisture content", "numbers", "%, one reading a board", "readings_pct",
    placeholder="8.1, 8.4, 9",
)  # fmt: skip
READING = (
    Asked(
        "depth",
        "Depth of the reading",
        "choice",
        options=(
            ("", "not said"),
            (metering.PINS_IN, "pins a quarter of the thickness in"),
            (metering.SURFACE, "the surface only"),
        ),
        folded=True,
    ),
    Asked(
        "wood_temperature",
        "Wood temperature",
        "temperature",
        hint="{degrees}, if you left its correction to us",
        stored="wood_c",
        needed=False,
        folded=True,
    ),
    Asked(
        "set_for_wood",
        "Meter set for this wood",
        "flag",
        hint="if not, its readings are good to ± 2 points, not 1",
        options=(("", "not said"), ("yes", "yes, or corrected already"), ("no", "no")),
        folded=True,
    ),
    Asked(
        "set_for",
        "If not, set for which wood",
        hint="many pin meters have one scale, for Douglas-fir",
        list="species-names",
        folded=True,
    ),
    Asked(
        "booklet",
        "Or its booklet's correction",
        "number",
        hint="points, as 0.7 or -0.5",
        stored="booklet_pct",
        unit="points",
        needed=False,
        folded=True,
    ),
)
"""How a meter was held to the boards."""
HOW = tuple((how, how) for how in metering.HOW)
LUMBER = (
    Asked("species", "Wood", hint="trade name", list="species-names"),
    Asked("thickness", "Thickness", "thickness", stored="thickness_mm", placeholder="4/4"),
    MC,
    Asked("how", "Metered with", "choice", options=(("", "not said"), *HOW)),
    Asked(
        "stickered",
        "Piled",
        "flag",
        options=(("yes", "stickered"), ("no", "dead-piled")),
        usual=True,
    ),
    *READING,
    Asked(
        "sealed_ends",
        "Ends",
        "flag",
        options=(("no", "open"), ("yes", "sealed")),
        usual=False,
        folded=True,
    ),
    Asked(
        "prongs",
        "Prong test",
        "choice",
        options=(
            ("", "not done"),
            ("straight", "prongs straight"),
            ("in", "prongs pinch in"),
            ("out", "prongs bend out"),
        ),
        folded=True,
    ),
    Asked("rest_until", "Resawn or rough-milled: rests until", "date", folded=True),
)
"""What a stack's document holds of a form."""
MEANT_FOR = Asked("destination", "Meant for", "place", needed=False)
NEW = Form(
    "new-stack",
    "Record the stack",
    (
        NAME,
        *LUMBER,
        Asked("place", "Where it stands", "place"),
        MEANT_FOR,
        Asked("since", "Metered on", "day"),
    ),
    is_first=True,
)
METER = Form(
    "meter",
    "Record the reading",
    (
        MC,
        Asked("how", "How", "choice", options=HOW),
        Asked("at", "On", "day"),
        *READING,
    ),
    whose="stack",
)
MOVE = to_another_place("stack", "Move the stack")


def new_form(places: tuple[PlaceNow, ...], view: View) -> html.Div:
    """The record of a new stack."""
    if not places:
        return empty(
            "First a place: ", html.A("accept a sensor", href="/sensors"), " and say where it hangs."
        )
    options = {"place": homes(places)[1:], "destination": homes(places)}
    return NEW.laid_out(view, options=options, zone=places[0].zone)


def homes(places: Sequence[PlaceNow]) -> list[tuple[str, str]]:
    """What a stack may be meant for."""
    return [("", "no home yet"), *((str(place.id), place.name) for place in places)]


def meter_form(stack: StackNow, zone: str, view: View) -> html.Div:
    """A metered reading."""
    return METER.laid_out(view, stack.id, zone=zone)


def move_form(stack: StackNow, places: tuple[PlaceNow, ...], zone: str, view: View) -> html.Div | html.P:
    """Where it goes next."""
    others = others_than(stack.place, places)
    if not others:
        return html.P("There is no other place.", className="soft")
    more = [
        html.Button("It is used up", id={"act": RETIRE, "stack": stack.id}),
        html.A("Correct the record", href=address("stack", stack.id, "edit"), className="button"),
    ]
    return MOVE.laid_out(view, stack.id, options={"place": others}, zone=zone, more=more)


def register(app: Dash, context: Context) -> None:
    """The answers of this page's forms."""
    NEW.answers(app, context, lambda _none, typed, view: add(typed, view))
    for form, act in ((METER, meter), (MOVE, move)):
        form.answers(app, context, act)
    answers(app, context, RETIRE, retire, which="stack")


def lumber_of(values: Mapping[str, Any], view: View) -> dict[str, Any]:
    """The keys of a stack's document read from a form, its wood as the book's region names it."""
    found = {one.into: values[one.into] for one in LUMBER if values[one.into] not in (None, "")}
    return found | {"species": named_here(str(found["species"]), view.context.region)}


def add(typed: dict[str, Any], view: View) -> Act:
    """Record a stack as typed."""
    with doing(view, "entry") as (session, revision):
        values = NEW.read(typed, view, session)
        stack = book.add_stack(
            session,
            values["name"],
            lumber_of(values, view),
            values["place"],
            values["since"],
            destination=values["destination"],
        )
        said = f"{stack.name} is recorded; its moisture is worked out within a minute."
        back = f"{stack.name} is out of the book again."
        return done(revision, said, back, address("stack", stack.id), "/stock")


def meter(stack_id: int, typed: dict[str, Any], view: View) -> Act:
    """Record a metered reading of a stack as typed."""
    with doing(view, "measurement") as (session, revision):
        stack = session.get_one(Stack, stack_id)
        values = METER.read(typed, view, zone=zone_of_stack(stack))
        how, at = values["how"], max(values["at"], stack.start_at)
        held = {one.into: values[one.into] for one in READING}
        lumber = lumber_from_document(stack.document, f"stack {stack.name}")
        found = lumber.metered_by(tuple(values["readings_pct"]), how=how, **held)
        told = in_sentences(found.told(), view.display)
        measured.record_measurement(session, stack, "mc_pct", found.mc_pct, at, found.doubt_pct, how=how)
        said = f"{say.mc_with_doubt(found.mc_pct, found.doubt_pct)} by {how} is recorded. {told}"
        return done(revision, said.strip(), MEASURED_BACK)


def move(stack_id: int, typed: dict[str, Any], view: View) -> Act:
    """Move a stack as typed."""
    with doing(view, "move") as (session, revision):
        stack = session.get_one(Stack, stack_id)
        return moved(session, revision, stack, MOVE.read(typed, view, session))


def retire(stack_id: int, _typed: dict[str, Any], view: View) -> Act:
    """A stack is used up."""
    with doing(view, "change") as (session, revision):
        stack = session.get_one(Stack, stack_id)
        book.retire(session, stack, view.now)
        said = f"{stack.name} is used up and no longer followed."
        return done(revision, said, f"{stack.name} is followed again.", "/stock")


def zone_of_stack(stack: Stack) -> str:
    last = max(stack.stays, key=lambda stay: stay.since_at, default=None)
    return last.place.zone if last else "UTC"
