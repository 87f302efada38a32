"""The page on which a record is corrected, declared once: its form, what stands in it, and how it is kept."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from dash import Dash, html
from sqlalchemy.orm import Session

from dashboard.forms.acts import Act, doing, done
from dashboard.forms.declared import Form
from dashboard.pages.frame import sheet
from dashboard.shell.view import Context, Route, View, address


@dataclass(frozen=True)
class CorrectionPage:
    """A record's page of correction, at ``/stack/3/edit``.

    Attributes
    ----------
    table : type
        Its rows have a `name`.
    form : Form
        Its `whose` is the word in the addresses: stack, place, sensor.
    record : callable
        ``record(row)``: what stands in the form, by the keys of the record.
    change : callable
        ``change(session, row, values, view)`` keeps what was typed; raises BadInput.
    lead : str, optional
        What a correction does to all that rests on the record.
    said : str
        What follows the record's name once it is corrected.
    more : callable, optional
        ``more(session, view)``: what else `Form.laid_out` is given, as its options.
    """

    table: type[Any]
    form: Form
    record: Callable[[Any], Mapping[str, Any]]
    change: Callable[[Session, Any, dict[str, Any], View], Any]
    lead: str | None = None
    said: str = "is corrected."
    more: Callable[[Session, View], Mapping[str, Any]] | None = None

    @property
    def route(self) -> Route:
        return Route(f"/{self.form.whose}/<number>/edit", self.layout, live=False)

    def layout(self, view: View, number: int) -> html.Main | None:
        """The page; none when there is no such record."""
        with view.store.session() as session:
            row = session.get(self.table, number)
            if row is None:
                return None
            name, record = row.name, self.record(row)
            more = self.more(session, view) if self.more else {}
        return sheet(
            f"Correct {name}",
            self.form.laid_out(view, number, record, **more),
            dateline=html.A(name, href=address(self.form.whose, number)),
            lead=self.lead,
        )

    def register(self, app: Dash, context: Context) -> None:
        """The form's answer."""
        self.form.answers(app, context, self.save)

    def save(self, number: int, typed: dict[str, Any], view: View) -> Act:
        """Correct the record as typed; what the form doesn't ask stays."""
        with doing(view, "correction") as (session, revision):
            row = session.get_one(self.table, number)
            back = f"{row.name} is as it was recorded before."
            self.change(session, row, self.form.read(typed, view, session), view)
            return done(revision, f"{row.name} {self.said}", back, address(self.form.whose, number))
