"""SQLAlchemy tables, queries and migrations: SQLite by default, PostgreSQL by URL."""
