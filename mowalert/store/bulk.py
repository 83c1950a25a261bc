"""Many rows at once: PostgreSQL takes them as one stream, SQLite one prepared statement over and over.

A stream goes into a table of the connection's own, ``incoming_…``, and from there by one statement into the
table it is meant for, so that conflicts are settled as they are for single rows.
"""

from collections.abc import Sequence
from functools import cache
from operator import itemgetter
from typing import Any

from sqlalchemy import Column, Connection, MetaData, Table, bindparam, delete, insert, select, update
from sqlalchemy.schema import CreateTable

from mowalert.store.sql import insert_for

STREAMED_FROM = 20
"""Fewer rows are not worth a stream."""
Rows = Sequence[dict[str, Any]]
"""Values by column, the same columns in every row."""


def insert_all(connection: Connection, table: Table, rows: Rows) -> None:
    """Insert rows."""
    if _streams(connection, rows):
        _stream(connection, table, table.name, rows)
    elif rows:
        connection.execute(insert(table), rows)


def insert_missing(connection: Connection, table: Table, rows: Rows) -> None:
    """Insert rows, those that conflict with others left out."""
    new = insert_for(connection, table).on_conflict_do_nothing()
    if _streams(connection, rows):
        connection.execute(new.from_select(*_incoming(connection, table, rows)))
    elif rows:
        connection.execute(new, rows)


def insert_new(connection: Connection, table: Table, rows: Rows, *, unique: Sequence[str]) -> list[bool]:
    """Insert rows unless there is one of the same unique key; row by row, whether it was new."""
    keys = [table.c[name] for name in unique]
    new = insert_for(connection, table).on_conflict_do_nothing(index_elements=unique).returning(*keys)
    if not _streams(connection, rows):
        return [connection.execute(new, row).first() is not None for row in rows]
    if _streamed_as_new(connection, table, rows):
        return [True] * len(rows)
    inserted = set(map(tuple, connection.execute(new.from_select(*_incoming(connection, table, rows)))))
    was_new = []
    for row in rows:
        key = tuple(row[name] for name in unique)
        was_new.append(key in inserted)
        # Of two rows with one key only the first is new.
        inserted.discard(key)
    return was_new


def upsert(connection: Connection, table: Table, rows: Rows) -> None:
    """Insert rows, or replace those of the same primary key; of two rows with one key the later counts."""
    if not rows:
        return
    keys = [column.name for column in table.primary_key.columns]
    new = insert_for(connection, table)
    changed = {name: new.excluded[name] for name in rows[0] if name not in keys}
    if not _streams(connection, rows):
        connection.execute(new.on_conflict_do_update(index_elements=keys, set_=changed), rows)
        return
    key_of = itemgetter(*keys)
    once = list({key_of(row): row for row in rows}.values())
    given = new.from_select(*_incoming(connection, table, once))
    connection.execute(given.on_conflict_do_update(index_elements=keys, set_=changed))


def update_all(connection: Connection, table: Table, rows: Rows) -> None:
    """Change rows that are there, found by their primary key."""
    if not rows:
        return
    (key,) = table.primary_key.columns
    changed = [name for name in rows[0] if name != key.name]
    if _streams(connection, rows):
        _, given = _incoming(connection, table, rows)
        new = given.subquery()
        change = update(table).where(key == new.c[key.name])
        connection.execute(change.values({name: new.c[name] for name in changed}))
        return
    change = update(table).where(key == bindparam("of"))
    change = change.values({name: bindparam(f"new_{name}") for name in changed})
    of = [{"of": row[key.name], **{f"new_{name}": row[name] for name in changed}} for row in rows]
    connection.execute(change, of)


def _streams(connection: Connection, rows: Rows) -> bool:
    return connection.dialect.name == "postgresql" and len(rows) >= STREAMED_FROM


def _streamed_as_new(connection: Connection, table: Table, rows: Rows) -> bool:
    """Stream rows straight into their table; where one of them is there already nothing is kept of it."""
    driver: Any = connection.dialect.loaded_dbapi
    try:
        with connection.begin_nested():
            _stream(connection, table, table.name, rows)
    except driver.IntegrityError:
        return False
    return True


def _incoming(connection: Connection, table: Table, rows: Rows) -> tuple[list[str], Any]:
    """Stream rows into the connection's own table; the columns they have, and their selection."""
    incoming = _incoming_table(table)
    connection.execute(CreateTable(incoming, if_not_exists=True))
    connection.execute(delete(incoming))
    _stream(connection, table, incoming.name, rows)
    columns = list(rows[0])
    return columns, select(*(incoming.c[name] for name in columns))


@cache
def _incoming_table(table: Table) -> Table:
    columns = (Column(column.name, column.type) for column in table.columns)
    name, kept = f"incoming_{table.name}", "DELETE ROWS"
    return Table(name, MetaData(), *columns, prefixes=["TEMPORARY"], postgresql_on_commit=kept)


def _stream(connection: Connection, table: Table, into: str, rows: Rows) -> None:
    names = list(rows[0])
    quoted = ", ".join(map(connection.dialect.identifier_preparer.quote, names))
    dialect = connection.dialect
    prepared = [table.c[name].type.dialect_impl(dialect).bind_processor(dialect) for name in names]
    changed = [(index, prepare) for index, prepare in enumerate(prepared) if prepare is not None]
    driver: Any = connection.connection.driver_connection
    with driver.cursor() as cursor, cursor.copy(f"COPY {into} ({quoted}) FROM STDIN") as stream:
        for row in rows:
            values = [row[name] for name in names]
            for index, prepare in changed:
                values[index] = prepare(values[index])
            stream.write_row(values)
