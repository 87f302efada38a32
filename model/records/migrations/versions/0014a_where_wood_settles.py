"""What is learned of a part holds where its wood settles; all of it is computed again.

Revision ID: 0014a
Revises: 0014
"""

import sqlalchemy as sa
from alembic import op

from model.records.schema.types import UtcDateTime

revision = "0014a"
down_revision = "0014"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.drop_table("learned")
    op.create_table(
        "learned",
        sa.Column("body_id", sa.Integer(), nullable=False),
        sa.Column("at", UtcDateTime(), nullable=False),
        sa.Column("movement_factor", sa.Double(), nullable=True),
        sa.Column("movement_doubt", sa.Double(), nullable=True),
        sa.Column("rate_factor", sa.Double(), nullable=False),
        sa.Column("rate_doubt", sa.Double(), nullable=False),
        sa.Column("settles_pct", sa.Double(), nullable=False),
        sa.Column("settles_doubt_pct", sa.Double(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["body_id"], ["body.id"], name=op.f("fk_learned_body_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("body_id", "at", name=op.f("pk_learned")),
        sqlite_with_rowid=False,
    )


def downgrade() -> None:
    raise RuntimeError("a book is never taken back to an older schema: restore a backup instead")
