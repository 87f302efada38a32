"""Papers and files: the cut card of a plan, a piece's sheets, its file and its record of fact."""

import json
from collections.abc import Callable
from typing import Any

import flask
from dash import Dash
from sqlalchemy.orm import Session

from dashboard.pages.plans import plan_asked
from dashboard.pages.plans.plan_asked import plan_of
from dashboard.paper.sheet import cut_card, job_sheet_of_piece, sheet_of_piece
from dashboard.shell.files import answer_file, answer_plainly
from dashboard.shell.view import NUMBER, Context, View, view_of
from model.answers.record_of_fact import record_of_fact
from model.records.acts.book import load_piece
from model.records.schema.tables import PieceRow
from model.wood.errors import BadInput
from model.wood.piece import write_piece
from model.words.record_text import record_text


def _record(session: Session, row: PieceRow, view: View) -> dict[str, Any]:
    return record_of_fact(session, row.id, view.now, view.display)


OF_PIECE: dict[str, Callable[[Session, PieceRow, View], bytes | str]] = {
    "sheet.pdf": lambda session, row, view: sheet_of_piece(session, row.id, view.now, view.display),
    "job.pdf": lambda session, row, view: job_sheet_of_piece(session, row.id, view.now, view.display),
    "piece.toml": lambda session, row, _view: write_piece(load_piece(session, row)),
    "record.txt": lambda *asked: record_text(_record(*asked), asked[-1].display),
    "record.json": lambda *asked: json.dumps(_record(*asked), indent=2, ensure_ascii=False),
}
"""What a piece's papers and files hold, by their names in its address."""


def register(app: Dash, context: Context) -> None:
    """The addresses that answer with a file."""

    @app.server.get("/plan/card.pdf")
    def plan_card() -> flask.Response:
        view = view_of(context, flask.request.full_path)
        try:
            plan = plan_of(plan_asked.asked_of(view.query), view, view.query.get("choose", ""))
        except BadInput as error:
            return answer_plainly(str(error), 422)
        choice = plan.comparison.choice(plan.chosen)
        wanted = view.query.get("fit", "")
        document = next((cut for cut in choice.layout.cuts if cut["fit"] == wanted), None)
        if document is None:
            return answer_plainly("there is no such cut in this plan")
        written = cut_card(document, view.display, view.now, plan.comparison.home.name)
        return answer_file(written, f"{document['piece']} {document['fit']}", "cut-card")

    @app.server.get(f"/piece/{NUMBER}/<what>.<ending>")
    def of_piece(piece_id: int, what: str, ending: str) -> flask.Response:
        made = OF_PIECE.get(f"{what}.{ending}")
        if made is None:
            return answer_plainly(f"a piece has these files: {', '.join(OF_PIECE)}")
        view = view_of(context, flask.request.full_path)
        with context.store.session() as session:
            row = session.get(PieceRow, piece_id)
            if row is None:
                return answer_plainly("no such piece")
            try:
                return answer_file(made(session, row, view), row.name, what, ending)
            except BadInput as error:
                return answer_plainly(str(error), 422)
