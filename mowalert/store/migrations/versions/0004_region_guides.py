"""Region guides, the lawns they speak of, and dates on which a lawn is left alone.

Revision ID: 0004
Revises: 0003
"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "guide",
        sa.Column("guide_id", sa.String(40), nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("kept_at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("guide_id", "version", name=op.f("pk_guide")),
    )
    op.create_table(
        "kept_off",
        sa.Column("kept_off_id", sa.Integer(), nullable=False),
        sa.Column("lawn_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(16), nullable=False),
        sa.Column("first_on", sa.Date(), nullable=False),
        sa.Column("last_on", sa.Date(), nullable=False),
        sa.Column("note", sa.String(200), nullable=False),
        sa.Column("said_at", sa.DateTime(), nullable=False),
        sa.Column("undone_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["lawn_id"], ["lawn.lawn_id"], name=op.f("fk_kept_off_lawn_id")),
        sa.PrimaryKeyConstraint("kept_off_id", name=op.f("pk_kept_off")),
    )
    op.create_index("ix_kept_off_lawn", "kept_off", ["lawn_id", "last_on"])
    op.create_index("ix_kept_off_last", "kept_off", ["last_on"])
    op.add_column("lawn", sa.Column("guide", sa.String(40), nullable=True))
    op.add_column(
        "lawn", sa.Column("follows_guide", sa.Boolean(), server_default=sa.text("false"), nullable=False)
    )
    op.add_column("lawn", sa.Column("third", sa.Float(), server_default="0.3333333333333333", nullable=False))
    op.create_index(
        "ix_lawn_guide",
        "lawn",
        ["guide", "grass"],
        sqlite_where=sa.text("guide IS NOT NULL"),
        postgresql_where=sa.text("guide IS NOT NULL"),
    )


def downgrade() -> None:
    op.drop_index("ix_lawn_guide", table_name="lawn")
    for name in ("third", "follows_guide", "guide"):
        op.drop_column("lawn", name)
    op.drop_table("kept_off")
    op.drop_table("guide")
