"""What the pages need: sign-ups, attempts, marks of the erased, replies, keys, logins, bulletins.

Revision ID: 0005
Revises: 0004
"""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("keeper", sa.Column("link_version", sa.Integer(), server_default="0", nullable=False))
    op.create_index("ix_keeper_email", "keeper", ["email"])
    op.create_index("ix_keeper_phone", "keeper", ["phone"])
    op.create_table(
        "signup",
        sa.Column("signup_id", sa.Integer(), nullable=False),
        sa.Column("keeper_id", sa.Integer(), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("confirmed_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["keeper_id"], ["keeper.keeper_id"], name=op.f("fk_signup_keeper_id")),
        sa.PrimaryKeyConstraint("signup_id", name=op.f("pk_signup")),
    )
    op.create_index("ix_signup_keeper", "signup", ["keeper_id"])
    op.create_table(
        "attempt",
        sa.Column("attempt_id", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(16), nullable=False),
        sa.Column("mark", sa.String(64), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("attempt_id", name=op.f("pk_attempt")),
    )
    op.create_index("ix_attempt_mark", "attempt", ["what", "mark", "at"])
    op.create_table(
        "silenced",
        sa.Column("mark", sa.String(64), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("mark", name=op.f("pk_silenced")),
    )
    op.create_table(
        "inbound",
        sa.Column("gateway_id", sa.String(100), nullable=False),
        sa.Column("keeper_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["keeper_id"], ["keeper.keeper_id"], name=op.f("fk_inbound_keeper_id")),
        sa.PrimaryKeyConstraint("gateway_id", name=op.f("pk_inbound")),
    )
    op.create_index("ix_inbound_keeper", "inbound", ["keeper_id", "at"])
    op.create_table(
        "api_key",
        sa.Column("key_id", sa.Integer(), nullable=False),
        sa.Column("keeper_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(80), nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("scopes", sa.String(200), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("revoked_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["keeper_id"], ["keeper.keeper_id"], name=op.f("fk_api_key_keeper_id")),
        sa.PrimaryKeyConstraint("key_id", name=op.f("pk_api_key")),
        sa.UniqueConstraint("digest", name=op.f("uq_api_key_digest")),
    )
    op.create_table(
        "operator",
        sa.Column("name", sa.String(80), nullable=False),
        sa.Column("password_hash", sa.String(200), nullable=False),
        sa.Column("changed_at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_operator")),
    )
    op.create_table(
        "bulletin",
        sa.Column("guide_id", sa.String(40), nullable=False),
        sa.Column("week_on", sa.Date(), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.Column("said", sa.Text(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("guide_id", "week_on", name=op.f("pk_bulletin")),
    )
    op.create_index("ix_outbox_rfc_message_id", "outbox", ["rfc_message_id"])


def downgrade() -> None:
    for name in (
        "bulletin",
        "operator",
        "api_key",
        "inbound",
        "silenced",
        "attempt",
        "signup",
    ):
        op.drop_table(name)
    op.drop_index("ix_outbox_rfc_message_id", table_name="outbox")
    op.drop_index("ix_keeper_phone", table_name="keeper")
    op.drop_index("ix_keeper_email", table_name="keeper")
    op.drop_column("keeper", "link_version")
