"""Record: a piece written down as built, with its margins while typing; and the correction of one."""

from dataclasses import replace
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update, set_props

from dashboard.forms import drafts, recorded_draft
from dashboard.forms import fields as forms
from dashboard.forms.acts import NOTHING, OUTPUTS, Act, answered, doing, done
from dashboard.forms.drafts import Draft
from dashboard.forms.fields import Line, names_to_choose, species_names
from dashboard.pages.frame import empty, folded, sheet
from dashboard.pages.pieces.record_form import faults_said, form_of, live
from dashboard.shell.view import Context, Route, View, address, view_of
from model.records.acts import book
from model.records.queries import overview as queries
from model.records.queries.clients import client_names
from model.records.schema.tables import PieceRow
from model.wood.errors import BadInput
from model.wood.fits import kinds
from model.wood.piece import document_of, read_piece

FORM, LIVE, DRAFT, WHICH, GO = "record-form", "record-live", "record-draft", "record-which", "record-go"
PASTE, READ = "record-paste", "record-read"
FAULTS = {"fault": ALL, "row": ALL, "key": ALL}


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
        row = session.get(PieceRow, piece_id)
        if row is None:
            return None
        name = row.name
        try:
            document = document_of(book.load_piece(session, row))
        except BadInput as error:
            return sheet(name, forms.problem(error))
    return form_page(f"Correct {name}", piece_id, view, recorded_draft.draft_of(document, view.units))


def form_page(title: str, piece_id: int | None, view: View, draft: Draft | None = None) -> html.Main:
    """The form: of a new piece, of one to correct, or filled with a draft that its address holds."""
    with view.store.session() as session:
        clients = client_names(session)
    return sheet(
        title,
        html.Div(
            [
                html.Div(id=FORM),
                html.Div([html.Div(id=LIVE, role="status"), _buttons(piece_id)], className="beside"),
            ],
            className="columns record",
        ),
        folded(
            "From a piece file",
            html.P("Paste a piece file (TOML) to fill the form with it.", className="small"),
            Line(PASTE, rows=12, placeholder='[piece]\nname = "Hall bench"\n…'),
            html.P(html.Button("Read the file", id=READ)),
            html.Div(id="record-read-says"),
            className="part",
        ),
        species_names(),
        names_to_choose("client-names", clients),
        dcc.Store(id=WHICH, data=piece_id),
        # A new piece is kept through a reload and a look at another page; what came filled in is not.
        dcc.Store(id=DRAFT, storage_type="session" if draft is None else "memory", data=draft),
        lead="Enter sizes as built, and the moisture content that day."
        if piece_id is None
        else "Everything since it was built is worked out again from the corrected record.",
    )


def _buttons(piece_id: int | None) -> html.P:
    label = "Record the piece" if piece_id is None else "Correct the record"
    return html.P(html.Button(label, id=GO, className="first"))


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
            draft = recorded_draft.in_units(draft, view.units) if draft else drafts.new_draft(view.units)
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
        Output(FAULTS, "children"),
        Input({"typed": ALL, "row": ALL, "key": ALL}, "value"),
        Input({"chosen": ALL, "row": ALL, "key": ALL}, "value"),
        State(DRAFT, "data"),
        prevent_initial_call="initial_duplicate",
    )
    def check_typed(_typed: Any, _chosen: Any, draft: Draft | None) -> tuple[Any, Any, Any]:
        fields = ctx.outputs_list[2]
        if draft is None or not ctx.inputs_list[0]:
            return no_update, no_update, [no_update] * len(fields)
        collected = _collected(draft)
        checked = drafts.check(collected, region=context.region)
        said = faults_said(checked, [one["id"] for one in fields], collected)
        return live(checked, view_of(context)), collected, said

    @app.callback(
        *OUTPUTS,
        Output(DRAFT, "data", allow_duplicate=True),
        Input(GO, "n_clicks"),
        State(DRAFT, "data"),
        State(WHICH, "data"),
        State(FAULTS, "children"),
        *every,
        prevent_initial_call=True,
    )
    def write(clicks: int | None, draft: Draft | None, which: int | None, *_values: Any) -> Any:
        if not clicks or draft is None:
            return (*NOTHING, no_update)
        collected = _collected(draft, "states_list")
        try:
            return (*answered(save(collected, which, view_of(context))), None)
        except BadInput as error:
            checked = drafts.check(collected, region=context.region)
            if not checked.faults:
                checked = replace(checked, faults=of_the_piece(error))
            fields = [one["id"] for one in ctx.states_list[2]]
            for id, said in zip(fields, faults_said(checked, fields), strict=True):
                set_props(id, {"children": said})
            raise

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
            document = document_of(read_piece(str(text or ""), "the file", context.region))
        except BadInput as error:
            return no_update, no_update, forms.problem(str(error))
        read = recorded_draft.draft_of(document, view.units)
        if draft:
            read["piece"] |= {key: draft["piece"][key] for key in ("place", "since") if key in draft["piece"]}
        with context.store.session() as session:
            places = queries.places(session, view.now)
        return (
            read,
            form_of(read, places, view, which is None),
            forms.done("The form holds what the file says."),
        )


def of_the_piece(error: BadInput) -> dict[drafts.Spot, BadInput]:
    """What is wrong with the piece itself, by its field."""
    keys = {"piece name": "name", "client name": "client", "where it stands": "place", "since": "since"}
    return {("piece", 0, keys[error.what]): error} if error.what in keys else {}


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
            wanted = kind if kind in kinds() else drafts.USUAL_KIND
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
    checked = drafts.check(draft, region=view.context.region)
    if checked.piece is None:
        _, error = checked.problems[0]
        raise error
    with doing(view, "entry" if which is None else "correction") as (session, revision):
        if which is None:
            place = forms.chosen_place(session, draft["piece"].get("place"), "where it stands")
            since_at = forms.day_typed(draft["piece"].get("since"), place.zone, "since", view.now)
            row = book.add_piece(session, checked.piece, place, since_at, view.now)
            said = f"{row.name} is recorded; how it stands is worked out within a minute."
            back = f"{row.name} is out of the book again."
            return done(revision, said, back, address("piece", row.id), "/pieces")
        row = session.get_one(PieceRow, which)
        back = f"{row.name} is as it was recorded before."
        book.replace_piece(session, row, checked.piece)
        said = f"{row.name} is corrected; everything since it was built is worked out again."
        return done(revision, said, back, address("piece", which))


ROUTES = [Route("/record", layout, live=False), Route("/piece/<piece_id>/edit", edit_layout, live=False)]
