"""Sensors bound to wood, what they sent, and which measurements were made of it.

Revision ID: 0013
Revises: 0012
"""

import sqlalchemy as sa
from alembic import op

from model.records.schema.types import UtcDateTime

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "wood_reading",
        sa.Column("sensor_id", sa.Integer(), nullable=False),
        sa.Column("observed_at", UtcDateTime(), nullable=False),
        sa.Column("value", sa.Double(), nullable=False),
        sa.Column("received_at", UtcDateTime(), nullable=False),
        sa.Column("wood_c", sa.Double(), nullable=True),
        sa.Column("clock", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["sensor_id"], ["sensor.id"], name=op.f("fk_wood_reading_sensor_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("sensor_id", "observed_at", "value", name=op.f("pk_wood_reading")),
    )
    op.create_table(
        "mount",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sensor_id", sa.Integer(), nullable=False),
        sa.Column("body_id", sa.Integer(), nullable=False),
        sa.Column("fit_id", sa.Integer(), nullable=True),
        sa.Column("quantity", sa.Text(), nullable=False),
        sa.Column("since_at", UtcDateTime(), nullable=False),
        sa.Column("until_at", UtcDateTime(), nullable=True),
        sa.Column("terms", sa.JSON(), nullable=False),
        sa.CheckConstraint(
            "quantity IN ('weight', 'moisture', 'resistance', 'length')", name=op.f("ck_mount_quantity")
        ),
        sa.CheckConstraint("until_at IS NULL OR until_at > since_at", name=op.f("ck_mount_order")),
        sa.ForeignKeyConstraint(
            ["sensor_id"], ["sensor.id"], name=op.f("fk_mount_sensor_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(["body_id"], ["body.id"], name=op.f("fk_mount_body_id"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["fit_id"], ["fit.id"], name=op.f("fk_mount_fit_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_mount")),
        sa.UniqueConstraint("sensor_id", "since_at", name=op.f("uq_mount_sensor_id_since_at")),
    )
    op.create_index(op.f("ix_mount_body_id"), "mount", ["body_id"])
    # In one statement: SQLite adds a reference with its column, and never to one that is there.
    op.execute(
        "ALTER TABLE measurement ADD COLUMN sensor_id INTEGER "
        "CONSTRAINT fk_measurement_sensor_id REFERENCES sensor (id)"
    )
    _kept_acts_name_no_sensor()


def _kept_acts_name_no_sensor() -> None:
    """What an act on a measurement keeps of its row has every column that the row has."""
    bind = op.get_bind()
    kept = sa.table("revision", sa.column("id"), sa.column("changes", sa.JSON))
    for row in bind.execute(sa.select(kept)).all():
        states = [
            state
            for table, _key, *both in row.changes["rows"]
            if table == "measurement"
            for state in both
            if state is not None
        ]
        for state in states:
            state["sensor_id"] = None
        if states:
            bind.execute(sa.update(kept).where(kept.c.id == row.id).values(changes=row.changes))


def downgrade() -> None:
    raise RuntimeError("a book is never taken back to an older schema: restore a backup instead")
