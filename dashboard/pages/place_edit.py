"""A place's record: its name, what kind of place it is, its zone, and how much warmer the wood is there."""

from typing import Any

from dash import Dash, html
from sqlalchemy import select

from dashboard import forms
from dashboard.acts import Act, answers
from dashboard.forms import choice_field, text_field, zone_names
from dashboard.pages.frame import sheet
from dashboard.view import Context, Route, View, address
from model.records import places
from model.records.tables import Place, Preference
from model.wood.errors import BadInput

FORM, NEW = "place", 0
KINDS = [("shop", "the shop"), ("storage", "a storage room"), ("home", "a client's home")]
IRON = [("no", "no"), ("yes", "yes: warn when it may sweat and rust")]
ASKED = ("name", "kind", "zone", "wood_offset_c", "has_iron", "note")


def new_layout(view: View) -> html.Main:
    """Where a new place is recorded."""
    with view.store.session() as session:
        first = session.scalars(select(Place.zone).order_by(Place.id)).first()
    row = {
        "name": "",
        "kind": "home",
        "zone": first or view.context.zone,
        "wood_offset_c": 0.0,
        "has_iron": False,
        "note": "",
        "climate": None,
    }
    return sheet("Record a place", form_of(NEW, row, view), dateline=html.A("Places", href="/places"))


def layout(view: View, place_id: int) -> html.Main | None:
    """Where a place's record is corrected."""
    with view.store.session() as session:
        place = session.get(Place, place_id)
        if place is None:
            return None
        row = _row(place)
    return sheet(
        f"Correct {row['name']}",
        form_of(place_id, row, view),
        dateline=html.A(row["name"], href=address("place", place_id)),
    )


def _row(place: Place) -> dict[str, Any]:
    return {key: getattr(place, key) for key in (*ASKED, "climate")}


def form_of(place_id: int, row: dict[str, Any], view: View) -> html.Div:
    """The form."""

    def id(key: str) -> dict[str, str]:
        return {"form": FORM, "key": key}

    latitude = (row["climate"] or {}).get("latitude_deg")
    offset_c = float(row["wood_offset_c"])
    offset = offset_c * 1.8 if view.units == "inch" else offset_c
    return html.Div(
        [
            html.Div(
                [
                    text_field("Name", id("name"), row["name"]),
                    choice_field("It is", id("kind"), KINDS, row["kind"]),
                    text_field("Time zone", id("zone"), row["zone"], hint="as Europe/Vienna", list="zones"),
                    text_field(
                        "Latitude",
                        id("latitude"),
                        "" if latitude is None else f"{latitude:g}",
                        hint="degrees, south negative; for its seasons",
                    ),
                    text_field(
                        "Wood warmer by",
                        id("offset"),
                        f"{offset:g}",
                        hint=f"{view.display.temperature_unit} than the sensor; negative on a cold wall",
                    ),
                    choice_field(
                        "Bare cast iron stands there", id("iron"), IRON, "yes" if row["has_iron"] else "no"
                    ),
                    text_field("Note", id("note"), row["note"], className="wide"),
                ],
                className="fields",
            ),
            zone_names(),
            html.Button(
                "Record the place" if place_id == NEW else "Correct the record",
                id={"act": FORM, "place": place_id},
                className="first",
            ),
        ]
    )


def register(app: Dash, context: Context) -> None:
    """The form's answer."""

    answers(app, context, FORM, save, which="place")


def save(place_id: int, typed: dict[str, Any], view: View) -> Act:
    """Record or correct a place as typed."""
    offset = forms.number_typed(typed.get("offset") or "0", "wood warmer than the sensor by", "")
    values: dict[str, Any] = {
        "name": str(typed.get("name") or "").strip(),
        "kind": str(typed.get("kind") or ""),
        "zone": str(typed.get("zone") or "").strip(),
        "wood_offset_c": offset / 1.8 if view.units == "inch" else offset,
        "has_iron": typed.get("iron") == "yes",
        "note": str(typed.get("note") or "").strip(),
    }
    with view.store.session() as session:
        if place_id == NEW:
            place = places.add_place(session, climate=_climate(None, typed), **values)
            return Act(f"{place.name} is recorded.", address("place", place.id), ("place", place.id))
        place = session.get_one(Place, place_id)
        before = _row(place)
        places.change_place(session, place, climate=_climate(place.climate, typed), **values)
        session.merge(Preference(name=f"place {place_id} before", value=before))
        return Act(f"{place.name} is corrected.", address("place", place_id), ("place correction", place_id))


def _climate(before: dict[str, Any] | None, typed: dict[str, Any]) -> dict[str, Any] | None:
    climate = dict(before or {})
    text = str(typed.get("latitude") or "").strip()
    climate.pop("latitude_deg", None)
    if text:
        latitude_deg = forms.number_typed(text, "latitude", "°")
        if not -90.0 <= latitude_deg <= 90.0:
            raise BadInput("", "latitude", "must lie in -90 to 90 degrees", text)
        climate["latitude_deg"] = latitude_deg
    return climate or None


def _undo(view: View, place_id: int) -> str:
    with view.store.session() as session:
        place = session.get_one(Place, place_id)
        kept = session.get(Preference, f"place {place_id} before")
        if kept is None:
            raise BadInput("", "correction", "can't be taken back any more", place.name)
        places.change_place(session, place, **kept.value)
        session.delete(kept)
        return f"{place.name} is as it was recorded before."


def _undo_new(view: View, place_id: int) -> Act:
    with view.store.session() as session:
        place = session.get_one(Place, place_id)
        name = place.name
        places.remove_place(session, place)
        return Act(f"{name} is out of the book again.", "/places")


UNDO = {"place": _undo_new, "place correction": _undo}
ROUTES = [
    Route("/places/new", new_layout, live=False),
    Route("/place/<place_id>/edit", layout, live=False),
]
