"""Stores with tables and nothing in them, copied from one: making one takes its time."""

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import sqlalchemy as sa

from mowalert.store.engine import SqlStore, open_engine
from mowalert.store.upgrade import upgrade, upgrade_within


@cache
def empty_store() -> bytes:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "mowalert.db"
        upgrade(f"sqlite:///{path}")
        return path.read_bytes()


def new_store(path: Path) -> SqlStore:
    """Open a new store at a path; one that was there is replaced."""
    for old in path.parent.glob(f"{path.name}*"):
        old.unlink()
    path.write_bytes(empty_store())
    return SqlStore(f"sqlite:///{path}")


def migrate(url: str, version: str) -> None:
    """Make a database's tables those of a version."""
    engine = open_engine(url)
    with engine.connect() as connection:
        upgrade_within(connection, version)
        connection.commit()
    engine.dispose()


def contents(url: str) -> dict[str, list[tuple[object, ...]]]:
    """All rows of all tables the database has, whatever the program knows of."""
    engine = sa.create_engine(url)
    tables = sa.MetaData()
    tables.reflect(engine)
    with engine.connect() as connection:
        rows = {
            table.name: sorted((tuple(row) for row in connection.execute(sa.select(table))), key=repr)
            for table in tables.sorted_tables
        }
    engine.dispose()
    return rows
