"""Record: a piece written down as built, with its margins while typing; and the correction of one."""

from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update

from dashboard import display as say
from dashboard import drafts, forms
from dashboard.acts import NOTHING, OUTPUTS, Act, answered, refused
from dashboard.drafts import Checked, Draft
from dashboard.figures.section import section_drawing
from dashboard.forms import Line, choice_field, field, text_field
from dashboard.pages.frame import drawn, empty, num, part, sheet, under
from dashboard.pages.piece import comfortable
from dashboard.pages.stock import species_names
from dashboard.sentences import what_is_seen
from dashboard.view import Context, Route, View, address, view_of
from model.records import book, queries
from model.records.queries import PlaceNow
from model.records.tables import Piece, Preference
from model.wood.design import design_range, settled
from model.wood.errors import BadInput
from model.wood.finish import finish_names
from model.wood.fits import Field, Fit, kinds
from model.wood.piece import document_of, read_piece, write_piece
from model.wood.ring_angle import RING_ANGLE_OF_CUT

FORM, LIVE, DRAFT, WHICH, GO = "record-form", "record-live", "record-draft", "record-which", "record-go"
PASTE, READ = "record-paste", "record-read"


def layout(view: View) -> html.Main:
    """The page on which a new piece is recorded. What was typed is kept until it is."""
    with view.store.session() as session:
        places = queries.places(session, view.now)
    if not places:
        return sheet(
            "First a place for it.",
            empty(
                "A piece stands somewhere, and its place has a sensor: ",
                html.A("accept one", href="/sensors"),
                " and name where it hangs.",
            ),
        )
    return form_page("Record a piece", None, view)


def edit_layout(view: View, piece_id: int) -> html.Main | None:
    """The page on which a piece's record is corrected."""
    with view.store.session() as session:
        row = session.get(Piece, piece_id)
        if row is None:
            return None
        name = row.name
        try:
            document = document_of(book.load_piece(session, row))
        except BadInput as error:
            return sheet(name, forms.problem(error))
    return form_page(f"Correct {name}", piece_id, view, drafts.draft_of(document, view.units))


def form_page(title: str, piece_id: int | None, view: View, draft: Draft | None = None) -> html.Main:
    """The form: of a new piece, of one to correct, or filled with a draft that its address holds."""
    return sheet(
        title,
        html.Div(
            [
                html.Div(id=FORM),
                html.Div([html.Div(id=LIVE, role="status"), _buttons(piece_id)], className="beside"),
            ],
            className="columns record",
        ),
        html.Details(
            [
                html.Summary("From a piece file"),
                html.P("Paste a piece file (TOML) to fill the form with it.", className="small"),
                Line(PASTE, rows=12, placeholder='[piece]\nname = "Hall bench"\n…'),
                html.P(html.Button("Read the file", id=READ)),
                html.Div(id="record-read-says"),
            ],
            className="part",
        ),
        species_names(),
        dcc.Store(id=WHICH, data=piece_id),
        # A new piece is kept through a reload and a look at another page; what came filled in is not.
        dcc.Store(id=DRAFT, storage_type="session" if draft is None else "memory", data=draft),
        lead="What stands in the book is what was built: width across the grain, and the moisture then."
        if piece_id is None
        else "Everything since it was built is worked out again from the corrected record.",
    )


def _buttons(piece_id: int | None) -> html.P:
    label = "Record the piece" if piece_id is None else "Correct the record"
    return html.P(html.Button(label, id=GO, className="first"))


# ---------------------------------------------------------------- the form


def form_of(draft: Draft, places: tuple[PlaceNow, ...], view: View, is_new: bool) -> list[Any]:
    """The fields of a draft."""
    members = [str(row.get("name") or "") for row in draft["members"]]
    return [
        part("The piece", html.Div(_piece_fields(draft["piece"], places, view, is_new), className="fields")),
        part(
            "Its members",
            html.P(
                "The parts whose width across the grain matters: panels, fronts, tops.",
                className="small soft",
            ),
            *[_member_fields(index, row, view) for index, row in enumerate(draft["members"])],
            html.Button("Another member", id={"shape": "add member", "row": 0}),
        ),
        part(
            "Its fits",
            html.P("Where their movement has to go somewhere.", className="small soft"),
            *[_fit_fields(index, row, members, view) for index, row in enumerate(draft["fits"])],
            html.Div(
                [
                    choice_field(
                        "A fit of this kind",
                        {"pick": "kind"},
                        [(word, kind.title) for word, kind in kinds().items()],
                        "panel-in-groove",
                    ),
                    html.Div(html.Button("Add the fit", id={"shape": "add fit", "row": 0}), className="low"),
                ],
                className="fields",
            ),
        ),
    ]


def _id(section: str, row: int, key: str, chosen: bool = False) -> dict[str, Any]:
    return {"chosen" if chosen else "typed": section, "row": row, "key": key}


def _piece_fields(
    row: dict[str, Any], places: tuple[PlaceNow, ...], view: View, is_new: bool
) -> list[html.Div]:
    found = [
        text_field("Name", _id("piece", 0, "name"), row.get("name", ""), placeholder="Hall bench"),
        text_field("Client", _id("piece", 0, "client"), row.get("client", "")),
    ]
    if is_new and places:
        named = [(str(place.id), place.name) for place in places]
        place = row.get("place") or named[0][0]
        zone = next((place_now.zone for place_now in places if str(place_now.id) == place), places[0].zone)
        found.append(choice_field("It stands at", _id("piece", 0, "place"), named, place))
        since = row.get("since") or forms.day_value(view.now, zone)
        found.append(field("Since", Line(_id("piece", 0, "since"), since, kind="date")))
    found.append(text_field("Note", _id("piece", 0, "note"), row.get("note", ""), className="wide"))
    return found


def _member_fields(index: int, row: dict[str, Any], view: View) -> html.Fieldset:
    unit = "in, as 14-1/2" if view.units == "inch" else "mm"
    cuts = [(cut, cut) for cut in RING_ANGLE_OF_CUT]
    if "ring_angle_deg" in row:
        cuts.insert(0, ("", f"rings at {row['ring_angle_deg']:g}°"))
    films = [(name, "bare" if name == "none" else name) for name in finish_names()]
    if row.get("face") and row["face"] not in dict(films):
        films.append((row["face"], row["face"]))
    fields = [
        text_field("Member", _id("members", index, "name"), row.get("name", "")),
        text_field("Wood", _id("members", index, "species"), row.get("species", ""), list="species-names"),
        choice_field("Cut", _id("members", index, "cut"), cuts, row.get("cut") or cuts[0][0]),
        text_field("Width across the grain", _id("members", index, "width"), row.get("width", ""), hint=unit),
        text_field(
            "at a moisture content of", _id("members", index, "mc_pct"), row.get("mc_pct", ""), hint="%"
        ),
        text_field("Thickness", _id("members", index, "thickness"), row.get("thickness", ""), hint=unit),
        choice_field("Finish of the face", _id("members", index, "face"), films, row.get("face") or "none"),
        text_field("Coats", _id("members", index, "coats"), row.get("coats", "")),
        choice_field(
            "Finish of the back",
            _id("members", index, "back"),
            [("", "as the face"), *films],
            row.get("back", ""),
        ),
        text_field("Coats on the back", _id("members", index, "back_coats"), row.get("back_coats", "")),
    ]
    return html.Fieldset(
        [
            html.Legend(f"Member {index + 1}"),
            html.Div(fields, className="fields"),
            html.Button(
                "Leave this member out", id={"shape": "drop member", "row": index}, className="plain"
            ),
        ]
    )


def _fit_fields(index: int, row: dict[str, Any], members: list[str], view: View) -> html.Fieldset:
    kind = kinds()[row["kind"]]
    asked, more = drafts.shown_fields(row)
    open_already = any(str(row.get(own.key) or "") for own in more)
    return html.Fieldset(
        [
            html.Legend(kind.title),
            html.P(kind.what, className="small soft"),
            html.Div(
                [
                    text_field("Name of the fit", _id("fits", index, "name"), row.get("name", "")),
                    *[_fit_field(index, own, row, members, view) for own in asked],
                ],
                className="fields",
            ),
            html.Details(
                [
                    html.Summary("What may be left out"),
                    html.Div(
                        [_fit_field(index, own, row, members, view) for own in more], className="fields"
                    ),
                ],
                open=open_already,
            ),
            html.Button("Leave this fit out", id={"shape": "drop fit", "row": index}, className="plain"),
        ]
    )


def _fit_field(index: int, own: Field, row: dict[str, Any], members: list[str], view: View) -> html.Div:
    value = row.get(own.key)
    text = "" if value is None else str(value)
    label = say.sentence(say.said(own.key)).rstrip(".")
    if own.unit == "choice":
        options = [(word, word.replace("-", " ")) for word in own.choices]
        return choice_field(
            label, _id("fits", index, own.key, True), options, text or options[0][0], own.meaning
        )
    if own.unit == "flag":
        options = [("yes", "yes"), ("no", "no")]
        return choice_field(label, _id("fits", index, own.key, True), options, text or "no", own.meaning)
    if own.unit == "member":
        options = [(name, name) for name in members]
        if not own.required:
            options.insert(0, ("", "none"))
        return choice_field(label, _id("fits", index, own.key), options, text, own.meaning)
    hint = own.meaning
    if own.unit == "members":
        hint += "; names with commas between"
    if own.usual:
        hint += f" (usual: {own.usual})"
    elif own.unit == "mm" and isinstance(own.default, float) and own.default > 0:
        hint += f" (usual: {view.display.length(own.default, finest=64)})"
    return text_field(label, _id("fits", index, own.key), text, hint=hint)


# ---------------------------------------------------------------- while typing


def live(checked: Checked, view: View) -> list[Any]:
    """What the draft comes to: the design range so far, each fit's margins, and what is wrong yet."""
    found: list[Any] = [html.H2("So far")]
    if not checked.fits and not checked.problems:
        found.append(html.P("Add a fit to see what it can take."))
    if checked.piece is not None and checked.fits:
        design = design_range(checked.piece)
        found.append(html.P(comfortable(design, view.display)))
    for name, fit in checked.fits.items():
        found.append(_fit_so_far(name, fit, view))
    if checked.problems:
        found.append(html.H3("Still to put right"))
        found.append(html.Ul([html.Li(say.sentence(forms.in_words(error))) for _, error in checked.problems]))
    elif checked.piece is not None:
        found.append(html.P("Nothing is missing.", className="soft"))
    return found


def _fit_so_far(name: str, fit: Fit, view: View) -> html.Div:
    section = fit.section(fit.references())
    dry, wet = settled(fit.members, 6.0), settled(fit.members, 11.0)
    rows = [
        html.Tr(
            [
                html.Th(what_is_seen(limit.says), scope="row", style={"fontWeight": "400"}),
                *[
                    html.Td(num(_left(float(margin), view)), className="right", **under(name))
                    for name, margin in (
                        ("as built", limit.play_mm),
                        ("at 6 %", at_dry.margin_mm),
                        ("at 11 %", at_wet.margin_mm),
                    )
                ],
            ]
        )
        for limit, at_dry, at_wet in zip(
            fit.limits(fit.references()), fit.limits(dry), fit.limits(wet), strict=True
        )
    ]
    head = html.Tr(
        [
            html.Th(text, scope="col", className="right" if index else "")
            for index, text in enumerate(("Until", "as built", "at 6 %", "at 11 %"))
        ]
    )
    return html.Div(
        [
            html.H3(say.sentence(say.said(name)).rstrip(".")),
            drawn(
                *(
                    section_drawing(section, view.display, width, f"live-{name}-{width}")
                    for width in (460, 350)
                )
            ),
            html.Div(
                html.Table([html.Thead(head), html.Tbody(rows)], className="limits"), className="scroll"
            ),
        ],
        className="so-far",
    )


def _left(margin_mm: float, view: View) -> str:
    if margin_mm < 0:
        return f"{view.display.overrun(margin_mm)} past"
    return view.display.margin(margin_mm)


# ---------------------------------------------------------------- callbacks


def register(app: Dash, context: Context) -> None:
    """The form's answers: drawn when its shape changes, checked while typing, written when told to."""
    every = [
        State({"typed": ALL, "row": ALL, "key": ALL}, "value"),
        State({"chosen": ALL, "row": ALL, "key": ALL}, "value"),
    ]

    @app.callback(
        Output(FORM, "children"),
        Output(DRAFT, "data", allow_duplicate=True),
        Input(DRAFT, "modified_timestamp"),
        Input({"shape": ALL, "row": ALL}, "n_clicks"),
        Input({"chosen": ALL, "row": ALL, "key": ALL}, "value"),
        State(DRAFT, "data"),
        State(FORM, "children"),
        State(WHICH, "data"),
        State({"pick": ALL}, "value"),
        State({"typed": ALL, "row": ALL, "key": ALL}, "value"),
        prevent_initial_call="initial_duplicate",
    )
    def reshape(
        _kept: Any,
        _clicks: Any,
        _chosen: Any,
        draft: Draft | None,
        standing: Any,
        which: int | None,
        picked: list[str | None],
        _typed: Any,
    ) -> tuple[Any, Any]:
        view = view_of(context)
        trigger = ctx.triggered_id
        if not standing:
            draft = drafts.in_units(draft, view.units) if draft else drafts.new_draft(view.units)
        elif not isinstance(trigger, dict):
            return no_update, no_update
        else:
            draft = _collected(draft or drafts.new_draft(view.units))
            if not _reshaped(draft, trigger, picked[0] if picked else None):
                return no_update, no_update
        with context.store.session() as session:
            places = queries.places(session, view.now)
        return form_of(draft, places, view, which is None), draft

    @app.callback(
        Output(LIVE, "children"),
        Output(DRAFT, "data", allow_duplicate=True),
        Input({"typed": ALL, "row": ALL, "key": ALL}, "value"),
        Input({"chosen": ALL, "row": ALL, "key": ALL}, "value"),
        State(DRAFT, "data"),
        prevent_initial_call="initial_duplicate",
    )
    def check_typed(_typed: Any, _chosen: Any, draft: Draft | None) -> tuple[Any, Any]:
        if draft is None or not ctx.inputs_list[0]:
            return no_update, no_update
        collected = _collected(draft)
        return live(drafts.check(collected), view_of(context)), collected

    @app.callback(
        *OUTPUTS,
        Output(DRAFT, "data", allow_duplicate=True),
        Input(GO, "n_clicks"),
        State(DRAFT, "data"),
        State(WHICH, "data"),
        *every,
        prevent_initial_call=True,
    )
    def write(clicks: int | None, draft: Draft | None, which: int | None, *_values: Any) -> Any:
        if not clicks or draft is None:
            return (*NOTHING, no_update)
        try:
            act = save(_collected(draft, "states_list"), which, view_of(context))
        except BadInput as error:
            return (*refused(error), no_update)
        return (*answered(act), None)

    @app.callback(
        Output(DRAFT, "data", allow_duplicate=True),
        Output(FORM, "children", allow_duplicate=True),
        Output("record-read-says", "children"),
        Input(READ, "n_clicks"),
        State(PASTE, "value"),
        State(DRAFT, "data"),
        State(WHICH, "data"),
        prevent_initial_call=True,
    )
    def read_file(clicks: int | None, text: str | None, draft: Draft | None, which: int | None) -> Any:
        if not clicks:
            return no_update, no_update, no_update
        view = view_of(context)
        try:
            document = document_of(read_piece(text or "", "the file"))
        except BadInput as error:
            return no_update, no_update, forms.problem(str(error))
        read = drafts.draft_of(document, view.units)
        if draft:
            read["piece"] |= {key: draft["piece"][key] for key in ("place", "since") if key in draft["piece"]}
        with context.store.session() as session:
            places = queries.places(session, view.now)
        return (
            read,
            form_of(read, places, view, which is None),
            forms.done("The form holds what the file says."),
        )

    @app.server.get("/piece/<int:piece_id>/piece.toml")
    def piece_file(piece_id: int) -> Any:
        with context.store.session() as session:
            row = session.get(Piece, piece_id)
            if row is None:
                return app.server.response_class("no such piece", 404, mimetype="text/plain")
            text = write_piece(book.load_piece(session, row))
        response = app.server.response_class(text, mimetype="application/toml")
        response.headers["Content-Disposition"] = f'attachment; filename="piece-{piece_id}.toml"'
        return response


def _collected(draft: Draft, group: str = "") -> Draft:
    """The draft with what stands in the fields now."""
    lists = [*ctx.inputs_list, *ctx.states_list] if not group else ctx.states_list
    found: Draft = {
        "units": draft["units"],
        "piece": dict(draft["piece"]),
        "members": [dict(row) for row in draft["members"]],
        "fits": [dict(row) for row in draft["fits"]],
    }
    for items in lists:
        for item in items if isinstance(items, list) else []:
            id, value = item["id"], item.get("value")
            section = id.get("typed") or id.get("chosen") if isinstance(id, dict) else None
            if section == "piece":
                found["piece"][id["key"]] = value
            elif section in ("members", "fits") and id["row"] < len(found[section]):
                found[section][id["row"]][id["key"]] = value
    return found


def _reshaped(draft: Draft, trigger: dict[str, Any], kind: str | None) -> bool:
    """Change a draft's shape as a button or a choice asks; whether anything changed."""
    if "chosen" in trigger:
        return bool(ctx.triggered[0]["value"])
    if not ctx.triggered[0]["value"]:
        return False
    row = int(trigger["row"])
    match trigger["shape"]:
        case "add member":
            draft["members"].append(drafts.new_member(len(draft["members"]) + 1))
        case "drop member" if len(draft["members"]) > 1:
            draft["members"].pop(row)
        case "add fit":
            wanted = kind if kind in kinds() else "panel-in-groove"
            names = [str(member.get("name") or "") for member in draft["members"]]
            same = sum(1 for fit in draft["fits"] if fit["kind"] == wanted)
            draft["fits"].append(drafts.new_fit(str(wanted), names, same + 1))
        case "drop fit":
            draft["fits"].pop(row)
        case _:
            return False
    return True


# ---------------------------------------------------------------- writing it down


def save(draft: Draft, which: int | None, view: View) -> Act:
    """Record a new piece, or correct one; BadInput names what is still wrong."""
    checked = drafts.check(draft)
    if checked.piece is None:
        _, error = checked.problems[0]
        raise error
    with view.store.session() as session:
        if which is None:
            place = forms.chosen_place(session, draft["piece"].get("place"), "where it stands")
            since_at = forms.day_typed(draft["piece"].get("since"), place.zone, "since")
            row = book.add_piece(session, checked.piece, place, since_at, view.now)
            said = f"{row.name} is recorded; how it stands is worked out within a minute."
            return Act(said, address("piece", row.id), ("piece", row.id))
        row = session.get_one(Piece, which)
        before = book.replace_piece(session, row, checked.piece)
        session.merge(Preference(name=f"piece {which} before", value={"file": write_piece(before)}))
        said = f"{row.name} is corrected; everything since it was built is worked out again."
        return Act(said, address("piece", which), ("piece correction", which))


def _undo_add(view: View, piece_id: int) -> str:
    with view.store.session() as session:
        row = session.get_one(Piece, piece_id)
        book.remove(session, row)
        return f"{row.name} is out of the book again."


def _undo_correction(view: View, piece_id: int) -> str:
    with view.store.session() as session:
        row = session.get_one(Piece, piece_id)
        kept = session.get(Preference, f"piece {piece_id} before")
        if kept is None:
            raise BadInput("", "correction", "can't be taken back any more", row.name)
        book.replace_piece(session, row, read_piece(str(kept.value["file"]), row.name))
        session.delete(kept)
        return f"{row.name} is as it was recorded before."


UNDO = {"piece": _undo_add, "piece correction": _undo_correction}
ROUTES = [Route("/record", layout, live=False), Route("/piece/<piece_id>/edit", edit_layout, live=False)]
