"""PostgreSQL's settings for cleaning up can be applied to our tables, twice, and are kept as they stand."""

import re
from pathlib import Path

import sqlalchemy as sa

from mowalert.store.engine import open_engine
from mowalert.store.tables import metadata

SQL = Path(__file__).parents[2] / "deploy" / "postgresql" / "autovacuum.sql"
STATEMENT = re.compile(r"ALTER TABLE (\w+) SET \((.*?)\);", re.DOTALL)


def test_they_can_be_applied_and_are_kept(postgres_store: str) -> None:
    text = SQL.read_text()
    wanted = {
        table: dict(re.findall(r"(\w+) = ([\d.]+)", settings)) for table, settings in STATEMENT.findall(text)
    }
    assert len(wanted) == text.count("ALTER TABLE") > 5
    assert set(wanted) <= set(metadata.tables)
    engine = open_engine(postgres_store)
    with engine.begin() as connection:
        for _ in range(2):
            connection.exec_driver_sql(text)
        rows = connection.execute(
            sa.text("SELECT relname, reloptions FROM pg_class WHERE reloptions <> '{}'")
        )
        kept = {row.relname: dict(one.split("=") for one in row.reloptions) for row in rows}
        for table in wanted:
            names = ", ".join(wanted[table])
            connection.exec_driver_sql(f"ALTER TABLE {table} RESET ({names})")
    engine.dispose()
    assert {table: kept[table] for table in wanted} == wanted
