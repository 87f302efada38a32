"""Readings from a file: what its columns are taken for, and what would become of it, before it is kept."""

from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, html

from dashboard.forms import fields as forms
from dashboard.forms.acts import Act, answers
from dashboard.forms.fields import Upload, choice_field, field, text_field, zone_names
from dashboard.pages.frame import Child, listed, part, sheet, table
from dashboard.pages.sensors.accepting import TEMPERATURE_UNITS
from dashboard.say import sentences
from dashboard.shell.ports import Imported
from dashboard.shell.uploads import MOST_BYTES, UPLOADS, uploads
from dashboard.shell.view import Context, Route, View, address, view_of
from model.records.schema.tables import Hanging, Place, Sensor
from model.wood.errors import BadInput
from model.words import display as say
from model.words import times

FORM = "readings file"
UNITS = [("", "as the file says, else °C"), *TEMPERATURE_UNITS]
DATES = [("", "as the file says"), ("day", "the day first"), ("month", "the month first")]
FILE = {"form": FORM, "key": "file"}
SHOWN_REJECTED = 5


def place_layout(view: View, place_id: int) -> html.Main | None:
    """The page for a place; none when there is no such place."""
    with view.store.session() as session:
        place = session.get(Place, place_id)
        if place is None:
            return None
        hung = [one.sensor.name for one in place.hangings if one.until_at is None]
        name, zone = place.name, place.zone
    whose = text_field(
        "Whose readings they are",
        _id("whose"),
        hung[0] if len(hung) == 1 else "" if hung else f"{name} logger",
        hint="a sensor, or a new name; not asked where the file names its sensors",
        list="sensor-names",
    )
    names = html.Datalist([html.Option(value=one) for one in hung], id="sensor-names")
    return _page(f"Readings from a file, for {name}", f"place {place_id}", name, zone, [whose, names])


def sensor_layout(view: View, sensor_id: int) -> html.Main | None:
    """The page for a sensor; none when there is no such sensor."""
    with view.store.session() as session:
        sensor = session.get(Sensor, sensor_id)
        if sensor is None:
            return None
        last: Hanging | None = max(sensor.hangings, key=lambda one: one.since_at, default=None)
        zone = last.place.zone if last is not None else sensor.zone
        name = sensor.name
    return _page(f"Readings from a file, of {name}", f"sensor {sensor_id}", name, zone, [])


def _id(key: str) -> dict[str, str]:
    return {"form": FORM, "key": key}


def _page(title: str, owner: str, name: str, zone: str, whose: list[Any]) -> html.Main:
    kind, number = owner.split()
    return sheet(
        title,
        field(
            "The file",
            Upload(FILE, UPLOADS, ".csv,.txt,.tsv,.gz", MOST_BYTES),
            hint=f"lines of columns (CSV), plain or gzipped, at most {MOST_BYTES // 1_048_576} MB",
        ),
        html.Div(
            [
                *whose,
                text_field(
                    "Times are of the zone", _id("zone"), zone, "where they have no offset", list="zones"
                ),
                choice_field("Temperatures are in", _id("unit"), UNITS),
                choice_field("Dates have", _id("dates"), DATES),
            ],
            className="fields",
        ),
        zone_names(),
        html.Div(id={"shown": FORM, "of": owner}),
        dateline=html.A(name, href=address(kind, number)),
        lead="Nothing is kept before you have seen how it is read.",
    )


# ---------------------------------------------------------------- acts


def register(app: Dash, context: Context) -> None:
    """Taking a file, showing how it is read, and keeping it."""
    uploads.register(app.server)

    @app.callback(
        Output({"shown": FORM, "of": ALL}, "children"),
        Input({"form": FORM, "key": ALL}, "value"),
        Input(FILE, "problem"),
        State({"shown": FORM, "of": ALL}, "id"),
        prevent_initial_call=True,
    )
    def show(_values: list[Any], problem: str | None, _ids: list[Any]) -> list[Any]:
        typed = {item["id"]["key"]: item.get("value") for item in ctx.inputs_list[0]}
        owner = ctx.states_list[0][0]["id"]["of"]
        if problem:
            return [forms.problem(problem)]
        if not typed.get("file"):
            return [None]
        view = view_of(context)
        try:
            return [looked(read_in(owner, typed, view, keep=False), owner, _zone(typed), view)]
        except BadInput as error:
            return [forms.problem(error)]

    answers(app, context, FORM, keep, which="of")


def read_in(owner: str, typed: dict[str, Any], view: View, keep: bool) -> Imported:
    """What becomes of the file as typed, for a place or a sensor."""
    if view.context.sensors is None:
        raise BadInput("", "files", "can't be read by this dashboard", "nothing")
    kind, number = owner.split()
    path = uploads.path(str(typed.get("file") or ""))
    place: str | None = None
    with view.store.session() as session:
        if kind == "place":
            place = session.get_one(Place, int(number)).name
            whose = str(typed.get("whose") or "").strip() or None
        else:
            whose = session.get_one(Sensor, int(number)).name
    dates = {"day": True, "month": False}.get(str(typed.get("dates") or ""))
    return view.context.sensors.read_file(
        path,
        keep,
        sensor=whose,
        place=place,
        zone=_zone(typed),
        temperature_unit=str(typed.get("unit") or "") or None,
        day_first=dates,
    )


def _zone(typed: dict[str, Any]) -> str:
    return str(typed.get("zone") or "UTC").strip()


def looked(found: Imported, owner: str, zone: str, view: View) -> html.Section:
    """How a file is read: its columns, its first rows as understood, and what would become of it."""
    rows = [
        (
            row.sensor,
            times.moment(row.observed_at, zone, view.units, view.now),
            view.display.temperature(row.temperature_c) if row.temperature_c is not None else "",
            say.rh(row.rh_pct) if row.rh_pct is not None else "",
        )
        for row in found.first
    ]
    heads = ("sensor", "time", "temperature", "humidity")
    left_out = [f"line {line}: {reason}" for line, reason in found.rejected[:SHOWN_REJECTED]]
    lines: list[Child] = [
        html.Ul([html.Li(say.sentence(reason)) for reason in (*found.guess.reasons, *found.notes)]),
        table("First lines", heads, rows) if rows else None,
        html.P(f"{found.accepted:,} new {'reading' if found.accepted == 1 else 'readings'}{_other(found)}."),
        listed([html.Li(line) for line in left_out], className="small"),
    ]
    for name, (place, since_at) in found.hung.items():
        new = "a new sensor, " if name in found.created else ""
        since = times.day(since_at, zone, view.units, view.now)
        lines.append(html.P(f"{name}, {new}then hangs at {place} since {since} at the latest."))
    if found.accepted:
        lines.append(html.Button("Keep these readings", id={"act": FORM, "of": owner}, className="first"))
    return part("How it is read", *lines)


def _other(found: Imported) -> str:
    known = f"; {found.duplicate:,} known already" if found.duplicate else ""
    left = f"; {sentences.counted(found.rejected_count, 'line')} left out" if found.rejected_count else ""
    return f"{known}{left}"


def keep(owner: str, typed: dict[str, Any], view: View) -> Act:
    """Keep a file's readings, as they were shown."""
    found = read_in(owner, typed, view, keep=True)
    kept = "reading is" if found.accepted == 1 else "readings are"
    said = [f"{found.accepted:,} {kept} kept{_other(found)}."]
    for name, (place, since_at) in found.hung.items():
        since = times.day(since_at, _zone(typed), view.units, view.now)
        said.append(f"{name} hangs at {place} since {since}.")
    kind, number = owner.split()
    return Act(" ".join(said), address(kind, number))


ROUTES = [
    Route("/place/<place_id>/file", place_layout, live=False),
    Route("/sensor/<sensor_id>/file", sensor_layout, live=False),
]
