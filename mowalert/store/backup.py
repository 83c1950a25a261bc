"""A whole store copied out and in, row by row, whichever database it is in."""

from base64 import b64decode, b64encode
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace as with_changes
from datetime import date, datetime
from functools import cache
from math import isfinite
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import orjson
from sqlalchemy import (
    JSON,
    Column,
    Connection,
    Date,
    DateTime,
    Float,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    cast,
    create_engine,
    func,
    insert,
    inspect,
    literal,
    select,
    text,
    update,
)
from sqlalchemy import column as named_column
from sqlalchemy import table as named_table
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.schema import DropTable

from mowalert import __version__
from mowalert.errors import InputError, StoreError
from mowalert.service.backup import Backup, TableSum
from mowalert.store.archive import lines_of, new_archive, open_archive, write_list, write_table
from mowalert.store.bulk import upsert
from mowalert.store.engine import first_line, open_engine
from mowalert.store.sql import chunks
from mowalert.store.tables import meta
from mowalert.store.upgrade import (
    VERSION,
    head,
    refuse_newer,
    tables_may_be_replaced,
    upgrade_within,
    version_of,
)

AT_ONCE = 1000
"""Rows in memory at a time."""
KEPT_BY_ITSELF = (meta.name,)
"""A store with rows in these only, such as the key made at its first start, counts as empty."""
JSON_TEXT = "json"
COUNTED = named_table("sqlite_sequence", named_column("name"), named_column("seq"))
"""Where SQLite keeps the last number of tables that never give one twice."""
Way = Callable[[Any], Any]


class SqlCopies:
    """Backups of the store behind one URL.

    Parameters
    ----------
    url : str
        An SQLAlchemy URL.
    """

    def __init__(self, url: str) -> None:
        self._url = url

    def write(self, path: Path, *, at: datetime) -> Backup:
        """Write the store as it is at one moment, of whatever version up to this program's."""
        with _said_in_a_line("backed up"), _opened(self._url, reads=True) as connection:
            version = version_of(connection)
            if version is None:
                raise StoreError("there is no store to back up")
            refuse_newer(version)
            with new_archive(path) as archive:
                tables = tuple(_written(archive, connection, table) for table in tables_of(version))
                backup = Backup(version, __version__, at, tables)
                write_list(archive, backup)
        return backup

    def read(self, path: Path, *, replace: bool, noted: dict[str, str]) -> Backup:
        """Fill the store; whatever is wrong, it stays as it was."""
        with (
            _said_in_a_line("restored"),
            open_archive(path) as (archive, backup),
            _opened(self._url) as connection,
            tables_may_be_replaced(connection),
        ):
            if backup.schema > head():
                raise StoreError(
                    f"the backup has version {backup.schema}, made by mowalert {backup.program}; "
                    f"this program knows {head()} at the most: restore it with a newer one"
                )
            _make_room(connection, replace=replace)
            upgrade_within(connection, backup.schema)
            _fill_all(connection, archive, backup)
            upgrade_within(connection, "head")
            upsert(connection, meta, [{"name": name, "value": value} for name, value in noted.items()])
        return backup


def _written(archive: ZipFile, connection: Connection, table: Table) -> TableSum:
    known = write_table(archive, table.name, _names(table), _lines(connection, table))
    return with_changes(known, last_number=_last_number(connection, table))


def _fill_all(connection: Connection, archive: ZipFile, backup: Backup) -> None:
    left = {table.name: table for table in backup.tables}
    for table in tables_of(backup.schema):
        known = left.pop(table.name)
        if known.columns != _names(table):
            raise ValueError(f"table {table.name} has other columns than version {backup.schema} gives it")
        _fill(connection, table, known, lines_of(archive, known))
    if left:
        raise ValueError(f"version {backup.schema} has no table {min(left)}")


@cache
def tables_of(version: str) -> tuple[Table, ...]:
    """Return the tables a version has, those that others refer to first; types alike on each database."""
    engine = create_engine("sqlite://")
    made = MetaData()
    try:
        with engine.connect() as connection:
            upgrade_within(connection, version)
            made.reflect(connection)
    finally:
        engine.dispose()
    return tuple(_plain(table) for table in made.sorted_tables if table.name != VERSION.name)


def _plain(table: Table) -> Table:
    """A table of types that mean the same everywhere; JSON stays the text it is."""
    columns = []
    for column in table.columns:
        kind = column.type.as_generic()
        is_json = isinstance(kind, JSON)
        columns.append(
            Column(
                column.name,
                Text() if is_json else kind,
                primary_key=column.primary_key,
                nullable=column.nullable,
                autoincrement=_gives_numbers(table, column),
                info={JSON_TEXT: is_json},
            )
        )
    return Table(table.name, MetaData(), *columns)


def _gives_numbers(table: Table, column: Column[Any]) -> bool:
    return column.primary_key and len(table.primary_key) == 1 and isinstance(column.type, Integer)


def _names(table: Table) -> tuple[str, ...]:
    return tuple(table.columns.keys())


@contextmanager
def _opened(url: str, *, reads: bool = False) -> Iterator[Connection]:
    engine = open_engine(url, reads=reads)
    try:
        with engine.connect() as connection:
            yield connection
    finally:
        engine.dispose()


@contextmanager
def _said_in_a_line(done: str) -> Iterator[None]:
    """What a driver says becomes one line: rows go through it directly where that is faster."""
    try:
        yield
    except SQLAlchemyError as error:
        raise StoreError(f"the store cannot be {done}: {first_line(error)}") from error


def _make_room(connection: Connection, *, replace: bool) -> None:
    """Drop a store's tables; with rows in them only if that was asked for."""
    version = version_of(connection)
    if version is None:
        return
    refuse_newer(version)
    tables = tables_of(version)
    for table in tables:
        filled = connection.scalar(select(literal(1)).select_from(table).limit(1))
        if filled and table.name not in KEPT_BY_ITSELF and not replace:
            raise InputError(
                f"the store is not empty ({table.name} has rows): --replace gives up what it has"
            )
    for table in [*reversed(tables), VERSION]:
        connection.execute(DropTable(table))


def _lines(connection: Connection, table: Table) -> Iterator[bytes]:
    """A table's rows, each a line of JSON."""
    columns = [cast(one, Text) if one.info[JSON_TEXT] else one for one in table.columns]
    ways = [_way_out(one) for one in table.columns]
    rows = connection.execution_options(yield_per=AT_ONCE).execute(select(*columns))
    for row in rows:
        told = [value if value is None else way(value) for way, value in zip(ways, row, strict=True)]
        yield orjson.dumps(told, option=orjson.OPT_APPEND_NEWLINE)


def _way_out(column: Column[Any]) -> Way:
    if isinstance(column.type, LargeBinary):
        return lambda value: b64encode(value).decode()
    # JSON has no word for what is no number.
    return (lambda value: value if isfinite(value) else str(value)) if _is_float(column) else _as_it_is


def _way_in(column: Column[Any]) -> Way:
    if isinstance(column.type, LargeBinary):
        return b64decode
    if isinstance(column.type, DateTime):
        return datetime.fromisoformat
    if isinstance(column.type, Date):
        return date.fromisoformat
    return float if _is_float(column) else _as_it_is


def _is_float(column: Column[Any]) -> bool:
    return isinstance(column.type, Float)


def _as_it_is(value: Any) -> Any:
    return value


def _fill(connection: Connection, table: Table, known: TableSum, lines: Iterator[Any]) -> None:
    ways = [_way_in(one) for one in table.columns]
    rows = (
        [value if value is None else way(value) for way, value in zip(ways, row, strict=True)]
        for row in lines
    )
    if connection.dialect.name == "postgresql":
        _copy_in(connection, table, rows)
    else:
        names = _names(table)
        for batch in chunks(rows, AT_ONCE):
            connection.execute(insert(table), [dict(zip(names, row, strict=True)) for row in batch])
    _number_on(connection, table, known)


def _copy_in(connection: Connection, table: Table, rows: Iterator[list[Any]]) -> None:
    quote = connection.dialect.identifier_preparer.quote
    names = ", ".join(map(quote, _names(table)))
    cursor = connection.connection.cursor()
    try:
        with cursor.copy(f"COPY {quote(table.name)} ({names}) FROM STDIN") as copy:
            for row in rows:
                copy.write_row(row)
    except connection.dialect.loaded_dbapi.Error as error:
        raise StoreError(f"the store cannot be restored: {first_line(error)}") from error
    finally:
        cursor.close()


def _last_number(connection: Connection, table: Table) -> int | None:
    """The highest number a table has given out: whoever was erased does not come back as somebody else."""
    column = table.autoincrement_column
    if column is None:
        return None
    if connection.dialect.name == "postgresql":
        kept = connection.scalar(select(func.pg_get_serial_sequence(table.name, column.name)))
        if kept is not None:
            given = connection.execute(text(f"SELECT last_value, is_called FROM {kept}")).one()  # noqa: S608
            return int(given.last_value) if given.is_called else None
    elif _counts(connection):
        counted = connection.scalar(select(COUNTED.c.seq).where(COUNTED.c.name == table.name))
        if counted is not None:
            return int(counted) or None
    highest = connection.scalar(select(func.max(column)))
    return None if highest is None else int(highest)


def _number_on(connection: Connection, table: Table, known: TableSum) -> None:
    """Rows that come later get numbers that were never given out."""
    column = table.autoincrement_column
    if column is None or known.last_number is None:
        return
    if connection.dialect.name != "postgresql":
        if _counts(connection):
            counter = update(COUNTED).where(COUNTED.c.name == table.name)
            connection.execute(counter.values(seq=known.last_number))
        return
    kept = connection.scalar(select(func.pg_get_serial_sequence(table.name, column.name)))
    if kept is not None:
        connection.execute(select(func.setval(kept, known.last_number)))


def _counts(connection: Connection) -> bool:
    """Whether an SQLite store has tables that count on, past rows that are gone."""
    return inspect(connection).has_table(COUNTED.name)
