"""One watch works at a time: the counters of the shares it divided with others go.

Revision ID: 0005
Revises: 0004
"""

from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.execute("DELETE FROM tally WHERE name LIKE 'watch:%'")


def downgrade() -> None:
    raise NotImplementedError("a book is never taken back to an older schema: restore a backup instead")
