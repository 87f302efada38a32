"""topics that are no sensor of ours, dismissed for good

Revision ID: 0007
Revises: 0006
"""

import sqlalchemy as sa
from alembic import op

from model.records.schema.types import UtcDateTime

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "dismissed_topic",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("topic", sa.Text(), nullable=False),
        sa.Column("dismissed_at", UtcDateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_dismissed_topic")),
        sa.UniqueConstraint("topic", name=op.f("uq_dismissed_topic_topic")),
    )


def downgrade() -> None:
    raise RuntimeError("a book is never taken back to an older schema: restore a backup instead")
