"""How a limit stands follows from margins alone, and what is said of the coming year is kept with its day.

Revision ID: 0008
Revises: 0007
"""

import sqlalchemy as sa
from alembic import op

from model.records.schema.types import UtcDateTime

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "statement",
        sa.Column("fit_id", sa.Integer(), nullable=False),
        sa.Column("limit_name", sa.Text(), nullable=False),
        sa.Column("said_at", UtcDateTime(), nullable=False),
        sa.Column("chance_pct", sa.Double(), nullable=False),
        sa.Column("from_at", UtcDateTime(), nullable=True),
        sa.Column("until_at", UtcDateTime(), nullable=True),
        sa.Column("reason_key", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["fit_id"], ["fit.id"], name=op.f("fk_statement_fit_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("fit_id", "limit_name", "said_at", name=op.f("pk_statement")),
    )
    op.add_column("verdict", sa.Column("state_at", UtcDateTime(), nullable=True))
    # What was followed by the rule before is followed again by the watch, from the readings and records.
    op.execute("DELETE FROM checkpoint")
    op.execute("DELETE FROM margin")
    op.execute("DELETE FROM outlook")
    op.execute("ALTER TABLE margin DROP COLUMN projected_days")
    op.execute("ALTER TABLE margin DROP COLUMN crossing")


def downgrade() -> None:
    raise RuntimeError("a book is never taken back to an older schema: restore a backup instead")
