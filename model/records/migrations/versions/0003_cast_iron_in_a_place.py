"""cast iron in a place

Revision ID: 0003
Revises: 0002
"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("place", sa.Column("has_iron", sa.Boolean(), server_default=sa.false(), nullable=False))


def downgrade() -> None:
    raise NotImplementedError("a book is never taken back to an older schema: restore a backup instead")
