"""Nights by shards of cells, and indexes by which a shard finds its lawns.

Revision ID: 0010
Revises: 0009
"""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None

TOLD = sa.text("told_hold IS NOT NULL")
ADVISED = sa.text("advised_on IS NOT NULL")


def upgrade() -> None:
    op.create_table(
        "night",
        sa.Column("night_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("round_ids", sa.JSON(), nullable=False),
        sa.Column("shards", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(8), nullable=False),
        sa.PrimaryKeyConstraint("night_id", name=op.f("pk_night")),
    )
    op.create_table(
        "night_shard",
        sa.Column("night_id", sa.Integer(), nullable=False),
        sa.Column("shard", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("first_cell", sa.Integer(), nullable=False),
        sa.Column("last_cell", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(8), nullable=False),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("sent_at", sa.DateTime(), nullable=True),
        sa.Column("digests", sa.JSON(), nullable=False),
        sa.Column("left_lawns", sa.JSON(), nullable=False),
        sa.Column("report", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["night_id"], ["night.night_id"], name=op.f("fk_night_shard_night_id")),
        sa.PrimaryKeyConstraint("night_id", "shard", name=op.f("pk_night_shard")),
    )
    _replace("ix_lawn_told", ["stand_id", "round_id", "told_hold"], TOLD)
    _replace("ix_lawn_advised", ["stand_id", "advised_on"], ADVISED)


def downgrade() -> None:
    _replace("ix_lawn_advised", ["advised_on"], ADVISED)
    _replace("ix_lawn_told", ["round_id", "told_hold"], TOLD)
    op.drop_table("night_shard")
    op.drop_table("night")


def _replace(name: str, columns: list[str], where: sa.TextClause) -> None:
    op.drop_index(name, "lawn")
    op.create_index(name, "lawn", columns, sqlite_where=where, postgresql_where=where)
