"""The file of a backup: a zip archive with a table a member, a row a line of JSON, and a list of them."""

import os
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from tempfile import mkstemp
from typing import Any

import orjson

from mowalert.errors import InputError
from mowalert.service.backup import Backup, TableSum

FORMAT = 1
"""Version of the file's own form, raised when a program could no longer read it as it does now."""
LIST = "backup.json"
QUICK = 1
"""Compression that does not hold up the reading of the store."""


@contextmanager
def new_archive(path: Path) -> Iterator[zipfile.ZipFile]:
    """Write a file that only its owner may read and that appears under its name when it is whole."""
    half: Path | None = None
    try:
        descriptor, name = mkstemp(dir=path.parent, prefix=".backup-", suffix=".part")
        half = Path(name)
        with os.fdopen(descriptor, "wb") as file:
            with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=QUICK) as archive:
                yield archive
            file.flush()
            os.fsync(file.fileno())
        half.replace(path)
    except OSError as error:
        raise InputError(f"{path}: {error.strerror or error}") from error
    finally:
        if half is not None:
            half.unlink(missing_ok=True)


def write_table(
    archive: zipfile.ZipFile, name: str, columns: tuple[str, ...], lines: Iterable[bytes]
) -> TableSum:
    """Write one table's rows; none is kept in memory."""
    hashed, rows = sha256(), 0
    with archive.open(_member(name), "w", force_zip64=True) as member:
        for line in lines:
            member.write(line)
            hashed.update(line)
            rows += 1
    return TableSum(name, columns, rows, hashed.hexdigest())


def write_list(archive: zipfile.ZipFile, backup: Backup) -> None:
    """Write what is in it, which is known last."""
    archive.writestr(LIST, orjson.dumps({"format": FORMAT, **asdict(backup)}))


@contextmanager
def open_archive(path: Path) -> Iterator[tuple[zipfile.ZipFile, Backup]]:
    """Open a backup and read what is in it; InputError where it is none, or not whole."""
    try:
        with zipfile.ZipFile(path) as archive:
            yield archive, _backup(path, orjson.loads(archive.read(LIST)))
    except OSError as error:
        raise InputError(f"{path}: {error.strerror or error}") from error
    except (zipfile.BadZipFile, zlib.error, EOFError, KeyError, TypeError, ValueError) as error:
        raise InputError(f"{path}: is no backup, or not a whole one: {error}") from error


def lines_of(archive: zipfile.ZipFile, table: TableSum) -> Iterator[Any]:
    """Read one table's rows; ValueError at their end if they are not those that were written."""
    hashed, rows = sha256(), 0
    with archive.open(_member(table.name)) as member:
        for line in member:
            hashed.update(line)
            rows += 1
            yield orjson.loads(line)
    if (rows, hashed.hexdigest()) != (table.rows, table.sha256):
        raise ValueError(f"table {table.name} has other rows than were written")


def _member(table: str) -> str:
    return f"{table}.jsonl"


def _backup(path: Path, told: dict[str, Any]) -> Backup:
    if told["format"] != FORMAT:
        raise InputError(f"{path}: is of form {told['format']}; this program reads form {FORMAT}")
    tables = tuple(TableSum(**table | {"columns": tuple(table["columns"])}) for table in told["tables"])
    return Backup(told["schema"], told["program"], datetime.fromisoformat(told["made_at"]), tables)
