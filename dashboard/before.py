"""A preference as it was before an act changed it, so that the act can be taken back."""

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.orm import Session

from model.records.tables import Preference
from model.wood.errors import BadInput


@contextmanager
def remembered(session: Session, name: str) -> Iterator[None]:
    """Keep what a preference was before the changes made inside, and what they made of it."""
    row = session.get(Preference, name)
    before = None if row is None else dict(row.value)
    yield
    session.flush()
    row = session.get(Preference, name)
    after = None if row is None else dict(row.value)
    session.merge(Preference(name=_kept(name), value={"before": before, "after": after}))


def put_back(session: Session, name: str, what: str) -> None:
    """Let a preference be as it was before the last act that was remembered.

    Parameters
    ----------
    what : str
        What is taken back, as a refusal names it.

    Raises
    ------
    BadInput
        If nothing is remembered, or it was changed again since.
    """
    kept = session.get(Preference, _kept(name))
    if kept is None:
        raise BadInput("", what, "can't be taken back any more", "nothing")
    row = session.get(Preference, name)
    if (None if row is None else row.value) != kept.value["after"]:
        raise BadInput("", what, "can't be taken back: it was changed again since", "nothing")
    if kept.value["before"] is None:
        session.delete(row)
    else:
        session.merge(Preference(name=name, value=kept.value["before"]))
    session.delete(kept)
    session.flush()


def _kept(name: str) -> str:
    return f"{name} before"
