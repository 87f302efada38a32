"""A unit of work in an empty book, and two places in it."""

from collections.abc import Iterator

import pytest
from sqlalchemy.orm import Session

from model.records.acts.places import add_place
from model.records.schema.tables import Place
from model.records.store import Store


@pytest.fixture
def session(store: Store) -> Iterator[Session]:
    with store.session() as opened:
        yield opened


@pytest.fixture
def places(session: Session) -> list[Place]:
    return [add_place(session, name, kind) for name, kind in (("shop", "shop"), ("flat", "home"))]
