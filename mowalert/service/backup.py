"""Back a store up into one file, and bring it back: nothing is lost, and nobody is told twice."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Protocol

from mowalert.errors import InputError
from mowalert.service.ports import Work

RESTORED_AT = "restored_at"
"""Name under which a store keeps the moment it was brought back from a backup."""


@dataclass(frozen=True, slots=True)
class TableSum:
    """One table of a backup: its rows, their hash, and the last number it gave out, if it gives any."""

    name: str
    columns: tuple[str, ...]
    rows: int
    sha256: str
    last_number: int | None = None


@dataclass(frozen=True, slots=True)
class Backup:
    """What a backup says of itself: the tables' version, the program's, when it was made, and its tables."""

    schema: str
    program: str
    made_at: datetime
    tables: tuple[TableSum, ...]

    @property
    def rows(self) -> int:
        """Rows of all tables."""
        return sum(table.rows for table in self.tables)


class Copies(Protocol):
    """Copies a whole store out and in."""

    def write(self, path: Path, *, at: datetime) -> Backup:
        """Write a store as it is at one moment; others go on writing meanwhile."""

    def read(self, path: Path, *, replace: bool, noted: dict[str, str]) -> Backup:
        """Fill a store from a backup and note some values, in one transaction."""


def back_up(copies: Copies, path: Path, *, at: datetime) -> Backup:
    """Write a backup.

    Parameters
    ----------
    copies : Copies
        The store.
    path : Path
        A file that is not there yet; it appears when it is whole.
    at : datetime
        The moment, aware.

    Returns
    -------
    Backup
        What was written.

    Raises
    ------
    InputError
        If the file is there, or cannot be written.
    StoreError
        If there is no store, or it is newer than this program.
    """
    if path.exists():
        raise InputError(f"{path}: is there already; a backup never replaces a file")
    return copies.write(path, at=at)


def restore(copies: Copies, path: Path, *, at: datetime, nothing_since: bool, replace: bool) -> Backup:
    """Bring a store back from a backup.

    Parameters
    ----------
    copies : Copies
        The store: an empty one, of either kind.
    path : Path
        The backup.
    at : datetime
        The moment, aware.
    nothing_since : bool
        Whether nothing can have been sent since the backup was made: then what waits still goes. Else
        what the lost store may have sent meanwhile is of unknown fate, and not sent again.
    replace : bool
        Whether a store with something in it is replaced.

    Returns
    -------
    Backup
        What was brought back.

    Raises
    ------
    InputError
        If the file is no whole backup, or the store is not empty.
    StoreError
        If the backup or the store is newer than this program.
    """
    noted = {} if nothing_since else {RESTORED_AT: at.isoformat()}
    return copies.read(path, replace=replace, noted=noted)


def restored_at(work: Work) -> datetime | None:
    """Return the moment up to which a lost store may have told what this one does not know of."""
    kept = work.get_meta(RESTORED_AT)
    return datetime.fromisoformat(kept) if kept else None
