"""Tables of companies' and parks' work. A change here needs a migration beside it."""

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Date,
    Float,
    ForeignKey,
    Index,
    Integer,
    String,
    Table,
    UniqueConstraint,
    text,
)

from mowalert.store.tables import UtcDateTime, metadata

crew = Table(
    "crew",
    metadata,
    Column("crew_id", Integer, primary_key=True),
    Column("keeper_id", ForeignKey("keeper.keeper_id"), nullable=False),
    Column("key", String(200), nullable=False),
    Column("name", String(200), nullable=False),
    Column("latitude_deg", Float, nullable=False),
    Column("longitude_deg", Float, nullable=False),
    Column("weekdays", Integer, nullable=False),
    Column("from_min", Integer, nullable=False),
    Column("to_min", Integer, nullable=False),
    Column("retired", Boolean, nullable=False, server_default=text("false")),
    UniqueConstraint("keeper_id", "key"),
)

crew_day = Table(
    "crew_day",
    metadata,
    Column("crew_id", ForeignKey("crew.crew_id"), primary_key=True),
    Column("on", Date, primary_key=True),
    Column("from_min", Integer, nullable=False),
    Column("to_min", Integer, nullable=False),
    Column("note", String(200), nullable=False),
)

contact = Table(
    "contact",
    metadata,
    Column("contact_id", Integer, primary_key=True),
    Column("keeper_id", ForeignKey("keeper.keeper_id"), nullable=False),
    Column("key", String(200), nullable=False),
    Column("name", String(200), nullable=False),
    Column("role", String(12), nullable=False),
    Column("crew_id", ForeignKey("crew.crew_id")),
    Column("email", String(320)),
    Column("phone", String(20)),
    Column("language", String(8), nullable=False),
    Column("consent_at", UtcDateTime, nullable=False),
    Column("consent_from", String(200), nullable=False),
    Column("email_suspended", String(200)),
    Column("phone_suspended", String(200)),
    Column("link_version", Integer, nullable=False, server_default="0"),
    UniqueConstraint("keeper_id", "key"),
    Index("ix_contact_email", "email"),
    Index("ix_contact_phone", "phone"),
    sqlite_autoincrement=True,
)

site_work = Table(
    "site_work",
    metadata,
    Column("site_id", ForeignKey("site.site_id"), primary_key=True),
    Column("keeper_id", ForeignKey("keeper.keeper_id"), nullable=False),
    Column("number", String(200), nullable=False),
    Column("client", String(200), nullable=False),
    Column("access", String(200), nullable=False),
    Column("gate", String(200), nullable=False),
    Column("dog", String(200), nullable=False),
    Column("district", String(200), nullable=False),
    Column("visit_from_min", Integer),
    Column("visit_to_min", Integer),
    Index("ix_site_work_number", "keeper_id", "number"),
)

lawn_work = Table(
    "lawn_work",
    metadata,
    Column("lawn_id", ForeignKey("lawn.lawn_id"), primary_key=True),
    Column("minutes", Float),
    Column("learned_minutes", Float),
    Column("learned_visits", Integer, nullable=False),
    Column("crew_id", ForeignKey("crew.crew_id")),
)

day_plan = Table(
    "day_plan",
    metadata,
    Column("plan_id", Integer, primary_key=True),
    Column("keeper_id", ForeignKey("keeper.keeper_id"), nullable=False),
    Column("on", Date, nullable=False),
    Column("version", Integer, nullable=False),
    Column("why", String(200), nullable=False),
    Column("made_at", UtcDateTime, nullable=False),
    Column("facts", JSON, nullable=False),
    UniqueConstraint("keeper_id", "on", "version"),
)

visit = Table(
    "visit",
    metadata,
    Column("visit_id", Integer, primary_key=True),
    Column("keeper_id", ForeignKey("keeper.keeper_id"), nullable=False),
    Column("lawn_id", ForeignKey("lawn.lawn_id"), nullable=False),
    Column("crew_id", ForeignKey("crew.crew_id")),
    Column("on", Date, nullable=False),
    Column("outcome", String(8), nullable=False),
    Column("reason", String(16)),
    Column("note", String(200), nullable=False),
    Column("minutes", Float),
    Column("height_mm", Float),
    Column("clippings", String(16)),
    Column("removed", Float),
    Column("event_id", Integer),
    Column("reported_by", String(200), nullable=False),
    Column("reported_at", UtcDateTime, nullable=False),
    Column("undone_at", UtcDateTime),
    Index("ix_visit_keeper", "keeper_id", "on"),
    Index("ix_visit_lawn", "lawn_id", "on"),
)
