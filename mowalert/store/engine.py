"""Opening the store: SQLite with a write-ahead log, or PostgreSQL by URL."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from pydantic_core import to_json
from sqlalchemy import Engine, create_engine, event, func, make_url, select
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.pool import StaticPool

from mowalert.errors import StoreError
from mowalert.store.work import SqlWork

BUSY_WAIT_S = 30
SYNCHRONOUS = "FULL"
"""With less a power cut takes the newest commits back, among them that a text is being sent."""


class SqlStore:
    """The store behind one URL.

    Parameters
    ----------
    url : str
        An SQLAlchemy URL.
    """

    def __init__(self, url: str) -> None:
        self.url = url
        self._engine = open_engine(url)
        driver: Any = self._engine.dialect.loaded_dbapi
        # Streams of rows speak to the driver itself.
        self._faults = (SQLAlchemyError, driver.Error)

    @contextmanager
    def begin(self) -> Iterator[SqlWork]:
        """Begin one transaction; leaving without ``commit`` rolls back."""
        try:
            with self._engine.connect() as connection:
                yield SqlWork(connection)
        except self._faults as error:
            raise StoreError(f"the store cannot be used: {first_line(error)}") from error

    @contextmanager
    def alone(self, name: str, *, wait: bool = False) -> Iterator[bool]:
        """Do something no other process does under that name; ``False`` where one does and we don't wait.

        The server lets go when the connection ends, however it does. SQLite's file is one host's, whose
        transactions take turns by themselves.
        """
        if self._engine.dialect.name != "postgresql":
            yield True
            return
        try:
            with self._engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
                key = func.hashtextextended(name, 0)
                take = func.pg_advisory_lock(key) if wait else func.pg_try_advisory_lock(key)
                taken = connection.scalar(select(take)) is not False
                try:
                    yield taken
                finally:
                    if taken:
                        connection.execute(select(func.pg_advisory_unlock(key)))
        except SQLAlchemyError as error:
            raise StoreError(f"the store cannot be used: {first_line(error)}") from error

    def close(self) -> None:
        """Let go of every connection."""
        self._engine.dispose()


def open_engine(url: str, *, reads: bool = False) -> Engine:
    """Return an engine, to read at one moment or to write as well; StoreError if the URL cannot be used."""
    try:
        parsed = make_url(url)
        if parsed.get_backend_name() == "sqlite":
            return _sqlite(url, parsed.database, reads=reads)
        one_moment = {"isolation_level": "REPEATABLE READ"} if reads else {}
        # Parameters are people's: no error shows them.
        return create_engine(
            parsed, pool_pre_ping=True, hide_parameters=True, json_serializer=_json, **one_moment
        )
    except (SQLAlchemyError, ModuleNotFoundError, OSError) as error:
        raise StoreError(f"the store cannot be opened: {first_line(error)}") from error


def _json(value: Any) -> str:
    return to_json(value).decode()


def _sqlite(url: str, database: str | None, *, reads: bool) -> Engine:
    in_memory = database in (None, "", ":memory:")
    if database and not in_memory:
        Path(database).parent.mkdir(parents=True, exist_ok=True)
    options: dict[str, Any] = {"connect_args": {"timeout": BUSY_WAIT_S, "check_same_thread": False}}
    engine = create_engine(
        url,
        hide_parameters=True,
        json_serializer=_json,
        **options,
        **({"poolclass": StaticPool} if in_memory else {}),
    )
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin if reads else _begin_immediate)
    return engine


def _prepare_sqlite(connection: Any, record: Any) -> None:
    # The driver must not begin transactions by itself: they begin below, taking the write lock at once.
    connection.isolation_level = None
    cursor = connection.cursor()
    for pragma in ("journal_mode=WAL", "foreign_keys=ON", f"synchronous={SYNCHRONOUS}", "cache_size=-65536"):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _begin(connection: Any) -> None:
    # With a write-ahead log it reads what was there at its first query, and holds nobody up.
    connection.exec_driver_sql("BEGIN")


def _begin_immediate(connection: Any) -> None:
    connection.exec_driver_sql("BEGIN IMMEDIATE")


def first_line(error: Exception) -> str:
    """Return the first line of what a driver said."""
    cause = getattr(error, "orig", None) or error
    return str(cause).splitlines()[0] if str(cause) else type(cause).__name__
