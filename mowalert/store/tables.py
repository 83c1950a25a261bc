"""Every table. A change here needs a migration beside it."""

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    JSON,
    Boolean,
    CheckConstraint,
    Column,
    Date,
    DateTime,
    Dialect,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
    text,
)
from sqlalchemy.types import TypeDecorator

GROWTH_DAYS = 10
"""Days of a stand's curve, from its ``as_of`` on, kept as columns for the search of due lawns."""

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
    }
)


class UtcDateTime(TypeDecorator[datetime]):
    """An aware UTC moment; naive ones are refused, since guessing a zone loses an hour twice a year."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> Any:
        """Store the moment as naive UTC."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a moment without a zone")
        return value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        """Give it its zone back."""
        return None if value is None else value.replace(tzinfo=UTC)


sending_round = Table(
    "sending_round",
    metadata,
    Column("round_id", Integer, primary_key=True),
    Column("daily_list", Boolean, nullable=False),
    Column("time_zone", String(64), nullable=False),
    Column("weekdays", Integer, nullable=False),
    Column("minute_of_day", Integer, nullable=False),
    Column("mixed", Boolean, nullable=False),
    Column("done_on", Date),
    UniqueConstraint(
        "daily_list", "time_zone", "weekdays", "minute_of_day", "mixed", name="uq_sending_round_moment"
    ),
)

round_log = Table(
    "round_log",
    metadata,
    Column("log_id", Integer, primary_key=True),
    Column("round_id", ForeignKey("sending_round.round_id"), nullable=False),
    Column("local_date", Date, nullable=False),
    Column("at", UtcDateTime, nullable=False),
    Column("outcome", String(16), nullable=False),
    Column("digests", Integer, nullable=False, default=0),
)

keeper = Table(
    "keeper",
    metadata,
    Column("keeper_id", Integer, primary_key=True),
    Column("key", String(400), nullable=False, unique=True),
    Column("name", String(200), nullable=False),
    Column("kind", String(16), nullable=False),
    Column("email", String(320)),
    Column("phone", String(20)),
    Column("time_zone", String(64), nullable=False),
    Column("units", String(8), nullable=False),
    Column("language", String(8), nullable=False, server_default="en"),
    Column("silence", String(8), nullable=False),
    Column("tells_all_holds", Boolean, nullable=False),
    Column("round_id", ForeignKey("sending_round.round_id"), nullable=False),
    Column("consent", String(16), nullable=False),
    Column("consent_at", UtcDateTime, nullable=False),
    Column("consent_from", String(200), nullable=False),
    Column("email_suspended", String(200)),
    Column("phone_suspended", String(200)),
    Column("paused_until", Date),
    Column("no_weather_on", Date),
    Column("greeted", Boolean, nullable=False, server_default=text("false")),
    Column("link_version", Integer, nullable=False, server_default="0"),
    Index("ix_keeper_email", "email"),
    Index("ix_keeper_phone", "phone"),
    Index(
        "ix_keeper_no_weather",
        "no_weather_on",
        sqlite_where=text("no_weather_on IS NOT NULL"),
        postgresql_where=text("no_weather_on IS NOT NULL"),
    ),
    Index(
        "ix_keeper_informed",
        "keeper_id",
        sqlite_where=text("tells_all_holds IS 1"),
        postgresql_where=text("tells_all_holds IS TRUE"),
    ),
    sqlite_autoincrement=True,
)

cell = Table(
    "cell",
    metadata,
    Column("cell_id", Integer, primary_key=True),
    Column("latitude_deg", Float, nullable=False),
    Column("longitude_deg", Float, nullable=False),
    Column("utc_offset_min", Integer, nullable=False),
    Column("elevation_m", Float),
    Column("fetched_at", UtcDateTime),
    Column("source", String(32)),
    Column("history_from", Date),
    Column("history_asked_on", Date),
    UniqueConstraint("latitude_deg", "longitude_deg", "utc_offset_min"),
)

cell_day = Table(
    "cell_day",
    metadata,
    Column("cell_id", ForeignKey("cell.cell_id"), primary_key=True),
    Column("on", Date, primary_key=True),
    Column("t_min_c", Float, nullable=False),
    Column("t_max_c", Float, nullable=False),
    Column("rain_mm", Float, nullable=False),
    Column("radiation_mj_m2", Float),
    Column("wind_2m_ms", Float),
    Column("t_dew_c", Float),
    Column("et0_mm", Float),
    Column("source", String(32), nullable=False),
    Column("fetched_at", UtcDateTime, nullable=False),
    Column("hours", LargeBinary),
    Column("partial", Boolean, nullable=False),
)

refusal = Table(
    "refusal",
    metadata,
    Column("refusal_id", Integer, primary_key=True),
    Column("cell_id", ForeignKey("cell.cell_id")),
    Column("source", String(32), nullable=False),
    Column("on", Date),
    Column("reason", String(400), nullable=False),
    Column("at", UtcDateTime, nullable=False),
)

budget = Table(
    "budget",
    metadata,
    Column("source", String(32), primary_key=True),
    Column("day", Date, primary_key=True),
    Column("calls", Float, nullable=False),
)

bucket = Table(
    "bucket",
    metadata,
    Column("source", String(32), primary_key=True),
    Column("span_s", Integer, primary_key=True, autoincrement=False),
    Column("calls", Float, nullable=False),
    Column("at", UtcDateTime, nullable=False),
)

stand = Table(
    "stand",
    metadata,
    Column("stand_id", Integer, primary_key=True),
    Column("cell_id", ForeignKey("cell.cell_id"), nullable=False),
    Column("grass", String(40), nullable=False),
    Column("soil", String(20), nullable=False),
    Column("rooting", Integer, nullable=False),
    Column("sun", String(8), nullable=False),
    Column("watering", String(8), nullable=False),
    # Ordinals of the first and last day without the usual watering; 0 where there are none, or no end.
    Column("dry_from", Integer, nullable=False, server_default="0"),
    Column("dry_until", Integer, nullable=False, server_default="0"),
    UniqueConstraint(
        "cell_id",
        "grass",
        "soil",
        "rooting",
        "sun",
        "watering",
        "dry_from",
        "dry_until",
        name="uq_stand_alike",
    ),
)

stand_growth = Table(
    "stand_growth",
    metadata,
    Column("stand_id", ForeignKey("stand.stand_id"), primary_key=True),
    Column("as_of", Date, nullable=False),
    Column("fetched_at", UtcDateTime, nullable=False),
    Column("known_until", Date, nullable=False),
    Column("settled_on", Date, nullable=False),
    Column("settled", LargeBinary, nullable=False),
    Column("curve_from", Date, nullable=False),
    Column("curve", LargeBinary, nullable=False),
    Column("told_mask", Integer, nullable=False),
    *(Column(f"g{day}", Float, nullable=False) for day in range(GROWTH_DAYS)),
    Column("members", LargeBinary),
)

cell_ensemble = Table(
    "cell_ensemble",
    metadata,
    Column("cell_id", ForeignKey("cell.cell_id"), primary_key=True),
    Column("fetched_at", UtcDateTime, nullable=False),
    Column("source", String(32), nullable=False),
    Column("first_on", Date, nullable=False),
    Column("days", Integer, nullable=False),
    Column("members", LargeBinary, nullable=False),
)

kept_forecast = Table(
    "kept_forecast",
    metadata,
    Column("stand_id", ForeignKey("stand.stand_id"), primary_key=True),
    Column("as_of", Date, primary_key=True),
    Column("gains_mm", LargeBinary, nullable=False),
)

forecast_error = Table(
    "forecast_error",
    metadata,
    Column("lead_days", Integer, primary_key=True, autoincrement=False),
    Column("tally", LargeBinary, nullable=False),
)

site = Table(
    "site",
    metadata,
    Column("site_id", Integer, primary_key=True),
    Column("keeper_id", ForeignKey("keeper.keeper_id"), nullable=False),
    Column("key", String(400), nullable=False),
    Column("name", String(200), nullable=False),
    Column("address", String(400), nullable=False),
    Column("latitude_deg", Float, nullable=False),
    Column("longitude_deg", Float, nullable=False),
    Column("cell_id", ForeignKey("cell.cell_id"), nullable=False),
    UniqueConstraint("keeper_id", "key"),
    sqlite_autoincrement=True,
)

lawn = Table(
    "lawn",
    metadata,
    Column("lawn_id", Integer, primary_key=True),
    Column("site_id", ForeignKey("site.site_id"), nullable=False),
    Column("keeper_id", ForeignKey("keeper.keeper_id"), nullable=False),
    Column("round_id", ForeignKey("sending_round.round_id"), nullable=False),
    Column("stand_id", ForeignKey("stand.stand_id"), nullable=False),
    Column("key", String(200), nullable=False),
    Column("name", String(200), nullable=False),
    Column("grass", String(40), nullable=False),
    Column("chosen_mm", Float, nullable=False),
    Column("nitrogen", Float),
    Column("area_m2", Float),
    Column("turf_class", String(60), nullable=False, server_default=""),
    Column("mowing_days", Integer, nullable=False),
    Column("mow_from_h", Integer, nullable=False),
    Column("mow_to_h", Integer, nullable=False),
    Column("clippings", String(16), nullable=False),
    Column("learned", Float, nullable=False, server_default="1"),
    Column("pace", Float, nullable=False),
    Column("anchored_on", Date, nullable=False),
    Column("anchor_height_mm", Float, nullable=False),
    Column("anchor_g_mm", Float),
    Column("anchor_assumed", Boolean, nullable=False),
    Column("window_g_mm", Float),
    Column("limit_g_mm", Float),
    Column("told_hold", String(16)),
    Column("told_hold_on", Date),
    Column("advised_on", Date),
    Column("advised_mm", Float),
    Column("learned_spread", Float),
    Column("learned_reports", Integer, nullable=False, server_default="0"),
    Column("guide", String(40)),
    Column("follows_guide", Boolean, nullable=False, server_default=text("false")),
    Column("third", Float, nullable=False, server_default="0.3333333333333333"),
    UniqueConstraint("site_id", "key"),
    CheckConstraint("chosen_mm > 0 AND anchor_height_mm > 0", name="heights_above_zero"),
    # The search of due lawns lives in these two, without touching the table.
    Index("ix_lawn_window", "stand_id", "window_g_mm", "round_id", "lawn_id"),
    Index("ix_lawn_limit", "stand_id", "limit_g_mm", "round_id", "lawn_id"),
    Index("ix_lawn_anchored", "stand_id", "anchored_on"),
    Index("ix_lawn_keeper", "keeper_id"),
    Index(
        "ix_lawn_told",
        "stand_id",
        "round_id",
        "told_hold",
        sqlite_where=text("told_hold IS NOT NULL"),
        postgresql_where=text("told_hold IS NOT NULL"),
    ),
    Index(
        "ix_lawn_advised",
        "stand_id",
        "advised_on",
        sqlite_where=text("advised_on IS NOT NULL"),
        postgresql_where=text("advised_on IS NOT NULL"),
    ),
    Index(
        "ix_lawn_unanchored",
        "stand_id",
        sqlite_where=text("anchor_g_mm IS NULL"),
        postgresql_where=text("anchor_g_mm IS NULL"),
    ),
    Index(
        "ix_lawn_guide",
        "guide",
        "grass",
        sqlite_where=text("guide IS NOT NULL"),
        postgresql_where=text("guide IS NOT NULL"),
    ),
    sqlite_autoincrement=True,
)

guide = Table(
    "guide",
    metadata,
    Column("guide_id", String(40), primary_key=True),
    Column("version", Integer, primary_key=True, autoincrement=False),
    Column("text", Text, nullable=False),
    Column("kept_at", UtcDateTime, nullable=False),
)

kept_off = Table(
    "kept_off",
    metadata,
    Column("kept_off_id", Integer, primary_key=True),
    Column("lawn_id", ForeignKey("lawn.lawn_id"), nullable=False),
    Column("reason", String(16), nullable=False),
    Column("first_on", Date, nullable=False),
    Column("last_on", Date, nullable=False),
    Column("note", String(200), nullable=False),
    Column("said_at", UtcDateTime, nullable=False),
    Column("undone_at", UtcDateTime),
    Index("ix_kept_off_lawn", "lawn_id", "last_on"),
    Index("ix_kept_off_last", "last_on"),
)

event = Table(
    "event",
    metadata,
    Column("event_id", Integer, primary_key=True),
    Column("lawn_id", ForeignKey("lawn.lawn_id"), nullable=False),
    Column("kind", String(16), nullable=False),
    Column("on", Date, nullable=False),
    Column("height_mm", Float),
    Column("before_mm", Float),
    Column("assumed", Boolean, nullable=False),
    Column("reported_by", String(16), nullable=False),
    Column("reported_at", UtcDateTime, nullable=False),
    Column("undone_at", UtcDateTime),
    Column("from_height_mm", Float),
    Column("from_doubt_mm", Float),
    Column("stand_growth_mm", Float),
    Column("pace", Float),
    Index("ix_event_lawn", "lawn_id", "on"),
)

told = Table(
    "told",
    metadata,
    Column("told_id", Integer, primary_key=True),
    Column("keeper_id", ForeignKey("keeper.keeper_id"), nullable=False),
    Column("lawn_id", ForeignKey("lawn.lawn_id"), nullable=False),
    Column("round_id", ForeignKey("sending_round.round_id"), nullable=False),
    Column("on", Date, nullable=False),
    Column("kind", String(16), nullable=False),
    Column("reason", String(16)),
    Column("decided_at", UtcDateTime, nullable=False),
    Column("facts", JSON, nullable=False),
    Index("ix_told_lawn", "lawn_id", "on"),
)

outbox = Table(
    "outbox",
    metadata,
    Column("message_id", Integer, primary_key=True),
    Column("keeper_id", ForeignKey("keeper.keeper_id"), nullable=False),
    # 0 for the keeper's own address; a number, not null, since nulls are never alike.
    Column("contact_id", Integer, nullable=False, server_default="0"),
    Column("channel", String(8), nullable=False),
    Column("kind", String(24), nullable=False),
    Column("local_date", Date, nullable=False),
    Column("address", String(320), nullable=False),
    Column("subject", String(200), nullable=False),
    Column("text", Text, nullable=False),
    Column("html", Text, nullable=False),
    Column("rfc_message_id", String(200), nullable=False),
    Column("unsubscribe_url", String(600), nullable=False),
    Column("lawn_ids", JSON, nullable=False),
    Column("round_id", Integer, nullable=False),
    Column("state", String(12), nullable=False),
    Column("created_at", UtcDateTime, nullable=False),
    Column("not_before", UtcDateTime, nullable=False),
    Column("useful_until", UtcDateTime, nullable=False),
    Column("next_try_at", UtcDateTime, nullable=False),
    Column("leased_until", UtcDateTime),
    Column("attempts", Integer, nullable=False, server_default="0"),
    Column("sent_at", UtcDateTime),
    Column("error", String(400)),
    UniqueConstraint("keeper_id", "contact_id", "channel", "kind", "local_date", name="uq_outbox_once"),
    Index("ix_outbox_rfc_message_id", "rfc_message_id"),
    Index(
        "ix_outbox_waiting",
        "next_try_at",
        "message_id",
        sqlite_where=text("state IN ('ready', 'leased', 'sending')"),
        postgresql_where=text("state IN ('ready', 'leased', 'sending')"),
    ),
)

night = Table(
    "night",
    metadata,
    Column("night_id", Integer, primary_key=True),
    Column("at", UtcDateTime, nullable=False),
    Column("round_ids", JSON, nullable=False),
    Column("shards", Integer, nullable=False),
    Column("state", String(8), nullable=False),
)

night_shard = Table(
    "night_shard",
    metadata,
    Column("night_id", ForeignKey("night.night_id"), primary_key=True),
    Column("shard", Integer, primary_key=True, autoincrement=False),
    Column("first_cell", Integer, nullable=False),
    Column("last_cell", Integer, nullable=False),
    Column("state", String(8), nullable=False),
    Column("tries", Integer, nullable=False),
    Column("sent_at", UtcDateTime),
    Column("digests", JSON, nullable=False),
    Column("left_lawns", JSON, nullable=False),
    Column("report", JSON, nullable=False),
)

signup = Table(
    "signup",
    metadata,
    Column("signup_id", Integer, primary_key=True),
    Column("keeper_id", ForeignKey("keeper.keeper_id"), nullable=False),
    Column("facts", JSON, nullable=False),
    Column("created_at", UtcDateTime, nullable=False),
    Column("confirmed_at", UtcDateTime),
    Index("ix_signup_keeper", "keeper_id"),
    sqlite_autoincrement=True,
)

attempt = Table(
    "attempt",
    metadata,
    Column("attempt_id", Integer, primary_key=True),
    Column("what", String(16), nullable=False),
    Column("mark", String(64), nullable=False),
    Column("at", UtcDateTime, nullable=False),
    Index("ix_attempt_mark", "what", "mark", "at"),
)

silenced = Table(
    "silenced",
    metadata,
    Column("mark", String(64), primary_key=True),
    Column("at", UtcDateTime, nullable=False),
)

inbound = Table(
    "inbound",
    metadata,
    Column("gateway_id", String(100), primary_key=True),
    Column("keeper_id", ForeignKey("keeper.keeper_id")),
    Column("kind", String(16), nullable=False),
    Column("at", UtcDateTime, nullable=False),
    Index("ix_inbound_keeper", "keeper_id", "at"),
)

api_key = Table(
    "api_key",
    metadata,
    Column("key_id", Integer, primary_key=True),
    Column("keeper_id", ForeignKey("keeper.keeper_id"), nullable=False),
    Column("name", String(80), nullable=False),
    Column("digest", String(64), nullable=False, unique=True),
    Column("scopes", String(200), nullable=False),
    Column("created_at", UtcDateTime, nullable=False),
    Column("revoked_at", UtcDateTime),
)

operator = Table(
    "operator",
    metadata,
    Column("name", String(80), primary_key=True),
    Column("password_hash", String(200), nullable=False),
    Column("changed_at", UtcDateTime, nullable=False),
)

bulletin = Table(
    "bulletin",
    metadata,
    Column("guide_id", String(40), primary_key=True),
    Column("week_on", Date, primary_key=True),
    Column("facts", JSON, nullable=False),
    Column("said", Text, nullable=False),
    Column("made_at", UtcDateTime, nullable=False),
)

official_warning = Table(
    "official_warning",
    metadata,
    Column("warning_id", String(700), primary_key=True),
    Column("source", String(120), nullable=False),
    Column("facts", JSON, nullable=False),
    Column("expires_at", UtcDateTime, nullable=False),
    Index("ix_official_warning_source", "source"),
    Index("ix_official_warning_expires", "expires_at"),
)

official_warning_cell = Table(
    "official_warning_cell",
    metadata,
    Column("warning_id", ForeignKey("official_warning.warning_id"), primary_key=True),
    Column("cell_id", ForeignKey("cell.cell_id"), primary_key=True),
    Index("ix_official_warning_cell_cell", "cell_id"),
)

tally = Table(
    "tally",
    metadata,
    Column("figure", String(40), primary_key=True),
    Column("label", String(40), primary_key=True),
    Column("value", Float, nullable=False),
)

meta = Table(
    "meta",
    metadata,
    Column("name", String(64), primary_key=True),
    Column("value", Text, nullable=False),
)
