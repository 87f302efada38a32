"""A place's record: its name, what kind of place it is, its zone, and how much warmer the wood is there."""

from collections.abc import Mapping
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from dashboard.forms.correcting import RecordPage
from dashboard.forms.declared import Asked, Form
from dashboard.shell.view import View
from model.records.acts import places
from model.records.acts.clients import client_named
from model.records.queries.clients import client_names
from model.records.schema.tables import Place
from model.wood.climate.indoor import HEATING
from model.wood.errors import BadInput

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
        Asked(
            "heating",
            "Heated",
            "choice",
            options=(("", "as is usual for it"), *((way, way) for way in HEATING)),
            hint="usual: a home steadily, a shop by day, a store not at all",
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


def _new(session: Session, view: View) -> dict[str, Any]:
    first = session.scalars(select(Place.zone).order_by(Place.id)).first()
    return {"zone": first or view.context.zone}


def _record(place: Place) -> dict[str, Any]:
    own = {one.into: getattr(place, one.into, None) for one in FORM.fields}
    return {**own, **(place.climate or {}), "client": place.client.name if place.client else ""}


def _add(session: Session, values: dict[str, Any], _view: View) -> Place:
    return places.add_place(session, **_values(session, values, None))


def _change(session: Session, place: Place, values: dict[str, Any], _view: View) -> None:
    places.change_place(session, place, **_values(session, values, place.climate))


def _values(session: Session, values: dict[str, Any], before: Mapping[str, Any] | None) -> dict[str, Any]:
    """What was typed by the columns of a place: its latitude and heating are a part of its climate."""
    about_air = {key: values.pop(key) for key in ("latitude_deg", "heating")}
    client = client_named(session, values["client"])
    return {**values, "climate": _climate(before, **about_air), "client": client}


def _climate(
    before: Mapping[str, Any] | None, latitude_deg: float | None, heating: str
) -> dict[str, Any] | None:
    climate = {key: value for key, value in (before or {}).items() if key not in ("latitude_deg", "heating")}
    if latitude_deg is not None:
        if not -90.0 <= latitude_deg <= 90.0:
            raise BadInput("", "latitude", "must lie in -90 to 90 degrees", latitude_deg)
        climate["latitude_deg"] = latitude_deg
    if heating:
        climate["heating"] = heating
    return climate or None


EDIT = RecordPage(
    Place,
    FORM,
    _record,
    _change,
    _add,
    _new,
    more=lambda session, _view: {"names": client_names(session)},
)
register = EDIT.register
ROUTES = EDIT.routes
