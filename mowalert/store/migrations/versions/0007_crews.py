"""Crews, contacts, plans and visits; messages to contacts.

Revision ID: 0007
Revises: 0006
"""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

ONCE_BEFORE = ["keeper_id", "channel", "kind", "local_date"]
ONCE = ["keeper_id", "contact_id", "channel", "kind", "local_date"]


def upgrade() -> None:
    _crews()
    _contacts()
    _work()
    _plans_and_visits()
    _messages_to_contacts()


def _crews() -> None:
    op.create_table(
        "crew",
        sa.Column("crew_id", sa.Integer(), nullable=False),
        sa.Column("keeper_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(200), nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("latitude_deg", sa.Float(), nullable=False),
        sa.Column("longitude_deg", sa.Float(), nullable=False),
        sa.Column("weekdays", sa.Integer(), nullable=False),
        sa.Column("from_min", sa.Integer(), nullable=False),
        sa.Column("to_min", sa.Integer(), nullable=False),
        sa.Column("retired", sa.Boolean(), server_default=sa.text("false"), nullable=False),
        sa.ForeignKeyConstraint(["keeper_id"], ["keeper.keeper_id"], name=op.f("fk_crew_keeper_id")),
        sa.PrimaryKeyConstraint("crew_id", name=op.f("pk_crew")),
        sa.UniqueConstraint("keeper_id", "key", name=op.f("uq_crew_keeper_id_key")),
    )
    op.create_table(
        "crew_day",
        sa.Column("crew_id", sa.Integer(), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("from_min", sa.Integer(), nullable=False),
        sa.Column("to_min", sa.Integer(), nullable=False),
        sa.Column("note", sa.String(200), nullable=False),
        sa.ForeignKeyConstraint(["crew_id"], ["crew.crew_id"], name=op.f("fk_crew_day_crew_id")),
        sa.PrimaryKeyConstraint("crew_id", "on", name=op.f("pk_crew_day")),
    )


def _contacts() -> None:
    op.create_table(
        "contact",
        sa.Column("contact_id", sa.Integer(), nullable=False),
        sa.Column("keeper_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(200), nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("role", sa.String(12), nullable=False),
        sa.Column("crew_id", sa.Integer(), nullable=True),
        sa.Column("email", sa.String(320), nullable=True),
        sa.Column("phone", sa.String(20), nullable=True),
        sa.Column("language", sa.String(8), nullable=False),
        sa.Column("consent_at", sa.DateTime(), nullable=False),
        sa.Column("consent_from", sa.String(200), nullable=False),
        sa.Column("email_suspended", sa.String(200), nullable=True),
        sa.Column("phone_suspended", sa.String(200), nullable=True),
        sa.Column("link_version", sa.Integer(), server_default="0", nullable=False),
        sa.ForeignKeyConstraint(["keeper_id"], ["keeper.keeper_id"], name=op.f("fk_contact_keeper_id")),
        sa.ForeignKeyConstraint(["crew_id"], ["crew.crew_id"], name=op.f("fk_contact_crew_id")),
        sa.PrimaryKeyConstraint("contact_id", name=op.f("pk_contact")),
        sa.UniqueConstraint("keeper_id", "key", name=op.f("uq_contact_keeper_id_key")),
    )
    op.create_index("ix_contact_email", "contact", ["email"])
    op.create_index("ix_contact_phone", "contact", ["phone"])


def _work() -> None:
    op.create_table(
        "site_work",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("keeper_id", sa.Integer(), nullable=False),
        *(
            sa.Column(name, sa.String(200), nullable=False)
            for name in ("number", "client", "access", "gate", "dog", "district")
        ),
        sa.Column("visit_from_min", sa.Integer(), nullable=True),
        sa.Column("visit_to_min", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["site_id"], ["site.site_id"], name=op.f("fk_site_work_site_id")),
        sa.ForeignKeyConstraint(["keeper_id"], ["keeper.keeper_id"], name=op.f("fk_site_work_keeper_id")),
        sa.PrimaryKeyConstraint("site_id", name=op.f("pk_site_work")),
    )
    op.create_index("ix_site_work_number", "site_work", ["keeper_id", "number"])
    op.create_table(
        "lawn_work",
        sa.Column("lawn_id", sa.Integer(), nullable=False),
        sa.Column("minutes", sa.Float(), nullable=True),
        sa.Column("learned_minutes", sa.Float(), nullable=True),
        sa.Column("learned_visits", sa.Integer(), nullable=False),
        sa.Column("crew_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["lawn_id"], ["lawn.lawn_id"], name=op.f("fk_lawn_work_lawn_id")),
        sa.ForeignKeyConstraint(["crew_id"], ["crew.crew_id"], name=op.f("fk_lawn_work_crew_id")),
        sa.PrimaryKeyConstraint("lawn_id", name=op.f("pk_lawn_work")),
    )


def _plans_and_visits() -> None:
    op.create_table(
        "day_plan",
        sa.Column("plan_id", sa.Integer(), nullable=False),
        sa.Column("keeper_id", sa.Integer(), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("why", sa.String(200), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["keeper_id"], ["keeper.keeper_id"], name=op.f("fk_day_plan_keeper_id")),
        sa.PrimaryKeyConstraint("plan_id", name=op.f("pk_day_plan")),
        sa.UniqueConstraint("keeper_id", "on", "version", name=op.f("uq_day_plan_keeper_id_on_version")),
    )
    op.create_table(
        "visit",
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("keeper_id", sa.Integer(), nullable=False),
        sa.Column("lawn_id", sa.Integer(), nullable=False),
        sa.Column("crew_id", sa.Integer(), nullable=True),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("outcome", sa.String(8), nullable=False),
        sa.Column("reason", sa.String(16), nullable=True),
        sa.Column("note", sa.String(200), nullable=False),
        sa.Column("minutes", sa.Float(), nullable=True),
        sa.Column("height_mm", sa.Float(), nullable=True),
        sa.Column("clippings", sa.String(16), nullable=True),
        sa.Column("removed", sa.Float(), nullable=True),
        sa.Column("event_id", sa.Integer(), nullable=True),
        sa.Column("reported_by", sa.String(200), nullable=False),
        sa.Column("reported_at", sa.DateTime(), nullable=False),
        sa.Column("undone_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["keeper_id"], ["keeper.keeper_id"], name=op.f("fk_visit_keeper_id")),
        sa.ForeignKeyConstraint(["lawn_id"], ["lawn.lawn_id"], name=op.f("fk_visit_lawn_id")),
        sa.ForeignKeyConstraint(["crew_id"], ["crew.crew_id"], name=op.f("fk_visit_crew_id")),
        sa.PrimaryKeyConstraint("visit_id", name=op.f("pk_visit")),
    )
    op.create_index("ix_visit_keeper", "visit", ["keeper_id", "on"])
    op.create_index("ix_visit_lawn", "visit", ["lawn_id", "on"])


def _messages_to_contacts() -> None:
    # The waiting ones' index has a condition that a copied table would lose.
    op.drop_index("ix_outbox_waiting", "outbox")
    with op.batch_alter_table("outbox") as outbox:
        outbox.add_column(sa.Column("contact_id", sa.Integer(), server_default="0", nullable=False))
        outbox.drop_constraint(op.f("uq_outbox_keeper_id_channel_kind_local_date"), type_="unique")
        outbox.create_unique_constraint("uq_outbox_once", ONCE)
    _index_waiting()


def _index_waiting() -> None:
    waiting = sa.text("state IN ('ready', 'leased', 'sending')")
    op.create_index(
        "ix_outbox_waiting",
        "outbox",
        ["next_try_at", "message_id"],
        sqlite_where=waiting,
        postgresql_where=waiting,
    )


def downgrade() -> None:
    op.execute(sa.text("DELETE FROM outbox WHERE contact_id <> 0"))
    op.drop_index("ix_outbox_waiting", "outbox")
    with op.batch_alter_table("outbox") as outbox:
        outbox.drop_constraint("uq_outbox_once", type_="unique")
        outbox.drop_column("contact_id")
        outbox.create_unique_constraint(op.f("uq_outbox_keeper_id_channel_kind_local_date"), ONCE_BEFORE)
    _index_waiting()
    for name in ("visit", "day_plan", "lawn_work", "site_work", "contact", "crew_day", "crew"):
        op.drop_table(name)
