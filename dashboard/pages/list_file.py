"""A page on which a list is read from a spreadsheet: shown as it is read, and kept when told to."""

from dataclasses import dataclass
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, html

from dashboard.forms import fields as forms
from dashboard.forms.acts import Act, answers
from dashboard.forms.fields import Upload, field
from dashboard.forms.lists import ListKind, ListRead, fault_words, read_list
from dashboard.pages.frame import Child, listed, part, sheet, table
from dashboard.say import sentences
from dashboard.shell.uploads import MOST_BYTES, UPLOADS, uploads
from dashboard.shell.view import Context, Route, View, view_of
from model.wood.errors import BadInput
from model.words import display as say

SHOWN_FAULTS = 20
SHOWN_ROWS = 50


@dataclass(frozen=True)
class ListPage:
    """The page of one kind of list.

    Attributes
    ----------
    path, title : str
    back : str
        What the page of all of them is called.
    """

    kind: ListKind
    path: str
    title: str
    back: str

    @property
    def form(self) -> str:
        return f"{self.kind.noun} list"

    @property
    def routes(self) -> list[Route]:
        return [Route(self.path, self.layout, live=False)]

    def layout(self, view: View) -> html.Main:
        """Where the file is chosen, and which columns it may have."""
        kind = self.kind
        needed = [self._column(key) for key in kind.needed]
        others = [self._column(key) for key in kind.columns if key not in kind.needed]
        bare = "inches and °F" if view.units == "inch" else "mm and °C"
        return sheet(
            self.title,
            field(
                "The file",
                Upload(self._file, UPLOADS, ".csv,.txt,.tsv", MOST_BYTES),
                hint=f"saved as CSV, a {kind.noun} a line; numbers without a unit are {bare}",
            ),
            html.Div(id={"shown": self.form, "of": "all"}),
            part(
                "Its columns",
                html.P("Their names stand in the first line, in any order. These it must have:"),
                listed([html.Li(one) for one in needed], className="small"),
                html.P("These it may have:"),
                listed([html.Li(one) for one in others], className="small"),
            ),
            dateline=html.A(self.back, href=kind.href),
            lead="Nothing is kept before you have seen how it is read, and nothing of a list with a fault.",
        )

    def _column(self, key: str) -> list[Child]:
        name, told = key.replace("_", " "), self.kind.columns[key]
        return [html.B(name), "" if told == name else f" ({told})"]

    @property
    def _file(self) -> dict[str, str]:
        return {"form": self.form, "key": "file"}

    def register(self, app: Dash, context: Context) -> None:
        """Showing how a file is read, and keeping it."""

        @app.callback(
            Output({"shown": self.form, "of": ALL}, "children"),
            Input({"form": self.form, "key": ALL}, "value"),
            Input(self._file, "problem"),
            State({"shown": self.form, "of": ALL}, "id"),
            prevent_initial_call=True,
        )
        def show(_values: list[Any], problem: str | None, _ids: list[Any]) -> list[Any]:
            token = next((item.get("value") for item in ctx.inputs_list[0]), None)
            if problem:
                return [forms.problem(problem)]
            if not token:
                return [None]
            try:
                return [self.looked(self.read(token, view_of(context), keep=False))]
            except BadInput as error:
                return [forms.problem(fault_words(error))]

        answers(app, context, self.form, self.keep, which="of")

    def read(self, token: str, view: View, keep: bool) -> ListRead:
        """What becomes of the file sent."""
        return read_list(self.kind, uploads.path(token).read_bytes(), view, keep)

    def looked(self, found: ListRead) -> html.Section:
        """The lines as they are read; what is wrong, first, and then nothing to keep."""
        lines: list[Child] = []
        if found.faults:
            told = sentences.counted(len(found.faults), "fault")
            lines += [
                html.P(f"{say.sentence(told)[:-1]}: nothing can be kept until the file is put right."),
                listed([html.Li(str(fault)) for fault in found.faults[:SHOWN_FAULTS]], className="small"),
            ]
        if found.rows:
            rows = [(str(line), *row) for line, row in found.rows[:SHOWN_ROWS]]
            lines.append(table("Lines as they are read", ("line", *self.kind.heads), rows))
        if not found.faults:
            told = sentences.counted(len(found.rows), f"{self.kind.noun}")
            lines.append(html.Button(f"Record {told}", id={"act": self.form, "of": "all"}, className="first"))
        return part("How it is read", *lines)

    def keep(self, _all: str, typed: dict[str, Any], view: View) -> Act:
        """Record the list, as it was shown."""
        found = self.read(str(typed.get("file") or ""), view, keep=True)
        if found.act is None:
            fault = found.faults[0]
            raise BadInput("", f"line {fault.line}, {fault.column}", fault.rule, fault.got or "nothing")
        return found.act
