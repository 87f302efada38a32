"""Commands that keep the book safe: backup, restore, move."""

import re
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from deploy import wiring
from deploy.cli import NO
from deploy.cli.answer import AsJson, give_json, say
from deploy.cli.progress import by_table, progress
from deploy.settings import load_settings
from model.records.clock import machine_now
from model.records.private import take_from_others
from model.records.store import Store, StoreUnavailable, cause_of
from model.wood.errors import ServiceMissing

NAME = re.compile(r"paneltide-\d{8}T\d{6}Z\.zip")


def backup(
    out: Annotated[Path | None, typer.Option("--out", help="The archive; else named by time.")] = None,
    keep: Annotated[
        int, typer.Option("--keep", min=1, help="How many of the archives named by time are kept.")
    ] = 14,
    as_json: AsJson = False,
) -> None:
    """Copy the whole book into an archive while everything runs, and prove the copy by restoring it."""
    from model.records.archives.archive import write_archive
    from model.records.queries.service import note_proven

    settings = load_settings()
    store = wiring.open_store(settings)
    at = machine_now()
    if out is None:
        folder = settings.data_dir / "backups"
        wiring.open_folder(folder)
        path = folder / f"paneltide-{at:%Y%m%dT%H%M%SZ}.zip"
    else:
        path = out
    with progress("Copying the book") as advance:
        counts = write_archive(store, path, at, by_table(advance))
    with progress("Proving the copy") as advance:
        _prove(path, by_table(advance))
    note_proven(store, at, path)
    dropped = _drop_old(path.parent, keep) if out is None else []
    if as_json:
        give_json({"archive": str(path), "rows": counts, "proven": True, "dropped": dropped})
        return
    say(f"{sum(counts.values())} rows are in {path}; restored into a scratch book, all of them came back.")
    for name in dropped:
        say(f"  {name} was the oldest and is gone")


def _prove(path: Path, step: Callable[[str, int], None]) -> None:
    """Restore an archive into a scratch book beside it and compare; nothing is left behind."""
    from model.records.archives.archive import compare, restore_archive

    with tempfile.TemporaryDirectory(prefix=".paneltide-proof-", dir=path.absolute().parent) as folder:
        scratch = Store(f"sqlite:///{Path(folder) / 'proof.sqlite'}")
        scratch.bring_up_to_date()
        restore_archive(scratch, path, step)
        differing = compare(scratch, path)
        scratch.close()
    if differing:
        raise ServiceMissing(f"the archive {path} did not come back whole: {'; '.join(differing)}")


def _drop_old(folder: Path, keep: int) -> list[str]:
    archives = sorted(entry.name for entry in folder.iterdir() if NAME.fullmatch(entry.name))
    for name in archives[:-keep]:
        (folder / name).unlink()
    for name in archives[-keep:]:
        take_from_others(folder / name)  # those of before were anybody's to read
    return archives[:-keep]


def restore(
    archive: Annotated[Path, typer.Argument(help="An archive made by backup.")], as_json: AsJson = False
) -> None:
    """Bring an archive back into the book that settings name, which must be empty."""
    from model.records.archives.archive import restore_archive

    store = wiring.open_store(load_settings(), create=True)
    with progress("Bringing the book back") as advance:
        counts = restore_archive(store, archive, by_table(advance))
    if as_json:
        give_json({"book": store.shown, "rows": counts, "proven": True})
        return
    say(f"{sum(counts.values())} rows are back in {store.shown}, each table proven by count and checksum.")


def move(
    to: Annotated[str, typer.Option("--to", help="Address of the new database, which must be empty.")],
    as_json: AsJson = False,
) -> None:
    """Move the whole book to another database, proven by counts and checksums; the old one stays as it is."""
    from sqlalchemy.exc import DBAPIError

    from model.records.archives.archive import compare, restore_archive, write_archive

    settings = load_settings()
    new = Store(to)
    old = wiring.open_store(settings)
    new.bring_up_to_date()
    with tempfile.TemporaryDirectory(prefix="paneltide-move-") as folder:
        path = Path(folder) / "book.zip"
        try:
            with progress("Copying the book") as advance:
                write_archive(old, path, machine_now(), by_table(advance))
            with progress("Filling the new one") as advance:
                counts = restore_archive(new, path, by_table(advance))
        except (StoreUnavailable, DBAPIError) as error:
            kept = "the old one is as it was, the new one still empty: run it again"
            raise StoreUnavailable(f"the book was not moved: {cause_of(error)}; {kept}") from error
        changed = compare(old, path)
    tables = [sentence.partition(":")[0] for sentence in changed]
    if as_json:
        give_json({"book": new.shown, "rows": counts, "proven": True, "changed_meanwhile": tables})
    else:
        say(f"{sum(counts.values())} rows are in {new.shown}, each table proven by count and checksum.")
        _say_what_next(tables)
    if tables:
        raise typer.Exit(NO)


def _say_what_next(changed: list[str]) -> None:
    if changed:
        tables = ", ".join(changed)
        say(f"The old book changed meanwhile ({tables}): stop paneltide, empty the new one and move again.")
        return
    say("Set PANELTIDE_DATABASE_URL to the new address; the old book stays as it is.")
