"""Secrets of the shop's own: the key that signs sessions and links, made once and kept in the book."""

import secrets

from sqlalchemy.exc import IntegrityError

from model.records.schema.tables import Preference
from model.records.store import Store

NAME = "signing key"


def signing_key(store: Store) -> str:
    """The key, made at the first call; a restart and a second process use the same."""
    with store.session() as session:
        kept = session.get(Preference, NAME)
        if kept is not None:
            return str(kept.value["key"])
    try:
        with store.session() as session:
            session.add(Preference(name=NAME, value={"key": secrets.token_urlsafe(48)}))
    except IntegrityError:
        pass  # another process was first; its key is the one
    with store.session() as session:
        return str(session.get_one(Preference, NAME).value["key"])
