"""Numbers that links speak of are given once: in SQLite a row that is erased left its number to the next.

Revision ID: 0009
Revises: 0008
"""

from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

SPOKEN_OF = ("keeper", "site", "lawn", "contact", "signup")


def upgrade() -> None:
    _replace(once=True)


def downgrade() -> None:
    _replace(once=False)


def _replace(*, once: bool) -> None:
    # PostgreSQL's sequences never give a number twice.
    if op.get_bind().dialect.name != "sqlite":
        return
    for name in SPOKEN_OF:
        with op.batch_alter_table(name, recreate="always", table_kwargs={"sqlite_autoincrement": once}):
            pass
