"""The pages on which a record is made and corrected, declared once: their form, and how it is kept."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from dash import Dash, html
from sqlalchemy.orm import Session

from dashboard.forms.acts import Act, doing, done
from dashboard.forms.declared import Form
from dashboard.pages.frame import sheet
from dashboard.shell.view import Context, Route, View, address

NEW = 0
"""The number of a record that is not made yet."""


@dataclass(frozen=True)
class RecordPage:
    """A record's page of correction, at ``/place/3/edit``, and where one is made, at ``/places/new``.

    Attributes
    ----------
    table : type
        Its rows have a `name`.
    form : Form
        Its `whose` is the word in the addresses: stack, place, sensor, client.
    record : callable
        ``record(row)``: what stands in the form, by the keys of the record.
    change : callable
        ``change(session, row, values, view)`` keeps what was typed; raises BadInput.
    add : callable, optional
        ``add(session, values, view)`` makes a record of what was typed; none where it is made elsewhere.
    new : callable, optional
        ``new(session, view)``: what stands in the form of one that is not made yet.
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
    add: Callable[[Session, dict[str, Any], View], Any] | None = None
    new: Callable[[Session, View], Mapping[str, Any]] | None = None
    lead: str | None = None
    said: str = "is corrected."
    more: Callable[[Session, View], Mapping[str, Any]] | None = None

    @property
    def routes(self) -> list[Route]:
        made = [Route(f"/{self.form.whose}s/new", self.new_layout, live=False)] if self.add else []
        return [*made, Route(f"/{self.form.whose}/<number>/edit", self.layout, live=False)]

    def new_layout(self, view: View) -> html.Main:
        """Where a new record is made."""
        what = self.form.whose
        with view.store.session() as session:
            record = self.new(session, view) if self.new else {}
            more = self.more(session, view) if self.more else {}
        form = self.form.laid_out(view, NEW, record, button=f"Record the {what}", **more)
        return sheet(f"Record a {what}", form, dateline=html.A(f"{what}s".capitalize(), href=f"/{what}s"))

    def layout(self, view: View, number: int) -> html.Main | None:
        """Where a record is corrected; none when there is no such record."""
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
        """Make or correct a record as typed; what the form doesn't ask stays."""
        what, is_new = self.form.whose, number == NEW and self.add is not None
        with doing(view, "entry" if is_new else "correction") as (session, revision):
            values = self.form.read(typed, view, session)
            if is_new and self.add is not None:
                row = self.add(session, values, view)
                session.flush()
                said, back = f"{row.name} is recorded.", f"{row.name} is out of the book again."
                return done(revision, said, back, address(what, row.id), f"/{what}s")
            row = session.get_one(self.table, number)
            back = f"{row.name} is as it was recorded before."
            self.change(session, row, values, view)
            return done(revision, f"{row.name} {self.said}", back, address(what, number))
