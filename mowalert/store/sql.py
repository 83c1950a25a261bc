"""Small helpers that make one query run on both databases."""

from collections.abc import Iterable, Iterator, Sequence
from typing import Any, TypeVar

from sqlalchemy import Connection, Table
from sqlalchemy.dialects import postgresql, sqlite

Item = TypeVar("Item")
AT_ONCE = 900
"""Values in one list of a query; SQLite takes 32,766, but long lists are slow to parse."""


def insert_for(connection: Connection, table: Table) -> Any:
    """Return the dialect's own insert, which knows what to do on a conflict."""
    dialect = sqlite if connection.dialect.name == "sqlite" else postgresql
    return dialect.insert(table)


def upsert(connection: Connection, table: Table, rows: Sequence[dict[str, Any]]) -> None:
    """Insert rows, or replace those of the same primary key."""
    if not rows:
        return
    insert = insert_for(connection, table)
    keys = [column.name for column in table.primary_key.columns]
    changed = {name: insert.excluded[name] for name in rows[0] if name not in keys}
    connection.execute(insert.on_conflict_do_update(index_elements=keys, set_=changed), rows)


def chunks(items: Iterable[Item], size: int = AT_ONCE) -> Iterator[list[Item]]:
    """Cut items into lists of a size that one query takes."""
    batch: list[Item] = []
    for item in items:
        batch.append(item)
        if len(batch) == size:
            yield batch
            batch = []
    if batch:
        yield batch


def values_of(record: Any, *, without: Iterable[str] = ()) -> dict[str, Any]:
    """Return a record's fields by name; enums as their text."""
    left_out = set(without)
    names = (name for name in record.__dataclass_fields__ if name not in left_out)
    return {name: getattr(value, "value", value) for name in names for value in [getattr(record, name)]}
