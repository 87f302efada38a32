"""Files and folders that only their owner reads: the book, its copies, and what is exported from it."""

import os
import stat
from contextlib import suppress
from pathlib import Path

FILE_MODE, FOLDER_MODE = 0o600, 0o700


def private(path: str, flags: int) -> int:
    """For ``open(…, opener=private)``: a file that is made is its owner's alone."""
    return os.open(path, flags, FILE_MODE)


def keep_private(book: Path) -> None:
    """Make a SQLite book its owner's alone, one that is there and one that is to be made.

    SQLite gives its log and its index the rights of the book; those of a book from before are mended with it.
    """
    # A book that is there is not opened: closing it again would give up the locks of every connection that
    # this process has to it, and another process that ends would take the log away under them
    # (sqlite.org/howtocorrupt.html, 2.2). What can't be made is told by SQLite, which names the book.
    with suppress(OSError):
        os.close(os.open(book, os.O_CREAT | os.O_EXCL | os.O_RDWR, FILE_MODE))
    for path in (book, Path(f"{book}-wal"), Path(f"{book}-shm")):
        take_from_others(path)


def keep_folder_private(folder: Path) -> None:
    """Make a folder, and let only its owner in; one that everybody may write into (/tmp) stays as it is."""
    folder.mkdir(mode=FOLDER_MODE, parents=True, exist_ok=True)
    if not folder.stat().st_mode & stat.S_ISVTX:
        take_from_others(folder, FOLDER_MODE)


def take_from_others(path: Path, mode: int = FILE_MODE) -> None:
    """Let nobody but its owner do with a file or folder more than `mode` says."""
    # Another user's file is that user's to mend.
    with suppress(FileNotFoundError, PermissionError):
        if path.stat().st_mode & 0o777 & ~mode:
            path.chmod(mode)
