"""Wood is followed at half the speed, and near is nearer: what was computed before is computed again.

Revision ID: 0008
Revises: 0007
"""

from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    for table in ("checkpoint", "margin", "outlook"):
        op.execute(f"DELETE FROM {table}")


def downgrade() -> None:
    raise NotImplementedError("a book is never taken back to an older schema: restore a backup instead")
