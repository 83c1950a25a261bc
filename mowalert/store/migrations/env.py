"""Runs migrations on the connection it is given."""

from alembic import context

from mowalert.store import crew_tables, park_tables  # noqa: F401 - they add their tables
from mowalert.store.tables import metadata

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=metadata, render_as_batch=True)
with context.begin_transaction():
    context.run_migrations()
