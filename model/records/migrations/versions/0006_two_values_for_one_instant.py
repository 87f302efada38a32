"""two values for one instant: a reading's values are part of its key

Revision ID: 0006
Revises: 0005
"""

import sqlalchemy as sa
from alembic import op

from model.records.schema.types import UtcDateTime

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

# As in model.records.schema.arrived when this was written; a migration doesn't follow what changes there later.
STEPS, LOWEST, BELOW_ONE = 1_000_000, 60_000_001.5, 1 << 27
PAIR = (
    f"COALESCE({{whole}}(temperature_c * {STEPS} + {LOWEST}{{end}}, 0) * {BELOW_ONE}"
    f" + COALESCE({{whole}}(rh_pct * {STEPS} + 1.5{{end}}, 0)"
)
COLUMNS = "sensor_id, observed_at, received_at, temperature_c, rh_pct, clock"


def upgrade() -> None:
    if op.get_bind().dialect.name == "postgresql":
        op.execute("ALTER TABLE reading ADD COLUMN pair BIGINT NOT NULL DEFAULT 0")
        op.execute("UPDATE reading SET pair = " + PAIR.format(whole="CAST(FLOOR", end=") AS BIGINT)"))
        op.execute("ALTER TABLE reading DROP CONSTRAINT pk_reading")
        op.execute(
            "ALTER TABLE reading ADD CONSTRAINT pk_reading PRIMARY KEY (sensor_id, observed_at, pair)"
        )
        return
    # SQLite can't change a key: the table is made anew, in the order of its key. The key's columns stand first,
    # as the integrity check of SQLite 3.40 takes them for others elsewhere.
    op.create_table(
        "reading_made_anew",
        sa.Column("sensor_id", sa.Integer(), nullable=False),
        sa.Column("observed_at", UtcDateTime(), nullable=False),
        sa.Column("pair", sa.Integer(), server_default=sa.text("0"), nullable=False),
        sa.Column("received_at", UtcDateTime(), nullable=False),
        sa.Column("temperature_c", sa.Double(), nullable=True),
        sa.Column("rh_pct", sa.Double(), nullable=True),
        sa.Column("clock", sa.Text(), nullable=False),
        sa.CheckConstraint("rh_pct BETWEEN 0 AND 100", name=op.f("ck_reading_rh_pct")),
        sa.CheckConstraint("temperature_c BETWEEN -60 AND 100", name=op.f("ck_reading_temperature_c")),
        sa.CheckConstraint(
            "temperature_c IS NOT NULL OR rh_pct IS NOT NULL", name=op.f("ck_reading_something")
        ),
        sa.ForeignKeyConstraint(
            ["sensor_id"], ["sensor.id"], name=op.f("fk_reading_sensor_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("sensor_id", "observed_at", "pair", name=op.f("pk_reading")),
        sqlite_with_rowid=False,
    )
    pair = PAIR.format(whole="CAST", end=" AS INTEGER)")
    op.execute(
        f"INSERT INTO reading_made_anew ({COLUMNS}, pair) SELECT {COLUMNS}, {pair} FROM reading "
        "ORDER BY sensor_id, observed_at"
    )
    op.drop_table("reading")
    op.rename_table("reading_made_anew", "reading")


def downgrade() -> None:
    raise NotImplementedError("a book is never taken back to an older schema: restore a backup instead")
