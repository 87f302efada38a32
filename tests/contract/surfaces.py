"""The surfaces over the book of situations: its pages, its commands, its open warnings, each read once."""

import contextlib
import io
import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from sqlalchemy import select

from dashboard.shell.app import build_app
from deploy import wiring
from deploy.cli.commands import main
from deploy.settings import load_settings
from model.records.clock import SampleClock, machine_now
from model.records.schema.tables import Warning
from model.records.store import Store
from tests.contract import claims as read
from tests.contract import situations, stored
from tests.contract.comparing import Claim, Comparing
from tests.contract.situations import NOW

WORKING = frozenset(one.name for one in situations.pieces() if one.says == "working")
WORKING_STACKS = frozenset(situations.NOT_ANSWERED)
WORKING_PLACES = frozenset(("Post house",))


@dataclass
class World:
    """The book, what it holds, and the app over it."""

    store: Store
    folder: Path
    pieces: dict[int, stored.StoredPiece]
    stacks: dict[int, stored.StoredStack]
    places: dict[int, stored.StoredPlace]
    get: Callable[[str], str]
    pages: dict[str, read.Node] = field(default_factory=dict)

    def page(self, path: str) -> read.Node:
        """A page of the app, made once."""
        if path not in self.pages:
            self.pages[path] = read.page_of(self.get(path))
        return self.pages[path]

    @contextlib.contextmanager
    def copy(self, name: str) -> Iterator[Store]:
        """A copy of the book that may be written in."""
        path = self.folder / f"{name}.sqlite"
        with (
            contextlib.closing(sqlite3.connect(str(self.store.url.database))) as book,
            contextlib.closing(sqlite3.connect(path)) as other,
        ):
            book.backup(other)
        store = Store(f"sqlite:///{path}")
        yield store
        store.close()


@contextlib.contextmanager
def made_world(folder: Path) -> Iterator[World]:
    """The book written into a folder, with the app and the commands over it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PANELTIDE_DATA_DIR", str(folder))
        patch.setenv("COLUMNS", "1000")
        clock = SampleClock(machine_now(), NOW, 1.0, 1.0)
        patch.setenv("PANELTIDE_SAMPLE_CLOCK", wiring.clock_words(clock))
        store = wiring.open_store(load_settings(), create=True)
        situations.write_book(store)
        with store.session() as session:
            pieces = stored.read_pieces(session, NOW, WORKING)
            stacks = stored.read_stacks(session, NOW, WORKING_STACKS)
            places = stored.read_places(session, NOW, WORKING_PLACES)
        client = build_app(store, lambda: NOW).server.test_client()
        yield World(
            store,
            folder,
            {one.id: one for one in pieces},
            {one.id: one for one in stacks},
            {one.id: one for one in places},
            lambda path: client.get(path).get_data(as_text=True),
        )
        store.close()


def asked(*words: str) -> tuple[int, str]:
    """Exit status and what a command prints, to people or as JSON."""
    printed = io.StringIO()
    with (
        contextlib.redirect_stdout(printed),
        contextlib.redirect_stderr(printed),
        pytest.raises(SystemExit) as ended,
    ):
        main(list(words))
    return int(str(ended.value.code)), printed.getvalue().replace("\u00a0", " ")


def open_warnings(store: Store) -> list[tuple[str, str, float | None]]:
    """Piece, standing and margin [mm] of every open warning of a piece, as it was told last."""
    with store.session() as session:
        return [
            (row.detail["piece"], row.to_verdict, row.detail.get("margin_mm"))
            for row in session.scalars(select(Warning).where(Warning.closed_at.is_(None)))
            if "piece" in row.detail
        ]


def warnings_told(world: World, page: read.Node) -> list[Claim]:
    """The open warnings on their page: each as the limit it speaks of stands."""
    found: list[Claim] = []
    warned = open_warnings(world.store)
    for item, links in read.rows_of(page, "piece"):
        text_of = item.text()
        if ", until " in text_of or "Since " not in text_of:
            continue
        piece = world.pieces[links[0][0]]
        told = Comparing("/warnings", piece.name)
        mark = read.standing(" ".join(item.drawn_words()))
        own = [one for one in warned if one[0] == piece.name]
        told.say("now", mark, own, mark in [verdict for _, verdict, _ in own])
        for left in read.margins(text_of):
            told.say("left", left, own, any(left.margin.agrees(at) for *_, at in own if at is not None))
        found += told.claims
    return found
