"""Papers and files of what is planned and built: the cut card of a plan, a piece's record of fact."""

import json

import flask
from dash import Dash

from dashboard.pages.plans import plan_asked
from dashboard.pages.plans.plan_asked import plan_of
from dashboard.paper.sheet import cut_card, file_name
from dashboard.shell.view import NUMBER, Context, view_of
from model.answers.record_of_fact import record_of_fact
from model.records.schema.tables import Piece
from model.wood.errors import BadInput
from model.words.record_text import record_text


def register(app: Dash, context: Context) -> None:
    """The addresses that answer with a file."""

    @app.server.get("/plan/card.pdf")
    def plan_card() -> flask.Response:
        view = view_of(context, flask.request.full_path)
        try:
            plan = plan_of(plan_asked.asked_of(view.query), view, view.query.get("choose", ""))
        except BadInput as error:
            return _plainly(str(error), 422)
        choice = plan.comparison.choice(plan.chosen)
        wanted = view.query.get("fit", "")
        document = next((cut for cut in choice.layout.cuts if cut["fit"] == wanted), None)
        if document is None:
            return _plainly("there is no such cut in this plan", 404)
        written = cut_card(document, view.display, view.now, plan.comparison.home.name)
        response = flask.Response(written, mimetype="application/pdf")
        named = file_name(f"{document['piece']} {document['fit']}", "cut-card")
        response.headers["Content-Disposition"] = f'inline; filename="{named}"'
        return response

    @app.server.get(f"/piece/{NUMBER}/record.<kind>")
    def fact(piece_id: int, kind: str) -> flask.Response:
        if kind not in ("json", "txt"):
            return _plainly("a record of fact is a .txt or a .json file", 404)
        view = view_of(context, flask.request.full_path)
        with context.store.session() as session:
            row = session.get(Piece, piece_id)
            if row is None:
                return _plainly("no such piece", 404)
            try:
                record = record_of_fact(session, piece_id, view.now, view.display)
            except BadInput as error:
                return _plainly(str(error), 422)
            name = row.name
        text = (
            record_text(record, view.display)
            if kind == "txt"
            else json.dumps(record, indent=2, ensure_ascii=False)
        )
        mimetype = "text/plain" if kind == "txt" else "application/json"
        response = flask.Response(text, mimetype=mimetype)
        named = file_name(name, "record").replace(".pdf", f".{kind}")
        response.headers["Content-Disposition"] = f'attachment; filename="{named}"'
        return response


def _plainly(words: str, status: int) -> flask.Response:
    return flask.Response(words, status, mimetype="text/plain")
