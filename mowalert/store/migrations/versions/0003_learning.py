"""What measured heights teach about a lawn.

Revision ID: 0003
Revises: 0002
"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

INTERVAL = ("from_height_mm", "from_doubt_mm", "stand_growth_mm", "pace")


def upgrade() -> None:
    for name in INTERVAL:
        op.add_column("event", sa.Column(name, sa.Float(), nullable=True))
    op.add_column("lawn", sa.Column("learned_spread", sa.Float(), nullable=True))
    op.add_column("lawn", sa.Column("learned_reports", sa.Integer(), server_default="0", nullable=False))


def downgrade() -> None:
    op.drop_column("lawn", "learned_reports")
    op.drop_column("lawn", "learned_spread")
    for name in INTERVAL:
        op.drop_column("event", name)
