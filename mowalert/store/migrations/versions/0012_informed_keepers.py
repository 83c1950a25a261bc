"""An index by which every shard finds who asked for all holds.

Revision ID: 0012
Revises: 0011
"""

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_index(
        "ix_keeper_informed",
        "keeper",
        ["keeper_id"],
        sqlite_where=sa.text("tells_all_holds IS 1"),
        postgresql_where=sa.text("tells_all_holds IS TRUE"),
    )


def downgrade() -> None:
    op.drop_index("ix_keeper_informed", "keeper")
