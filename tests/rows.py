"""Rows for every table of a version: awkward values, so that what is lost on the way shows."""

from datetime import date, datetime, timedelta
from typing import Any

import sqlalchemy as sa

from mowalert.store.backup import JSON_TEXT, tables_of
from mowalert.store.engine import open_engine

ROWS = 3
AWKWARD = 'Ñandú "quoted" \\ back\nslash\t½ ’ 🌱'


def fill(url: str, version: str) -> None:
    """Put rows into every table that a store of a version has."""
    engine = open_engine(url)
    with engine.connect() as connection:
        for table in tables_of(version):
            for number in range(1, ROWS + 1):
                values = {column.name: value_of(column, number) for column in table.columns}
                connection.execute(_as_stored(table).insert(), values)
            _number_on(connection, table)
        connection.commit()
    engine.dispose()


def value_of(column: sa.Column[Any], number: int) -> Any:
    """A column's value in one row; what refers to another row refers to that of the same number."""
    if column.nullable and number == ROWS:
        return None
    if column.info[JSON_TEXT]:
        return {"number": number, "of": [1.5, None, True, AWKWARD], "empty": {}}
    kind = column.type
    if isinstance(kind, sa.Boolean):
        return number % 2 == 0
    if isinstance(kind, sa.Integer):
        return number
    if isinstance(kind, sa.Float):
        return [0.1 + 0.2, 1e300, 5e-324][number - 1]
    if isinstance(kind, sa.DateTime):
        return datetime(2026, 5, 7, 22, 5, 0, 123456) + timedelta(days=number)  # noqa: DTZ001 - as it is stored
    if isinstance(kind, sa.Date):
        return date(2026, 2, 28) + timedelta(days=number)
    if isinstance(kind, sa.LargeBinary):
        return bytes(range(256)) * number
    length = getattr(kind, "length", None) or 1000
    return f"{number} {column.name} {AWKWARD}"[:length] if length > 8 else f"{number}½"


def _as_stored(table: sa.Table) -> sa.Table:
    kinds = [(one.name, sa.JSON() if one.info[JSON_TEXT] else one.type) for one in table.columns]
    return sa.Table(table.name, sa.MetaData(), *(sa.Column(name, kind) for name, kind in kinds))


def _number_on(connection: sa.Connection, table: sa.Table) -> None:
    """Let a table have given out numbers of rows that are gone, where it remembers them."""
    column = table.autoincrement_column
    if column is not None and connection.dialect.name == "sqlite":
        counters = sa.table("sqlite_sequence", sa.column("name"), sa.column("seq"))
        if sa.inspect(connection).has_table(counters.name):
            gone = sa.update(counters).where(counters.c.name == table.name)
            connection.execute(gone.values(seq=ROWS + 4))
    elif column is not None:
        kept = sa.func.pg_get_serial_sequence(table.name, column.name)
        connection.execute(sa.select(sa.func.setval(kept, ROWS + 4)))
