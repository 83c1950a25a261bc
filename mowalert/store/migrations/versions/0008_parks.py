"""Turf classes, their holds and log, restrictions, irrigation that is off, and the crews' heat.

Revision ID: 0008
Revises: 0007
"""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

ALIKE_BEFORE = ["cell_id", "grass", "soil", "rooting", "sun", "watering"]
ALIKE = [*ALIKE_BEFORE, "dry_from", "dry_until"]


def upgrade() -> None:
    _classes()
    _holds()
    _hold_log()
    _restrictions()
    _watering_off()
    _heat()
    _dry_stands()


def _keeper_of(name: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(["keeper_id"], ["keeper.keeper_id"], name=op.f(f"fk_{name}_keeper_id"))


def _lawn_of(name: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(["lawn_id"], ["lawn.lawn_id"], name=op.f(f"fk_{name}_lawn_id"))


def _hold_of(name: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(["hold_id"], ["class_hold.hold_id"], name=op.f(f"fk_{name}_hold_id"))


def _classes() -> None:
    op.create_table(
        "class_rule",
        sa.Column("keeper_id", sa.Integer(), nullable=False),
        sa.Column("turf_class", sa.String(60), nullable=False),
        sa.Column("height_mm", sa.Float(), nullable=True),
        sa.Column("third", sa.Float(), nullable=True),
        sa.Column("ignores", sa.JSON(), nullable=False),
        sa.Column("allowed", sa.String(300), nullable=False),
        sa.Column("call", sa.String(200), nullable=False),
        _keeper_of("class_rule"),
        sa.PrimaryKeyConstraint("keeper_id", "turf_class", name=op.f("pk_class_rule")),
    )


def _holds() -> None:
    op.create_table(
        "class_hold",
        sa.Column("hold_id", sa.Integer(), nullable=False),
        sa.Column("keeper_id", sa.Integer(), nullable=False),
        sa.Column("turf_class", sa.String(60), nullable=False),
        sa.Column("district", sa.String(200), nullable=False),
        sa.Column("reason", sa.String(16), nullable=False),
        sa.Column("started_on", sa.Date(), nullable=False),
        sa.Column("told_on", sa.Date(), nullable=False),
        sa.Column("expected_end_on", sa.Date(), nullable=True),
        sa.Column("released_on", sa.Date(), nullable=True),
        sa.Column("escalated_on", sa.Date(), nullable=True),
        _keeper_of("class_hold"),
        sa.PrimaryKeyConstraint("hold_id", name=op.f("pk_class_hold")),
    )
    still_open = sa.text("released_on IS NULL")
    op.create_index(
        "ix_class_hold_open",
        "class_hold",
        ["keeper_id", "turf_class", "district"],
        unique=True,
        sqlite_where=still_open,
        postgresql_where=still_open,
    )
    op.create_index("ix_class_hold_keeper", "class_hold", ["keeper_id", "started_on"])
    op.create_table(
        "held_lawn",
        sa.Column("hold_id", sa.Integer(), nullable=False),
        sa.Column("lawn_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(16), nullable=False),
        sa.Column("joined_on", sa.Date(), nullable=False),
        sa.Column("left_on", sa.Date(), nullable=True),
        _hold_of("held_lawn"),
        _lawn_of("held_lawn"),
        sa.PrimaryKeyConstraint("hold_id", "lawn_id", name=op.f("pk_held_lawn")),
    )


def _hold_log() -> None:
    op.create_table(
        "hold_log",
        sa.Column("log_id", sa.Integer(), nullable=False),
        sa.Column("keeper_id", sa.Integer(), nullable=False),
        sa.Column("lawn_id", sa.Integer(), nullable=False),
        sa.Column("hold_id", sa.Integer(), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("step", sa.String(12), nullable=False),
        sa.Column("reason", sa.String(16), nullable=False),
        sa.Column("told", sa.JSON(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        _keeper_of("hold_log"),
        _lawn_of("hold_log"),
        _hold_of("hold_log"),
        sa.PrimaryKeyConstraint("log_id", name=op.f("pk_hold_log")),
    )
    op.create_index("ix_hold_log_keeper", "hold_log", ["keeper_id", "on"])
    op.create_index("ix_hold_log_lawn", "hold_log", ["lawn_id", "on"])


def _restrictions() -> None:
    op.create_table(
        "restriction",
        sa.Column("restriction_id", sa.Integer(), nullable=False),
        sa.Column("keeper_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("first_on", sa.Date(), nullable=False),
        sa.Column("last_on", sa.Date(), nullable=True),
        sa.Column("height_cap_mm", sa.Float(), nullable=True),
        sa.Column("note", sa.String(300), nullable=False),
        sa.Column("polygons", sa.JSON(), nullable=False),
        sa.Column("site_ids", sa.JSON(), nullable=False),
        sa.Column("said_at", sa.DateTime(), nullable=False),
        sa.Column("undone_at", sa.DateTime(), nullable=True),
        _keeper_of("restriction"),
        sa.PrimaryKeyConstraint("restriction_id", name=op.f("pk_restriction")),
    )
    op.create_index("ix_restriction_keeper", "restriction", ["keeper_id", "last_on"])


def _watering_off() -> None:
    op.create_table(
        "watering_off",
        sa.Column("off_id", sa.Integer(), nullable=False),
        sa.Column("keeper_id", sa.Integer(), nullable=False),
        sa.Column("lawn_id", sa.Integer(), nullable=False),
        sa.Column("first_on", sa.Date(), nullable=False),
        sa.Column("last_on", sa.Date(), nullable=True),
        sa.Column("note", sa.String(200), nullable=False),
        sa.Column("said_at", sa.DateTime(), nullable=False),
        sa.Column("undone_at", sa.DateTime(), nullable=True),
        _keeper_of("watering_off"),
        _lawn_of("watering_off"),
        sa.PrimaryKeyConstraint("off_id", name=op.f("pk_watering_off")),
    )
    op.create_index("ix_watering_off_keeper", "watering_off", ["keeper_id", "last_on"])


def _heat() -> None:
    op.create_table(
        "heat_plan",
        sa.Column("keeper_id", sa.Integer(), nullable=False),
        sa.Column("first_f", sa.Float(), nullable=True),
        sa.Column("strong_f", sa.Float(), nullable=True),
        sa.Column("plan", sa.String(300), nullable=False),
        sa.Column("call", sa.String(200), nullable=False),
        _keeper_of("heat_plan"),
        sa.PrimaryKeyConstraint("keeper_id", name=op.f("pk_heat_plan")),
    )
    op.create_table(
        "heat_notice",
        sa.Column("keeper_id", sa.Integer(), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("step", sa.String(12), nullable=False),
        sa.Column("heat_index_f", sa.Float(), nullable=False),
        sa.Column("strong", sa.Boolean(), nullable=False),
        sa.Column("told_at", sa.DateTime(), nullable=False),
        _keeper_of("heat_notice"),
        sa.PrimaryKeyConstraint("keeper_id", "on", "step", name=op.f("pk_heat_notice")),
    )


def _dry_stands() -> None:
    with op.batch_alter_table("stand") as stand:
        stand.add_column(sa.Column("dry_from", sa.Integer(), server_default="0", nullable=False))
        stand.add_column(sa.Column("dry_until", sa.Integer(), server_default="0", nullable=False))
        stand.drop_constraint(op.f("uq_stand_cell_id_grass_soil_rooting_sun_watering"), type_="unique")
        stand.create_unique_constraint("uq_stand_alike", ALIKE)


def downgrade() -> None:
    # Stands that went dry for a while would be doubles of others: their lawns go back to those.
    op.execute(sa.text(_BACK))
    for name in ("stand_growth", "kept_forecast"):
        op.execute(
            sa.text(f"DELETE FROM {name} WHERE stand_id IN (SELECT stand_id FROM stand WHERE dry_from <> 0)")  # noqa: S608  # nosec B608
        )
    op.execute(sa.text("DELETE FROM stand WHERE dry_from <> 0"))
    with op.batch_alter_table("stand") as stand:
        stand.drop_constraint("uq_stand_alike", type_="unique")
        stand.drop_column("dry_from")
        stand.drop_column("dry_until")
        stand.create_unique_constraint(op.f("uq_stand_cell_id_grass_soil_rooting_sun_watering"), ALIKE_BEFORE)
    tables = (
        "heat_notice", "heat_plan", "watering_off", "restriction", "hold_log", "held_lawn", "class_hold",
        "class_rule",
    )  # fmt: skip
    for name in tables:
        op.drop_table(name)


_BACK = """
UPDATE lawn SET anchor_g_mm = NULL, window_g_mm = NULL, limit_g_mm = NULL, stand_id = (
    SELECT wet.stand_id FROM stand AS dry JOIN stand AS wet
    ON wet.cell_id = dry.cell_id AND wet.grass = dry.grass AND wet.soil = dry.soil
    AND wet.rooting = dry.rooting AND wet.sun = dry.sun AND wet.watering = dry.watering AND wet.dry_from = 0
    WHERE dry.stand_id = lawn.stand_id
) WHERE stand_id IN (SELECT stand_id FROM stand WHERE dry_from <> 0)
"""
