"""One room, several climates: what a place's air is beside a radiator, in the sun, on a cold wall."""

from dataclasses import replace

from dash import Dash, html

from dashboard.figures.corners import Pin, corners_drawing
from dashboard.forms import fields as forms
from dashboard.forms.asking import asked_part, leads, with_usual
from dashboard.forms.declared import Asked, Form
from dashboard.pages.frame import Child, aside, drawn, num, part, prose, sheet, table
from dashboard.shell.view import Context, Route, View, address
from model.records.queries import overview as queries
from model.records.queries.overview import PieceNow, PlaceNow
from model.watch.questions import piece_wood
from model.wood.air.placement import Room, spots_in
from model.wood.errors import BadInput
from model.wood.material.cup import curvature_of_faces, sagitta_of_curvature
from model.wood.material.member import Member
from model.words import display as say

SPOTS = {
    "radiator": "beside a radiator",
    "sun": "on a top in the sun",
    "wall": "behind a case on an outside wall",
    "corner": "in a cold corner",
}
"""Each spot's temperature by its key in the address; one that is left out is as is usual."""
FORM = Form(
    "corners",
    "Work it out",
    (
        *(
            Asked(key, say.sentence(name).rstrip("."), "temperature", what=f"temperature {name}")
            for key, name in SPOTS.items()
        ),
        Asked(
            "room",
            "The room",
            "temperature",
            "{degrees}; as measured if left empty",
            what="temperature of the room",
        ),
        Asked("rh", "Its humidity", "number", "%", what="humidity of the room"),
        Asked("part", "A part that stands there", "choice"),
    ),
    is_first=True,
)
USUAL_SPOTS_C = {
    "beside a radiator": 32.0,
    "on a top in the sun": 45.0,
    "behind a case on an outside wall": 14.0,
    "in a cold corner": 10.0,
}
"""Temperatures in a heated room in winter, to start from (common practice, no source)."""
STAND = (
    "Two or three feet off radiators, stoves and registers, out of the sun, and a hand's breadth of air "
    "behind a case on an outside wall (common practice, no source)."
)


def layout(view: View, place_id: int) -> html.Main | None:
    """The page of a place's corners, at the temperatures its address holds."""
    with view.store.session() as session:
        found = queries.places(session, view.now, only=place_id)
        if not found:
            return None
        place = found[0]
        here = list(queries.pieces(session, view.now, at=place_id))
    back = html.A(place.name, href=address("place", place_id))
    try:
        temperature_c, rh_pct = air_of(place, view)
        spots = {
            name: forms.temperature_typed(view.query[key], view.units, f"temperature {name}")
            if view.query.get(key, "").strip()
            else USUAL_SPOTS_C[name]
            for key, name in SPOTS.items()
        }
        room = spots_in(temperature_c, rh_pct, spots)
    except BadInput as error:
        return sheet(
            "Where in the room should it stand?",
            forms.problem(error),
            form_part(here, view, error),
            dateline=back,
        )
    return page(place, room, here, view)


def air_of(place: PlaceNow, view: View) -> tuple[float, float]:
    """The room's air: as typed, else as it is there now."""
    typed = view.query
    if typed.get("room") or typed.get("rh"):
        return (
            forms.temperature_typed(typed.get("room"), view.units, "temperature of the room"),
            forms.number_typed(typed.get("rh"), "humidity of the room"),
        )
    if place.air is None:
        raise BadInput("", "the room's air", "must be typed in: none is known here yet", "nothing")
    return place.air.temperature_c, place.air.rh_pct


def page(place: PlaceNow, room: Room, here: list[PieceNow], view: View) -> html.Main:
    """Each spot on the rule and in a table, and what standing between two of them does to a part."""
    driest = min((room.room, *room.spots), key=lambda spot: spot.emc_pct)
    pins = [
        Pin(spot.name, spot.temperature_c, spot.rh_pct, spot is room.room)
        for spot in (room.room, *room.spots)
    ]
    told = (
        f"The water in the air is spread evenly: dew point {view.display.temperature(room.dew_point_c)} in "
        "every spot. Its relative humidity is not, because the spots are not alike warm."
    )
    return sheet(
        f"{driest.name[0].upper()}{driest.name[1:]} the air of {place.name} is at {say.rh(driest.rh_pct)}.",
        drawn(*(corners_drawing(pins, view.display, width) for width in (900, 360))),
        spots_table(room, view),
        html.P(STAND),
        form_part(here, view),
        cup_part(room, here, view),
        dateline=html.A(place.name, href=address("place", place.id)),
        lead=told,
    )


def spots_table(room: Room, view: View) -> html.Div:
    """The spots line by line."""
    rows = []
    for spot in (room.room, *room.spots):
        points = spot.emc_pct - room.room.emc_pct
        if spot.condenses:
            what = "water runs down it"
        elif spot.mould:
            what = "mould, if it lasts"
        elif spot is room.room:
            what = "where the sensor hangs"
        else:
            what = f"{say.points(points)} {'drier' if points < 0 else 'damper'}"
        air = (view.display.temperature(spot.temperature_c), say.rh(spot.rh_pct), say.mc(spot.emc_pct))
        rows.append((spot.name, *map(num, air), what))
    return table("Spots of the room", ("Spot", "There", "RH", "Wood settles at", "So"), rows)


# ---------------------------------------------------------------- cup


def cup_part(room: Room, here: list[PieceNow], view: View) -> Child:
    """What a part does for good whose back stands in one spot's air and its face in the room's."""
    members = members_of(here)
    if not members:
        return None
    wanted = view.query.get("part", "")
    key = wanted if wanted in members else next(iter(members))
    name, member = members[key]
    rows = []
    for spot in room.spots:
        bent = curvature_of_faces(room.room.emc_pct, spot.emc_pct, member.thickness_mm, member.movement)
        size = view.display.length(abs(sagitta_of_curvature(bent, member.width_mm)), "up", 64)
        faces = num(say.mc(room.room.emc_pct)), num(say.mc(spot.emc_pct))
        rows.append((spot.name, *faces, prose(f"{size}, hollow on the drier side")))
    return part(
        f"What {name} would do",
        aside(
            "If it stood free for weeks with one side in the room's air and the other in the spot's. A frame "
            "holds it flatter, and finish brings the two nearer: this is the most it can come to."
        ),
        table(f"What {name} would do", ("One side", "Room side", "That side", "Cups at most"), rows),
    )


def members_of(here: list[PieceNow]) -> dict[str, tuple[str, Member]]:
    """Every member of what stands in the room, by its id: its name and itself; the widest first."""
    found: dict[str, tuple[str, Member]] = {}
    for piece in here:
        wood = piece_wood.wood_piece(piece)
        for row in piece.members if wood is not None else ():
            assert wood is not None
            found[str(row.id)] = (f"the {say.said(row.name)} of {piece.name}", wood.members[row.name])
    return dict(sorted(found.items(), key=lambda item: -item[1][1].width_mm))


# ---------------------------------------------------------------- what is asked


def form_part(here: list[PieceNow], view: View, error: BadInput | None = None) -> html.Details:
    """The temperatures, to be typed in; those left empty are usual ones."""
    parts = [(key, name) for key, (name, _) in members_of(here).items()]
    form = with_usual(FORM, {key: USUAL_SPOTS_C[name] for key, name in SPOTS.items()}, view)
    if not parts:
        form = replace(form, fields=form.fields[:-1])
    return asked_part(
        "Temperatures, as measured or guessed", form, view, options={"part": parts}, error=error
    )


def register(app: Dash, context: Context) -> None:
    """What was typed becomes the page's address."""
    leads(app, context, FORM)


ROUTES = [Route("/place/<place_id>/corners", layout, live=False)]
