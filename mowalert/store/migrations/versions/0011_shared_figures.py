"""Figures that all processes share: calls of short spans still allowed, and what was done since the beginning.

Revision ID: 0011
Revises: 0010
"""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "bucket",
        sa.Column("source", sa.String(32), nullable=False),
        sa.Column("span_s", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("calls", sa.Float(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("source", "span_s", name=op.f("pk_bucket")),
    )
    op.create_table(
        "tally",
        sa.Column("figure", sa.String(40), nullable=False),
        sa.Column("label", sa.String(40), nullable=False),
        sa.Column("value", sa.Float(), nullable=False),
        sa.PrimaryKeyConstraint("figure", "label", name=op.f("pk_tally")),
    )


def downgrade() -> None:
    op.drop_table("tally")
    op.drop_table("bucket")
