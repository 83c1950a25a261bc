"""Official warnings, and the weather cells they touch.

Revision ID: 0006
Revises: 0005
"""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "official_warning",
        sa.Column("warning_id", sa.String(700), nullable=False),
        sa.Column("source", sa.String(120), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.Column("expires_at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("warning_id", name=op.f("pk_official_warning")),
    )
    op.create_index("ix_official_warning_source", "official_warning", ["source"])
    op.create_index("ix_official_warning_expires", "official_warning", ["expires_at"])
    op.create_table(
        "official_warning_cell",
        sa.Column("warning_id", sa.String(700), nullable=False),
        sa.Column("cell_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["warning_id"],
            ["official_warning.warning_id"],
            name=op.f("fk_official_warning_cell_warning_id"),
        ),
        sa.ForeignKeyConstraint(["cell_id"], ["cell.cell_id"], name=op.f("fk_official_warning_cell_cell_id")),
        sa.PrimaryKeyConstraint("warning_id", "cell_id", name=op.f("pk_official_warning_cell")),
    )
    op.create_index("ix_official_warning_cell_cell", "official_warning_cell", ["cell_id"])


def downgrade() -> None:
    op.drop_table("official_warning_cell")
    op.drop_table("official_warning")
