"""Bringing a store's tables up to this program's version."""

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection
from sqlalchemy.exc import SQLAlchemyError

from mowalert.errors import StoreError
from mowalert.store.engine import open_engine

HERE = Path(__file__).parent / "migrations"


def config_for(connection: Connection | None = None) -> Config:
    """Return the migration tool's settings, made here so that no file is needed."""
    config = Config()
    config.set_main_option("script_location", str(HERE))
    config.attributes["connection"] = connection
    return config


def upgrade(url: str) -> None:
    """Make or update every table; StoreError if that fails."""
    _run(url, "head", command.upgrade)


def downgrade(url: str, to: str) -> None:
    """Take migrations back; for tests and rescue."""
    _run(url, to, command.downgrade)


def _run(url: str, to: str, change: object) -> None:
    engine = open_engine(url)
    try:
        with engine.connect() as connection:
            change(config_for(connection), to)  # type: ignore[operator]
            connection.commit()
    except SQLAlchemyError as error:
        raise StoreError(f"the store's tables cannot be updated: {error}") from error
    finally:
        engine.dispose()


def head() -> str:
    """Return the version this program wants."""
    return str(ScriptDirectory.from_config(config_for()).get_current_head())


def schema_version(url: str) -> str | None:
    """Return the version a store has; none where it has no tables yet."""
    engine = open_engine(url)
    try:
        with engine.connect() as connection:
            return MigrationContext.configure(connection).get_current_revision()
    except SQLAlchemyError as error:
        raise StoreError(f"the store cannot be read: {error}") from error
    finally:
        engine.dispose()
