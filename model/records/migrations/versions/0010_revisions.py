"""What people did to the book, act by act, so that one table takes back whatever was done.

Revision ID: 0010
Revises: 0009
"""

import sqlalchemy as sa
from alembic import op

from model.records.schema.types import UtcDateTime

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "revision",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", UtcDateTime(), nullable=False),
        sa.Column("act", sa.Text(), nullable=False),
        sa.Column("says", sa.Text(), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.Column("changes", sa.JSON(), nullable=False),
        sa.Column("undone_at", UtcDateTime(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_revision")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_revision_at"), "revision", ["at"])
    # Earlier states were kept as preferences. What was done before the upgrade is taken back no more.
    for kept in ("% before", "acceptance %", "swap to sensor %"):
        op.execute(sa.text("DELETE FROM preference WHERE name LIKE :kept").bindparams(kept=kept))


def downgrade() -> None:
    raise RuntimeError("a book is never taken back to an older schema: restore a backup instead")
