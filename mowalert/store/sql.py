"""Small helpers that make one query run on both databases."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from enum import Enum
from functools import cache
from operator import attrgetter
from typing import Any, TypeVar

from sqlalchemy import ColumnElement, Connection, Select, Table, any_, func, literal, select
from sqlalchemy.dialects import postgresql, sqlite

Item = TypeVar("Item")
AT_ONCE = 900
"""Values in one list of a query; SQLite takes 32,766, but long lists are slow to parse."""

# PostgreSQL takes a comparison of two columns for a third of all rows and would read every lawn.
# A search's many ids may come from several cores at once.
_ADVICE = {
    "enable_hashjoin": "off",
    "enable_mergejoin": "off",
    "enable_seqscan": "off",
    "parallel_tuple_cost": "0",
}
_BY_INDEX = "; ".join(f"SET LOCAL {name} = {value}" for name, value in _ADVICE.items())
_PLANNERS_CHOICE = "; ".join(f"SET LOCAL {name} = DEFAULT" for name in _ADVICE)


@contextmanager
def by_index(connection: Connection) -> Iterator[None]:
    """Let PostgreSQL read no table as a whole meanwhile."""
    advised = connection.dialect.name == "postgresql"
    if advised:
        connection.exec_driver_sql(_BY_INDEX)
    yield
    if advised:
        connection.exec_driver_sql(_PLANNERS_CHOICE)


def insert_for(connection: Connection, table: Table) -> Any:
    """Return the dialect's own insert, which knows what to do on a conflict."""
    dialect = sqlite if connection.dialect.name == "sqlite" else postgresql
    return dialect.insert(table)


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


def among(connection: Connection, column: Any, values: Sequence[Any]) -> ColumnElement[bool]:
    """Whether a column has one of some values; where the database can, they are one parameter."""
    if connection.dialect.name == "postgresql":
        return column == any_(literal(values, postgresql.ARRAY(column.type)))  # type: ignore[no-any-return]
    return column.in_(values)  # type: ignore[no-any-return]


def look_up(
    connection: Connection, query: Select[Any], column: Any, values: Iterable[Any] | None
) -> Iterator[Any]:
    """Rows of a query whose column has one of some values, a batch at a time; without values all rows."""
    if values is None:
        yield from connection.execute(query).all()
        return
    for batch in chunks(values):
        yield from connection.execute(query.where(among(connection, column, batch))).all()


def ids_of(connection: Connection, query: Any) -> list[int]:
    """Ids that a query finds; PostgreSQL gives them as one array, which is read faster than so many rows."""
    if connection.dialect.name != "postgresql":
        return list(connection.scalars(query))
    (found,) = query.subquery().c
    return connection.scalar(select(func.array_agg(found))) or []


def values_of(record: Any, *, without: Iterable[str] = ()) -> dict[str, Any]:
    """Return a record's fields by name; enums as their text."""
    kind: type = type(record)
    names, values = _getter(kind, tuple(without))
    return {
        name: value.value if isinstance(value, Enum) else value
        for name, value in zip(names, values(record), strict=True)
    }


@cache
def _getter(kind: type, without: tuple[str, ...]) -> tuple[tuple[str, ...], Callable[[Any], tuple[Any, ...]]]:
    names = tuple(name for name in kind.__dataclass_fields__ if name not in without)  # type: ignore[attr-defined]
    return names, attrgetter(*names)
