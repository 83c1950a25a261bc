"""Stores of every version there was, with rows in all their tables, brought up to this program's."""

import pytest
import sqlalchemy as sa
from rows import fill
from stores import migrate

from mowalert.errors import StoreError
from mowalert.store.engine import open_engine
from mowalert.store.upgrade import HERE, VERSION, head, schema_version, upgrade

VERSIONS = sorted(path.name.partition("_")[0] for path in (HERE / "versions").glob("[0-9]*_*.py"))
Kept = dict[str, list[dict[str, str]]]


def store_of(url: str, version: str) -> None:
    """Make a store as a program of that version left it."""
    migrate(url, version)
    fill(url, version)


@pytest.mark.parametrize("version", VERSIONS)
def test_every_row_of_every_version_survives_an_upgrade(store_url: str, version: str) -> None:
    store_of(store_url, version)
    before = named_rows(store_url)
    upgrade(store_url)
    assert schema_version(store_url) == head()
    after = named_rows(store_url)
    for name, rows in before.items():
        kept = [{column: row.get(column) for column in rows[0]} for row in after[name]]
        assert in_order(kept) == in_order(rows), name


def named_rows(url: str) -> Kept:
    """All rows of all tables but the version's, by column: a table that is changed may order them anew."""
    engine = open_engine(url)
    tables = sa.MetaData()
    try:
        with engine.connect() as connection:
            tables.reflect(connection)
            return {
                table.name: [
                    {name: repr(value) for name, value in row.items()}
                    for row in connection.execute(sa.select(table)).mappings()
                ]
                for table in tables.sorted_tables
                if table.name != VERSION.name
            }
    finally:
        engine.dispose()


def in_order(rows: list[dict[str, str]]) -> list[str]:
    return sorted(str(sorted(row.items())) for row in rows)


def test_a_newer_store_is_not_touched(store_url: str) -> None:
    upgrade(store_url)
    engine = open_engine(store_url)
    with engine.begin() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
    engine.dispose()
    with pytest.raises(StoreError, match="version 9999, newer than this program's"):
        upgrade(store_url)
    assert schema_version(store_url) == "9999"
