"""One room, several climates: what a place's air is beside a radiator, in the sun, on a cold wall."""

from collections.abc import Mapping
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, html, no_update

from dashboard.figures.corners import Pin, corners_drawing
from dashboard.forms import fields as forms
from dashboard.forms.fields import choice_field, text_field
from dashboard.pages.frame import ADDRESS, drawn, num, part, prose, scrolling, sheet, under
from dashboard.say import piece_view as woodwork
from dashboard.shell.view import Context, Route, View, address, view_of
from model.records.queries import overview as queries
from model.records.queries.overview import PieceNow, PlaceNow
from model.wood.air.placement import USUAL_SPOTS_C, Room, Spot, spots_in, standing_cup
from model.wood.errors import BadInput
from model.wood.material.member import Member
from model.words import display as say

GO, FIELD = "corners-go", "corners"
KEYS = {
    "radiator": "beside a radiator",
    "sun": "on a top in the sun",
    "wall": "behind a case on an outside wall",
    "corner": "in a cold corner",
}
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
        here = [
            piece
            for piece in queries.pieces(session, view.now)
            if piece.place is not None and piece.place.id == place_id
        ]
    back = html.A(place.name, href=address("place", place_id))
    try:
        temperature_c, rh_pct = air_of(place, view)
        spots = {
            name: forms.temperature_typed(view.query[key], view.units, f"temperature {name}")
            if view.query.get(key, "").strip()
            else USUAL_SPOTS_C[name]
            for key, name in KEYS.items()
        }
        room = spots_in(temperature_c, rh_pct, spots)
    except BadInput as error:
        return sheet(
            "Where in the room should it stand?", forms.problem(error), form_part(here, view), dateline=back
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
    pins = [_pin(spot, spot is room.room) for spot in (room.room, *room.spots)]
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


def _pin(spot: Spot, is_room: bool) -> Pin:
    return Pin(spot.name, spot.temperature_c, spot.rh_pct, is_room)


def spots_table(room: Room, view: View) -> html.Div:
    """The spots line by line."""
    rows = []
    for spot in (room.room, *room.spots):
        if spot.condenses:
            what = "water runs down it"
        elif spot.mould:
            what = "mould, if it lasts"
        elif spot is room.room:
            what = "where the sensor hangs"
        else:
            points = spot.emc_pct - room.room.emc_pct
            what = f"{say.points(points)} {'drier' if points < 0 else 'damper'}"
        rows.append(
            html.Tr(
                [
                    html.Th(spot.name, scope="row"),
                    html.Td(num(view.display.temperature(spot.temperature_c)), **under("There")),
                    html.Td(num(say.rh(spot.rh_pct)), **under("RH")),
                    html.Td(num(say.mc(spot.emc_pct)), **under("Wood settles at")),
                    html.Td(what, **under("So")),
                ]
            )
        )
    head = html.Tr([html.Th(text, scope="col") for text in ("Spot", "There", "RH", "Wood settles at", "So")])
    table = html.Table([html.Thead(head), html.Tbody(rows)], className="limits")
    return scrolling(table, "Spots of the room")


# ---------------------------------------------------------------- cup


def cup_part(room: Room, here: list[PieceNow], view: View) -> html.Section | None:
    """What a part does for good whose back stands in one spot's air and its face in the room's."""
    members = members_of(here)
    if not members:
        return None
    wanted = view.query.get("part", "")
    key = wanted if wanted in members else next(iter(members))
    name, member = members[key]
    rows = []
    for spot in room.spots:
        cup = standing_cup(room.room, spot, member.width_mm, member.thickness_mm, member.movement)
        size = view.display.length(abs(cup.sagitta_mm), "up", 64)
        rows.append(
            html.Tr(
                [
                    html.Th(spot.name, scope="row"),
                    html.Td(num(say.mc(cup.mc_face_pct)), **under("Room side")),
                    html.Td(num(say.mc(cup.mc_back_pct)), **under("That side")),
                    html.Td(prose(f"{size}, hollow on the drier side"), **under("Cups at most")),
                ]
            )
        )
    head = html.Tr(
        [html.Th(text, scope="col") for text in ("One side", "Room side", "That side", "Cups at most")]
    )
    return part(
        f"What {name} would do",
        html.P(
            "If it stood free for weeks with one side in the room's air and the other in the spot's. A frame "
            "holds it flatter, and finish brings the two nearer: this is the most it can come to.",
            className="small soft",
        ),
        scrolling(
            html.Table([html.Thead(head), html.Tbody(rows)], className="limits"), f"What {name} would do"
        ),
    )


def members_of(here: list[PieceNow]) -> dict[str, tuple[str, Member]]:
    """Every member of what stands in the room, by its id: its name and itself; the widest first."""
    found: dict[str, tuple[str, Member]] = {}
    for piece in here:
        wood = woodwork.wood_piece(piece)
        for row in piece.members if wood is not None else ():
            assert wood is not None
            found[str(row.id)] = (f"the {say.said(row.name)} of {piece.name}", wood.members[row.name])
    return dict(sorted(found.items(), key=lambda item: -item[1][1].width_mm))


# ---------------------------------------------------------------- what is asked


def form_part(here: list[PieceNow], view: View) -> html.Details:
    """The temperatures, to be typed in; those left empty are usual ones."""
    unit = view.display.temperature_unit

    def line(label: str, key: str, hint: str) -> html.Div:
        return text_field(label, _id(key), view.query.get(key, ""), hint=hint)

    members = members_of(here)
    fields = [
        line(f"{name[0].upper()}{name[1:]}", key, f"{unit}; usual {_usual(name, view)}")
        for key, name in KEYS.items()
    ]
    fields += [
        line("The room", "room", f"{unit}; as measured if left empty"),
        line("Its humidity", "rh", "%"),
    ]
    if members:
        options = [(key, name) for key, (name, _) in members.items()]
        fields.append(
            choice_field(
                "A part that stands there", _id("part"), options, view.query.get("part", options[0][0])
            )
        )
    return html.Details(
        [
            html.Summary("Temperatures, as measured or guessed"),
            html.Div(fields, className="fields"),
            html.Button("Work it out", id=GO, className="first"),
        ],
        open=True,
        className="no-print",
    )


def _usual(name: str, view: View) -> str:
    return view.display.temperature(USUAL_SPOTS_C[name])


def _id(key: str) -> dict[str, str]:
    return {"form": FIELD, "key": key}


def with_units(typed: Mapping[str, Any], units: str) -> dict[str, str]:
    """What was typed as an address holds it: every temperature with its unit."""
    found = {}
    for key, value in typed.items():
        text = str(value or "").strip()
        if not text:
            continue
        if key in (*KEYS, "room") and not any(letter.isalpha() for letter in text):
            text += "F" if units == "inch" else "C"
        found[key] = text
    return found


def register(app: Dash, context: Context) -> None:
    """What was typed becomes the page's address."""

    @app.callback(
        Output(ADDRESS, "href", allow_duplicate=True),
        Input(GO, "n_clicks"),
        State({"form": FIELD, "key": ALL}, "value"),
        State(ADDRESS, "pathname"),
        prevent_initial_call=True,
    )
    def work_out(clicks: int | None, _values: list[Any], path: str | None) -> Any:
        if not clicks or not path:
            return no_update
        typed = {item["id"]["key"]: item.get("value") for item in ctx.states_list[0]}
        return address(*path.strip("/").split("/"), **with_units(typed, view_of(context).units))


ROUTES = [Route("/place/<place_id>/corners", layout, live=False)]
