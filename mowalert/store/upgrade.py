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
    """Make or update every table; StoreError if that fails."""
    from alembic import command

    _run(url, "head", command.upgrade)


def downgrade(url: str, to: str) -> None:
    """Take migrations back; for tests and rescue."""
    from alembic import command

    _run(url, to, command.downgrade)


def _run(url: str, to: str, change: object) -> None:
    engine = open_engine(url)
    try:
        with engine.connect() as connection, _tables_may_be_replaced(connection):
            change(config_for(connection), to)  # type: ignore[operator]
            connection.commit()
    except SQLAlchemyError as error:
        raise StoreError(f"the store's tables cannot be updated: {first_line(error)}") from error
    finally:
        engine.dispose()


@contextmanager
def _tables_may_be_replaced(connection: Connection) -> Iterator[None]:
    """SQLite changes a table by replacing it: references to it are checked when all is done."""
    raw = connection.connection.dbapi_connection
    if connection.dialect.name != "sqlite" or raw is None:
        yield
        return
    # Inside a transaction, which the first statement of the connection begins, the pragma does nothing.
    raw.cursor().execute("PRAGMA foreign_keys=OFF")
    try:
        yield
        if broken := raw.cursor().execute("PRAGMA foreign_key_check").fetchone():
            raise StoreError(
                f"the store's tables were updated, but a row of {broken[0]} has lost its {broken[2]}"
            )
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
            if not inspect(connection).has_table(VERSION.name):
                return None
            version = connection.scalar(select(VERSION.c.version_num))
            return None if version is None else str(version)
    except SQLAlchemyError as error:
        raise StoreError(f"the store cannot be read: {first_line(error)}") from error
    finally:
        engine.dispose()
