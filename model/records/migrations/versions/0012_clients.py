"""Clients have a table of their own; whom a piece was said to be for becomes one of its rows.

Revision ID: 0012
Revises: 0011
"""

from typing import Any

import sqlalchemy as sa
from alembic import op

from model.records.schema.types import UtcDateTime

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "client",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("reach", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("retired_at", UtcDateTime(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_client")),
        sa.UniqueConstraint("name", name=op.f("uq_client_name")),
    )
    for name in ("place", "piece"):
        # In one statement: SQLite adds a reference with its column, and never to one that is there.
        op.execute(
            f"ALTER TABLE {name} ADD COLUMN client_id INTEGER "
            f"CONSTRAINT fk_{name}_client_id REFERENCES client (id)"
        )
    _pieces_name_theirs()


def _pieces_name_theirs() -> None:
    """The name moves from a piece's document into a row; and so in what an act on it can take back."""
    bind, numbers = op.get_bind(), dict[str, int]()
    client = sa.table("client", *map(sa.column, ("id", "name", "reach", "note")))
    piece = sa.table(
        "piece", sa.column("id"), sa.column("client_id"), sa.column("document", sa.JSON)
    )
    kept = sa.table("revision", sa.column("id"), sa.column("changes", sa.JSON))

    def number_of(name: str) -> int:
        key = name.casefold()
        if key not in numbers:
            row = {"name": name, "reach": "", "note": ""}
            bind.execute(sa.insert(client).values(row))
            numbers[key] = bind.execute(sa.select(client.c.id).where(client.c.name == name)).scalar_one()
        return numbers[key]

    def apart(document: dict[str, Any]) -> dict[str, Any]:
        rest = dict(document)
        name = str(rest.pop("client", "")).strip()
        return {"document": rest, "client_id": number_of(name) if name else None}

    for row in bind.execute(sa.select(piece.c.id, piece.c.document).order_by(piece.c.id)).all():
        if "client" in row.document:
            bind.execute(sa.update(piece).where(piece.c.id == row.id).values(apart(row.document)))
    for row in bind.execute(sa.select(kept)).all():
        for table, _key, *states in row.changes["rows"]:
            for state in filter(None, states):
                if table == "piece":
                    state |= apart(state["document"])
                elif table == "place":
                    state["client_id"] = None
        bind.execute(sa.update(kept).where(kept.c.id == row.id).values(changes=row.changes))


def downgrade() -> None:
    raise RuntimeError("a book is never taken back to an older schema: restore a backup instead")
