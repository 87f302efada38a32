"""A place's record: its name, what kind of place it is, its zone, and how much warmer the wood is there."""

from collections.abc import Mapping
from typing import Any

from dash import Dash, html
from sqlalchemy import select

from dashboard.forms.acts import Act, doing, done
from dashboard.forms.declared import Asked, Form
from dashboard.pages.frame import sheet
from dashboard.shell.view import Context, Route, View, address
from model.records.acts import places
from model.records.acts.clients import client_named
from model.records.queries.clients import client_names
from model.records.schema.tables import Place
from model.wood.errors import BadInput

NEW = 0
IRON = (("no", "no"), ("yes", "yes: warn when it may sweat and rust"))
FORM = Form(
    "place",
    "Correct the record",
    (
        Asked("name", "Name"),
        Asked(
            "kind",
            "It is",
            "choice",
            options=(("shop", "the shop"), ("storage", "a storage room"), ("home", "a client's home")),
            usual="home",
        ),
        Asked("zone", "Time zone", hint="as Europe/Vienna", list="zones"),
        Asked(
            "latitude",
            "Latitude",
            "number",
            hint="degrees, south negative; for its seasons",
            stored="latitude_deg",
            unit="°",
            needed=False,
        ),
        Asked(
            "offset",
            "Wood warmer by",
            "difference",
            hint="{degrees} than the sensor; negative on a cold wall",
            stored="wood_offset_c",
            what="wood warmer than the sensor by",
            usual=0.0,
        ),
        Asked("iron", "Bare cast iron stands there", "flag", stored="has_iron", options=IRON, usual=False),
        Asked("client", "Client", hint="whose home it is", list="client-names"),
        Asked("note", "Note", className="wide"),
    ),
    whose="place",
    is_first=True,
)


def new_layout(view: View) -> html.Main:
    """Where a new place is recorded."""
    with view.store.session() as session:
        names = client_names(session)
        first = session.scalars(select(Place.zone).order_by(Place.id)).first()
    zone = {"zone": first or view.context.zone}
    form = FORM.laid_out(view, NEW, zone, names=names, button="Record the place")
    return sheet("Record a place", form, dateline=html.A("Places", href="/places"))


def layout(view: View, place_id: int) -> html.Main | None:
    """Where a place's record is corrected."""
    with view.store.session() as session:
        place = session.get(Place, place_id)
        if place is None:
            return None
        record = {one.into: getattr(place, one.into, None) for one in FORM.fields} | (place.climate or {})
        record["client"] = place.client.name if place.client else ""
        names = client_names(session)
    return sheet(
        f"Correct {record['name']}",
        FORM.laid_out(view, place_id, record, names=names),
        dateline=html.A(record["name"], href=address("place", place_id)),
    )


def register(app: Dash, context: Context) -> None:
    """The form's answer."""
    FORM.answers(app, context, save)


def save(place_id: int, typed: dict[str, Any], view: View) -> Act:
    """Record or correct a place as typed."""
    values = FORM.read(typed, view)
    latitude_deg = values.pop("latitude_deg")
    with doing(view, "entry" if place_id == NEW else "correction") as (session, revision):
        values["client"] = client_named(session, values["client"])
        if place_id == NEW:
            place = places.add_place(session, climate=_climate(None, latitude_deg), **values)
            said, back = f"{place.name} is recorded.", f"{place.name} is out of the book again."
            return done(revision, said, back, address("place", place.id), "/places")
        place = session.get_one(Place, place_id)
        back = f"{place.name} is as it was recorded before."
        places.change_place(session, place, climate=_climate(place.climate, latitude_deg), **values)
        return done(revision, f"{place.name} is corrected.", back, address("place", place_id))


def _climate(before: Mapping[str, Any] | None, latitude_deg: float | None) -> dict[str, Any] | None:
    climate = {key: value for key, value in (before or {}).items() if key != "latitude_deg"}
    if latitude_deg is not None:
        if not -90.0 <= latitude_deg <= 90.0:
            raise BadInput("", "latitude", "must lie in -90 to 90 degrees", latitude_deg)
        climate["latitude_deg"] = latitude_deg
    return climate or None


ROUTES = [
    Route("/places/new", new_layout, live=False),
    Route("/place/<place_id>/edit", layout, live=False),
]
