"""unacknowledged messages in a table of their own, where they were among the maker's preferences

Revision ID: 0004
Revises: 0003
"""

import base64
import json

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

PREFIX = "ingest unacknowledged "


def upgrade() -> None:
    table = op.create_table(
        "unacknowledged",
        sa.Column("client_id", sa.Text(), nullable=False),
        sa.Column("entries", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("client_id", name=op.f("pk_unacknowledged")),
    )
    preference = sa.table("preference", sa.column("name", sa.Text()), sa.column("value", sa.JSON()))
    connection = op.get_bind()
    own = preference.c.name.startswith(PREFIX, autoescape=True)
    rows = []
    for name, value in connection.execute(sa.select(preference.c.name, preference.c.value).where(own)):
        try:
            document = json.loads(value) if isinstance(value, str) else value
            entries = base64.b64decode(document["entries"])
        except (ValueError, TypeError, KeyError):
            continue  # none of ours: ingest would have left it aside as well
        rows.append({"client_id": name.removeprefix(PREFIX), "entries": entries})
    if rows:
        op.bulk_insert(table, rows)
    connection.execute(preference.delete().where(own))


def downgrade() -> None:
    raise NotImplementedError("a book is never taken back to an older schema: restore a backup instead")
