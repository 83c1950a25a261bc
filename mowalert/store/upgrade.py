"""Bringing a store's tables up to this program's version.

Every command asks for the version, few change it: the migration tool, slow to load, is loaded for these.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, column, inspect, select, table
from sqlalchemy.exc import SQLAlchemyError

from mowalert.errors import StoreError
from mowalert.store.engine import first_line, open_engine

if TYPE_CHECKING:
    from alembic.config import Config

HERE = Path(__file__).parent / "migrations"
VERSION = table("alembic_version", column("version_num"))
"""Where the migration tool keeps a store's version."""


def config_for(connection: Connection | None = None) -> "Config":
    """Return the migration tool's settings, made here so that no file is needed."""
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(HERE))
    config.attributes["connection"] = connection
    return config


def upgrade(url: str) -> None:
    """Make or update every table; StoreError if that fails, or the store is newer than the program."""
    from alembic import command

    version = schema_version(url)
    if version is not None:
        refuse_newer(version)
    _run(url, "head", command.upgrade)


def downgrade(url: str, to: str) -> None:
    """Take migrations back; for tests and rescue."""
    from alembic import command

    _run(url, to, command.downgrade)


def upgrade_within(connection: Connection, to: str) -> None:
    """Bring tables up to a version as a part of a transaction."""
    from alembic import command

    command.upgrade(config_for(connection), to)


def _run(url: str, to: str, change: object) -> None:
    engine = open_engine(url)
    try:
        with engine.connect() as connection, tables_may_be_replaced(connection):
            change(config_for(connection), to)  # type: ignore[operator]
    except SQLAlchemyError as error:
        raise StoreError(f"the store's tables cannot be updated: {first_line(error)}") from error
    finally:
        engine.dispose()


@contextmanager
def tables_may_be_replaced(connection: Connection) -> Iterator[None]:
    """Commit what a block did to the tables.

    SQLite changes a table by replacing it: references to it are checked when all is done, before it lasts.
    """
    raw = connection.connection.dbapi_connection
    if connection.dialect.name != "sqlite" or raw is None:
        yield
        connection.commit()
        return
    # Inside a transaction, which the first statement of the connection begins, the pragma does nothing.
    raw.cursor().execute("PRAGMA foreign_keys=OFF")
    try:
        yield
        if broken := raw.cursor().execute("PRAGMA foreign_key_check").fetchone():
            raise StoreError(f"the tables cannot stay so: a row of {broken[0]} has lost its {broken[2]}")
        connection.commit()
    finally:
        raw.cursor().execute("PRAGMA foreign_keys=ON")


def head() -> str:
    """Return the version this program wants: the number its newest migration's file begins with."""
    return max(path.name.partition("_")[0] for path in (HERE / "versions").glob("[0-9]*_*.py"))


def schema_version(url: str) -> str | None:
    """Return the version a store has; none where it has no tables yet."""
    engine = open_engine(url)
    try:
        with engine.connect() as connection:
            return version_of(connection)
    except SQLAlchemyError as error:
        raise StoreError(f"the store cannot be read: {first_line(error)}") from error
    finally:
        engine.dispose()


def version_of(connection: Connection) -> str | None:
    """Return the version of the store behind a connection; none where it has no tables yet."""
    if not inspect(connection).has_table(VERSION.name):
        return None
    version = connection.scalar(select(VERSION.c.version_num))
    return None if version is None else str(version)


def refuse_other(version: str) -> None:
    """Raise StoreError where a store's version is not this program's, and say what helps."""
    refuse_newer(version)
    if version != head():
        raise StoreError(
            f"the store has version {version}, older than this program's {head()}: "
            "make a backup, then run init-store"
        )


def refuse_newer(version: str) -> None:
    """Raise StoreError where a store is newer than this program."""
    if version > head():
        raise StoreError(
            f"the store has version {version}, newer than this program's {head()}: "
            "install the program that updated it"
        )
