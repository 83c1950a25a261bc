"""First tables."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Apply it."""
    op.create_table(
        "budget",
        sa.Column("source", sa.String(length=32), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("calls", sa.Float(), nullable=False),
        sa.PrimaryKeyConstraint("source", "day", name=op.f("pk_budget")),
    )
    op.create_table(
        "cell",
        sa.Column("cell_id", sa.Integer(), nullable=False),
        sa.Column("latitude_deg", sa.Float(), nullable=False),
        sa.Column("longitude_deg", sa.Float(), nullable=False),
        sa.Column("utc_offset_min", sa.Integer(), nullable=False),
        sa.Column("elevation_m", sa.Float(), nullable=True),
        sa.Column("fetched_at", sa.DateTime(), nullable=True),
        sa.Column("source", sa.String(length=32), nullable=True),
        sa.Column("history_from", sa.Date(), nullable=True),
        sa.Column("history_asked_on", sa.Date(), nullable=True),
        sa.PrimaryKeyConstraint("cell_id", name=op.f("pk_cell")),
        sa.UniqueConstraint(
            "latitude_deg",
            "longitude_deg",
            "utc_offset_min",
            name=op.f("uq_cell_latitude_deg_longitude_deg_utc_offset_min"),
        ),
    )
    op.create_table(
        "meta",
        sa.Column("name", sa.String(length=64), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_meta")),
    )
    op.create_table(
        "sending_round",
        sa.Column("round_id", sa.Integer(), nullable=False),
        sa.Column("daily_list", sa.Boolean(), nullable=False),
        sa.Column("time_zone", sa.String(length=64), nullable=False),
        sa.Column("weekdays", sa.Integer(), nullable=False),
        sa.Column("minute_of_day", sa.Integer(), nullable=False),
        sa.Column("mixed", sa.Boolean(), nullable=False),
        sa.Column("done_on", sa.Date(), nullable=True),
        sa.PrimaryKeyConstraint("round_id", name=op.f("pk_sending_round")),
        sa.UniqueConstraint(
            "daily_list", "time_zone", "weekdays", "minute_of_day", "mixed", name="uq_sending_round_moment"
        ),
    )
    op.create_table(
        "cell_day",
        sa.Column("cell_id", sa.Integer(), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("t_min_c", sa.Float(), nullable=False),
        sa.Column("t_max_c", sa.Float(), nullable=False),
        sa.Column("rain_mm", sa.Float(), nullable=False),
        sa.Column("radiation_mj_m2", sa.Float(), nullable=True),
        sa.Column("wind_2m_ms", sa.Float(), nullable=True),
        sa.Column("t_dew_c", sa.Float(), nullable=True),
        sa.Column("et0_mm", sa.Float(), nullable=True),
        sa.Column("source", sa.String(length=32), nullable=False),
        sa.Column("fetched_at", sa.DateTime(), nullable=False),
        sa.Column("hours", sa.LargeBinary(), nullable=True),
        sa.Column("partial", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["cell_id"], ["cell.cell_id"], name=op.f("fk_cell_day_cell_id")),
        sa.PrimaryKeyConstraint("cell_id", "on", name=op.f("pk_cell_day")),
    )
    op.create_table(
        "keeper",
        sa.Column("keeper_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=400), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("email", sa.String(length=320), nullable=True),
        sa.Column("phone", sa.String(length=20), nullable=True),
        sa.Column("time_zone", sa.String(length=64), nullable=False),
        sa.Column("units", sa.String(length=8), nullable=False),
        sa.Column("language", sa.String(length=8), server_default="en", nullable=False),
        sa.Column("silence", sa.String(length=8), nullable=False),
        sa.Column("tells_all_holds", sa.Boolean(), nullable=False),
        sa.Column("round_id", sa.Integer(), nullable=False),
        sa.Column("consent", sa.String(length=16), nullable=False),
        sa.Column("consent_at", sa.DateTime(), nullable=False),
        sa.Column("consent_from", sa.String(length=200), nullable=False),
        sa.Column("email_suspended", sa.String(length=200), nullable=True),
        sa.Column("phone_suspended", sa.String(length=200), nullable=True),
        sa.Column("paused_until", sa.Date(), nullable=True),
        sa.Column("no_weather_on", sa.Date(), nullable=True),
        sa.Column("greeted", sa.Boolean(), server_default=sa.text("(false)"), nullable=False),
        sa.ForeignKeyConstraint(["round_id"], ["sending_round.round_id"], name=op.f("fk_keeper_round_id")),
        sa.PrimaryKeyConstraint("keeper_id", name=op.f("pk_keeper")),
        sa.UniqueConstraint("key", name=op.f("uq_keeper_key")),
    )
    with op.batch_alter_table("keeper", schema=None) as batch_op:
        batch_op.create_index(
            "ix_keeper_no_weather",
            ["no_weather_on"],
            unique=False,
            sqlite_where=sa.text("no_weather_on IS NOT NULL"),
            postgresql_where=sa.text("no_weather_on IS NOT NULL"),
        )

    op.create_table(
        "refusal",
        sa.Column("refusal_id", sa.Integer(), nullable=False),
        sa.Column("cell_id", sa.Integer(), nullable=True),
        sa.Column("source", sa.String(length=32), nullable=False),
        sa.Column("on", sa.Date(), nullable=True),
        sa.Column("reason", sa.String(length=400), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["cell_id"], ["cell.cell_id"], name=op.f("fk_refusal_cell_id")),
        sa.PrimaryKeyConstraint("refusal_id", name=op.f("pk_refusal")),
    )
    op.create_table(
        "round_log",
        sa.Column("log_id", sa.Integer(), nullable=False),
        sa.Column("round_id", sa.Integer(), nullable=False),
        sa.Column("local_date", sa.Date(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("outcome", sa.String(length=16), nullable=False),
        sa.Column("digests", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["round_id"], ["sending_round.round_id"], name=op.f("fk_round_log_round_id")),
        sa.PrimaryKeyConstraint("log_id", name=op.f("pk_round_log")),
    )
    op.create_table(
        "stand",
        sa.Column("stand_id", sa.Integer(), nullable=False),
        sa.Column("cell_id", sa.Integer(), nullable=False),
        sa.Column("grass", sa.String(length=40), nullable=False),
        sa.Column("soil", sa.String(length=20), nullable=False),
        sa.Column("rooting", sa.Integer(), nullable=False),
        sa.Column("sun", sa.String(length=8), nullable=False),
        sa.Column("watering", sa.String(length=8), nullable=False),
        sa.ForeignKeyConstraint(["cell_id"], ["cell.cell_id"], name=op.f("fk_stand_cell_id")),
        sa.PrimaryKeyConstraint("stand_id", name=op.f("pk_stand")),
        sa.UniqueConstraint(
            "cell_id",
            "grass",
            "soil",
            "rooting",
            "sun",
            "watering",
            name=op.f("uq_stand_cell_id_grass_soil_rooting_sun_watering"),
        ),
    )
    op.create_table(
        "outbox",
        sa.Column("message_id", sa.Integer(), nullable=False),
        sa.Column("keeper_id", sa.Integer(), nullable=False),
        sa.Column("channel", sa.String(length=8), nullable=False),
        sa.Column("kind", sa.String(length=24), nullable=False),
        sa.Column("local_date", sa.Date(), nullable=False),
        sa.Column("address", sa.String(length=320), nullable=False),
        sa.Column("subject", sa.String(length=200), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("html", sa.Text(), nullable=False),
        sa.Column("rfc_message_id", sa.String(length=200), nullable=False),
        sa.Column("unsubscribe_url", sa.String(length=600), nullable=False),
        sa.Column("lawn_ids", sa.JSON(), nullable=False),
        sa.Column("round_id", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("not_before", sa.DateTime(), nullable=False),
        sa.Column("useful_until", sa.DateTime(), nullable=False),
        sa.Column("next_try_at", sa.DateTime(), nullable=False),
        sa.Column("leased_until", sa.DateTime(), nullable=True),
        sa.Column("attempts", sa.Integer(), server_default="0", nullable=False),
        sa.Column("sent_at", sa.DateTime(), nullable=True),
        sa.Column("error", sa.String(length=400), nullable=True),
        sa.ForeignKeyConstraint(["keeper_id"], ["keeper.keeper_id"], name=op.f("fk_outbox_keeper_id")),
        sa.PrimaryKeyConstraint("message_id", name=op.f("pk_outbox")),
        sa.UniqueConstraint(
            "keeper_id",
            "channel",
            "kind",
            "local_date",
            name=op.f("uq_outbox_keeper_id_channel_kind_local_date"),
        ),
    )
    with op.batch_alter_table("outbox", schema=None) as batch_op:
        batch_op.create_index(
            "ix_outbox_waiting",
            ["next_try_at", "message_id"],
            unique=False,
            sqlite_where=sa.text("state IN ('ready', 'leased', 'sending')"),
            postgresql_where=sa.text("state IN ('ready', 'leased', 'sending')"),
        )

    op.create_table(
        "site",
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("keeper_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=400), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("address", sa.String(length=400), nullable=False),
        sa.Column("latitude_deg", sa.Float(), nullable=False),
        sa.Column("longitude_deg", sa.Float(), nullable=False),
        sa.Column("cell_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["cell_id"], ["cell.cell_id"], name=op.f("fk_site_cell_id")),
        sa.ForeignKeyConstraint(["keeper_id"], ["keeper.keeper_id"], name=op.f("fk_site_keeper_id")),
        sa.PrimaryKeyConstraint("site_id", name=op.f("pk_site")),
        sa.UniqueConstraint("keeper_id", "key", name=op.f("uq_site_keeper_id_key")),
    )
    op.create_table(
        "stand_growth",
        sa.Column("stand_id", sa.Integer(), nullable=False),
        sa.Column("as_of", sa.Date(), nullable=False),
        sa.Column("fetched_at", sa.DateTime(), nullable=False),
        sa.Column("known_until", sa.Date(), nullable=False),
        sa.Column("settled_on", sa.Date(), nullable=False),
        sa.Column("settled", sa.LargeBinary(), nullable=False),
        sa.Column("curve_from", sa.Date(), nullable=False),
        sa.Column("curve", sa.LargeBinary(), nullable=False),
        sa.Column("told_mask", sa.Integer(), nullable=False),
        sa.Column("g0", sa.Float(), nullable=False),
        sa.Column("g1", sa.Float(), nullable=False),
        sa.Column("g2", sa.Float(), nullable=False),
        sa.Column("g3", sa.Float(), nullable=False),
        sa.Column("g4", sa.Float(), nullable=False),
        sa.Column("g5", sa.Float(), nullable=False),
        sa.Column("g6", sa.Float(), nullable=False),
        sa.Column("g7", sa.Float(), nullable=False),
        sa.Column("g8", sa.Float(), nullable=False),
        sa.Column("g9", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["stand_id"], ["stand.stand_id"], name=op.f("fk_stand_growth_stand_id")),
        sa.PrimaryKeyConstraint("stand_id", name=op.f("pk_stand_growth")),
    )
    op.create_table(
        "lawn",
        sa.Column("lawn_id", sa.Integer(), nullable=False),
        sa.Column("site_id", sa.Integer(), nullable=False),
        sa.Column("keeper_id", sa.Integer(), nullable=False),
        sa.Column("round_id", sa.Integer(), nullable=False),
        sa.Column("stand_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=200), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("grass", sa.String(length=40), nullable=False),
        sa.Column("chosen_mm", sa.Float(), nullable=False),
        sa.Column("nitrogen", sa.Float(), nullable=True),
        sa.Column("area_m2", sa.Float(), nullable=True),
        sa.Column("turf_class", sa.String(length=60), server_default="", nullable=False),
        sa.Column("mowing_days", sa.Integer(), nullable=False),
        sa.Column("mow_from_h", sa.Integer(), nullable=False),
        sa.Column("mow_to_h", sa.Integer(), nullable=False),
        sa.Column("clippings", sa.String(length=16), nullable=False),
        sa.Column("learned", sa.Float(), server_default="1", nullable=False),
        sa.Column("pace", sa.Float(), nullable=False),
        sa.Column("anchored_on", sa.Date(), nullable=False),
        sa.Column("anchor_height_mm", sa.Float(), nullable=False),
        sa.Column("anchor_g_mm", sa.Float(), nullable=True),
        sa.Column("anchor_assumed", sa.Boolean(), nullable=False),
        sa.Column("window_g_mm", sa.Float(), nullable=True),
        sa.Column("limit_g_mm", sa.Float(), nullable=True),
        sa.Column("told_hold", sa.String(length=16), nullable=True),
        sa.Column("told_hold_on", sa.Date(), nullable=True),
        sa.Column("advised_on", sa.Date(), nullable=True),
        sa.Column("advised_mm", sa.Float(), nullable=True),
        sa.CheckConstraint("chosen_mm > 0 AND anchor_height_mm > 0", name=op.f("ck_lawn_heights_above_zero")),
        sa.ForeignKeyConstraint(["keeper_id"], ["keeper.keeper_id"], name=op.f("fk_lawn_keeper_id")),
        sa.ForeignKeyConstraint(["round_id"], ["sending_round.round_id"], name=op.f("fk_lawn_round_id")),
        sa.ForeignKeyConstraint(["site_id"], ["site.site_id"], name=op.f("fk_lawn_site_id")),
        sa.ForeignKeyConstraint(["stand_id"], ["stand.stand_id"], name=op.f("fk_lawn_stand_id")),
        sa.PrimaryKeyConstraint("lawn_id", name=op.f("pk_lawn")),
        sa.UniqueConstraint("site_id", "key", name=op.f("uq_lawn_site_id_key")),
    )
    with op.batch_alter_table("lawn", schema=None) as batch_op:
        batch_op.create_index(
            "ix_lawn_advised",
            ["advised_on"],
            unique=False,
            sqlite_where=sa.text("advised_on IS NOT NULL"),
            postgresql_where=sa.text("advised_on IS NOT NULL"),
        )
        batch_op.create_index("ix_lawn_anchored", ["stand_id", "anchored_on"], unique=False)
        batch_op.create_index("ix_lawn_keeper", ["keeper_id"], unique=False)
        batch_op.create_index(
            "ix_lawn_limit", ["stand_id", "limit_g_mm", "round_id", "lawn_id"], unique=False
        )
        batch_op.create_index(
            "ix_lawn_told",
            ["round_id", "told_hold"],
            unique=False,
            sqlite_where=sa.text("told_hold IS NOT NULL"),
            postgresql_where=sa.text("told_hold IS NOT NULL"),
        )
        batch_op.create_index(
            "ix_lawn_unanchored",
            ["stand_id"],
            unique=False,
            sqlite_where=sa.text("anchor_g_mm IS NULL"),
            postgresql_where=sa.text("anchor_g_mm IS NULL"),
        )
        batch_op.create_index(
            "ix_lawn_window", ["stand_id", "window_g_mm", "round_id", "lawn_id"], unique=False
        )

    op.create_table(
        "event",
        sa.Column("event_id", sa.Integer(), nullable=False),
        sa.Column("lawn_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("height_mm", sa.Float(), nullable=True),
        sa.Column("before_mm", sa.Float(), nullable=True),
        sa.Column("assumed", sa.Boolean(), nullable=False),
        sa.Column("reported_by", sa.String(length=16), nullable=False),
        sa.Column("reported_at", sa.DateTime(), nullable=False),
        sa.Column("undone_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["lawn_id"], ["lawn.lawn_id"], name=op.f("fk_event_lawn_id")),
        sa.PrimaryKeyConstraint("event_id", name=op.f("pk_event")),
    )
    with op.batch_alter_table("event", schema=None) as batch_op:
        batch_op.create_index("ix_event_lawn", ["lawn_id", "on"], unique=False)

    op.create_table(
        "told",
        sa.Column("told_id", sa.Integer(), nullable=False),
        sa.Column("keeper_id", sa.Integer(), nullable=False),
        sa.Column("lawn_id", sa.Integer(), nullable=False),
        sa.Column("round_id", sa.Integer(), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("reason", sa.String(length=16), nullable=True),
        sa.Column("decided_at", sa.DateTime(), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["keeper_id"], ["keeper.keeper_id"], name=op.f("fk_told_keeper_id")),
        sa.ForeignKeyConstraint(["lawn_id"], ["lawn.lawn_id"], name=op.f("fk_told_lawn_id")),
        sa.ForeignKeyConstraint(["round_id"], ["sending_round.round_id"], name=op.f("fk_told_round_id")),
        sa.PrimaryKeyConstraint("told_id", name=op.f("pk_told")),
    )
    with op.batch_alter_table("told", schema=None) as batch_op:
        batch_op.create_index("ix_told_lawn", ["lawn_id", "on"], unique=False)


def downgrade() -> None:
    """Take it back."""
    with op.batch_alter_table("told", schema=None) as batch_op:
        batch_op.drop_index("ix_told_lawn")

    op.drop_table("told")
    with op.batch_alter_table("event", schema=None) as batch_op:
        batch_op.drop_index("ix_event_lawn")

    op.drop_table("event")
    with op.batch_alter_table("lawn", schema=None) as batch_op:
        batch_op.drop_index("ix_lawn_window")
        batch_op.drop_index(
            "ix_lawn_unanchored",
            sqlite_where=sa.text("anchor_g_mm IS NULL"),
            postgresql_where=sa.text("anchor_g_mm IS NULL"),
        )
        batch_op.drop_index(
            "ix_lawn_told",
            sqlite_where=sa.text("told_hold IS NOT NULL"),
            postgresql_where=sa.text("told_hold IS NOT NULL"),
        )
        batch_op.drop_index("ix_lawn_limit")
        batch_op.drop_index("ix_lawn_keeper")
        batch_op.drop_index("ix_lawn_anchored")
        batch_op.drop_index(
            "ix_lawn_advised",
            sqlite_where=sa.text("advised_on IS NOT NULL"),
            postgresql_where=sa.text("advised_on IS NOT NULL"),
        )

    op.drop_table("lawn")
    op.drop_table("stand_growth")
    op.drop_table("site")
    with op.batch_alter_table("outbox", schema=None) as batch_op:
        batch_op.drop_index(
            "ix_outbox_waiting",
            sqlite_where=sa.text("state IN ('ready', 'leased', 'sending')"),
            postgresql_where=sa.text("state IN ('ready', 'leased', 'sending')"),
        )

    op.drop_table("outbox")
    op.drop_table("stand")
    op.drop_table("round_log")
    op.drop_table("refusal")
    with op.batch_alter_table("keeper", schema=None) as batch_op:
        batch_op.drop_index(
            "ix_keeper_no_weather",
            sqlite_where=sa.text("no_weather_on IS NOT NULL"),
            postgresql_where=sa.text("no_weather_on IS NOT NULL"),
        )

    op.drop_table("keeper")
    op.drop_table("cell_day")
    op.drop_table("sending_round")
    op.drop_table("meta")
    op.drop_table("cell")
    op.drop_table("budget")
