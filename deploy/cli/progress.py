"""How far a long command is: a bar on the terminal's error line, and nothing where that is no terminal."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

Advance = Callable[[float, float | None], None]
"""Told how much is done, and of how much; None while that isn't known."""


@contextmanager
def progress(what: str) -> Iterator[Advance]:
    """A bar while the block runs; it leaves no trace, so that the answer stands alone."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn, TimeRemainingColumn

    shown = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn(), TimeRemainingColumn())
    with Progress(*columns, console=shown, transient=True, disable=not shown.is_terminal) as bar:
        task = bar.add_task(what, total=None)

        def advance(done: float, total: float | None) -> None:
            bar.update(task, completed=done, total=total)

        yield advance


def by_table(advance: Advance) -> Callable[[str, int], None]:
    """For an archive: a step for each table that it is through with."""
    from model.records.schema.base import Record

    seen: set[str] = set()

    def step(table: str, _rows: int) -> None:
        seen.add(table)
        advance(len(seen), len(Record.metadata.sorted_tables))

    return step
