"""Tables of turf classes, their holds, restrictions and the crews' heat. A change here needs a migration."""

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
    text,
)

from mowalert.store.tables import UtcDateTime, metadata

class_rule = Table(
    "class_rule",
    metadata,
    Column("keeper_id", ForeignKey("keeper.keeper_id"), primary_key=True),
    Column("turf_class", String(60), primary_key=True),
    Column("height_mm", Float),
    Column("third", Float),
    Column("ignores", JSON, nullable=False),
    Column("allowed", String(300), nullable=False),
    Column("call", String(200), nullable=False),
)

class_hold = Table(
    "class_hold",
    metadata,
    Column("hold_id", Integer, primary_key=True),
    Column("keeper_id", ForeignKey("keeper.keeper_id"), nullable=False),
    Column("turf_class", String(60), nullable=False),
    Column("district", String(200), nullable=False),
    Column("reason", String(16), nullable=False),
    Column("started_on", Date, nullable=False),
    Column("told_on", Date, nullable=False),
    Column("expected_end_on", Date),
    Column("released_on", Date),
    Column("escalated_on", Date),
    # Two nights at once must not open one hold twice.
    Index(
        "ix_class_hold_open",
        "keeper_id",
        "turf_class",
        "district",
        unique=True,
        sqlite_where=text("released_on IS NULL"),
        postgresql_where=text("released_on IS NULL"),
    ),
    Index("ix_class_hold_keeper", "keeper_id", "started_on"),
)

held_lawn = Table(
    "held_lawn",
    metadata,
    Column("hold_id", ForeignKey("class_hold.hold_id"), primary_key=True),
    Column("lawn_id", ForeignKey("lawn.lawn_id"), primary_key=True),
    Column("reason", String(16), nullable=False),
    Column("joined_on", Date, nullable=False),
    Column("left_on", Date),
)

hold_log = Table(
    "hold_log",
    metadata,
    Column("log_id", Integer, primary_key=True),
    Column("keeper_id", ForeignKey("keeper.keeper_id"), nullable=False),
    Column("lawn_id", ForeignKey("lawn.lawn_id"), nullable=False),
    Column("hold_id", ForeignKey("class_hold.hold_id"), nullable=False),
    Column("on", Date, nullable=False),
    Column("step", String(12), nullable=False),
    Column("reason", String(16), nullable=False),
    Column("told", JSON, nullable=False),
    Column("at", UtcDateTime, nullable=False),
    Column("facts", JSON, nullable=False),
    Index("ix_hold_log_keeper", "keeper_id", "on"),
    Index("ix_hold_log_lawn", "lawn_id", "on"),
)

restriction = Table(
    "restriction",
    metadata,
    Column("restriction_id", Integer, primary_key=True),
    Column("keeper_id", ForeignKey("keeper.keeper_id"), nullable=False),
    Column("kind", String(20), nullable=False),
    Column("name", String(200), nullable=False),
    Column("first_on", Date, nullable=False),
    Column("last_on", Date),
    Column("height_cap_mm", Float),
    Column("note", String(300), nullable=False),
    Column("polygons", JSON, nullable=False),
    Column("site_ids", JSON, nullable=False),
    Column("said_at", UtcDateTime, nullable=False),
    Column("undone_at", UtcDateTime),
    Index("ix_restriction_keeper", "keeper_id", "last_on"),
)

watering_off = Table(
    "watering_off",
    metadata,
    Column("off_id", Integer, primary_key=True),
    Column("keeper_id", ForeignKey("keeper.keeper_id"), nullable=False),
    Column("lawn_id", ForeignKey("lawn.lawn_id"), nullable=False),
    Column("first_on", Date, nullable=False),
    Column("last_on", Date),
    Column("note", String(200), nullable=False),
    Column("said_at", UtcDateTime, nullable=False),
    Column("undone_at", UtcDateTime),
    Index("ix_watering_off_keeper", "keeper_id", "last_on"),
)

heat_plan = Table(
    "heat_plan",
    metadata,
    Column("keeper_id", ForeignKey("keeper.keeper_id"), primary_key=True),
    Column("first_f", Float),
    Column("strong_f", Float),
    Column("plan", String(300), nullable=False),
    Column("call", String(200), nullable=False),
)

heat_notice = Table(
    "heat_notice",
    metadata,
    Column("keeper_id", ForeignKey("keeper.keeper_id"), primary_key=True),
    Column("on", Date, primary_key=True),
    Column("step", String(12), primary_key=True),
    Column("heat_index_f", Float, nullable=False),
    Column("strong", Boolean, nullable=False),
    Column("told_at", UtcDateTime, nullable=False),
)
