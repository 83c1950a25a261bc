"""Ensembles, and forecasts kept to be judged.

Revision ID: 0002
Revises: 0001
"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("stand_growth", sa.Column("members", sa.LargeBinary(), nullable=True))
    op.create_table(
        "cell_ensemble",
        sa.Column("cell_id", sa.Integer(), nullable=False),
        sa.Column("fetched_at", sa.DateTime(), nullable=False),
        sa.Column("source", sa.String(length=32), nullable=False),
        sa.Column("first_on", sa.Date(), nullable=False),
        sa.Column("days", sa.Integer(), nullable=False),
        sa.Column("members", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["cell_id"], ["cell.cell_id"], name=op.f("fk_cell_ensemble_cell_id")),
        sa.PrimaryKeyConstraint("cell_id", name=op.f("pk_cell_ensemble")),
    )
    op.create_table(
        "kept_forecast",
        sa.Column("stand_id", sa.Integer(), nullable=False),
        sa.Column("as_of", sa.Date(), nullable=False),
        sa.Column("gains_mm", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["stand_id"], ["stand.stand_id"], name=op.f("fk_kept_forecast_stand_id")),
        sa.PrimaryKeyConstraint("stand_id", "as_of", name=op.f("pk_kept_forecast")),
    )
    op.create_table(
        "forecast_error",
        sa.Column("lead_days", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("tally", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("lead_days", name=op.f("pk_forecast_error")),
    )


def downgrade() -> None:
    op.drop_table("forecast_error")
    op.drop_table("kept_forecast")
    op.drop_table("cell_ensemble")
    op.drop_column("stand_growth", "members")
