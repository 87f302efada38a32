"""Acts taken back, and the rows they left."""

from sqlalchemy import select

from dashboard.forms import acts
from model.records.store import Store


def undo(act, view):
    return acts.take_back(view, act.undo)


def newest(store: Store, table):
    """The row of a table that was made last."""
    with store.session() as session:
        found = session.scalars(select(table).order_by(table.id.desc())).first()
        session.expunge(found)
        return found


def row(store: Store, table, number):
    with store.session() as session:
        found = session.get(table, number)
        if found is not None:
            session.expunge(found)
        return found
