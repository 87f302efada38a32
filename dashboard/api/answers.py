"""The answers under `/api`: one table, from which the addresses and the OpenAPI document are made."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from dashboard.api.problems import API
from model.answers import records
from model.answers.document import JsonDocument
from model.watch.questions.standings import Standings

ID = "{id}"


@dataclass(frozen=True)
class ApiAnswer:
    """An address, what it answers, and how that is made; `make` gives None where there is no such thing.

    An address that ends in `ID` is made with that number, any other with 0.
    """

    path: str
    record: type[JsonDocument]
    says: str
    make: Callable[[Standings, int], JsonDocument | None]

    @property
    def is_of_one(self) -> bool:
        return self.path.endswith(ID)


One = TypeVar("One")


def _one(found: Sequence[One]) -> One | None:
    return found[0] if found else None


ANSWERS = (
    ApiAnswer(
        f"{API}/state",
        records.StateRecord,
        "How every place, stack and piece stands now, and the warnings that are open",
        lambda book, _: book.state(),
    ),
    ApiAnswer(
        f"{API}/places",
        records.PlacesRecord,
        "Every place with its air and the humidity to hold it at",
        lambda book, _: records.PlacesRecord(at=book.now, places=book.places()),
    ),
    ApiAnswer(
        f"{API}/places/{ID}", records.PlaceRecord, "One place", lambda book, id_: _one(book.places(id_))
    ),
    ApiAnswer(
        f"{API}/stacks",
        records.StacksRecord,
        "Every stack in use and whether it is ready",
        lambda book, _: records.StacksRecord(at=book.now, stacks=book.stacks()),
    ),
    ApiAnswer(
        f"{API}/stacks/{ID}", records.StackRecord, "One stack", lambda book, id_: _one(book.stacks(id_))
    ),
    ApiAnswer(
        f"{API}/pieces",
        records.PiecesRecord,
        "Every piece that is followed: how it stands, what may come and what was",
        lambda book, _: records.PiecesRecord(at=book.now, pieces=book.pieces()),
    ),
    ApiAnswer(
        f"{API}/pieces/{ID}", records.PieceRecord, "One piece", lambda book, id_: _one(book.pieces(id_))
    ),
    ApiAnswer(
        f"{API}/next",
        records.ComingRecord,
        "What the coming year may bring, of every piece",
        lambda book, _: book.coming(),
    ),
    ApiAnswer(
        f"{API}/measure",
        records.MeasuresRecord,
        "What to measure next, and until when that is useful",
        lambda book, _: records.MeasuresRecord(at=book.now, measure=book.measure()),
    ),
)
