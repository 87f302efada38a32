"""A standing that was called easy is called clear, and a fit's document says part where it said member.

Revision ID: 0009
Revises: 0008
"""

import json

import sqlalchemy as sa
from alembic import op

from model.records.schema.types import UtcDateTime

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

STANDING = "standing IN ('clear', 'near', 'past')"
VERDICT = "verdict IN ('clear', 'near', 'past', 'unknown')"


def upgrade() -> None:
    if op.get_bind().dialect.name == "postgresql":
        for table, column, rule in (("margin", "standing", STANDING), ("verdict", "verdict", VERDICT)):
            op.execute(f"ALTER TABLE {table} DROP CONSTRAINT ck_{table}_{column}")
            op.execute(f"UPDATE {table} SET {column} = 'clear' WHERE {column} = 'easy'")
            op.execute(f"ALTER TABLE {table} ADD CONSTRAINT ck_{table}_{column} CHECK ({rule})")
    else:
        _margins_anew()
        _verdicts_anew()
    op.execute("UPDATE warning SET from_verdict = 'clear' WHERE from_verdict = 'easy'")
    op.execute("UPDATE warning SET to_verdict = 'clear' WHERE to_verdict = 'easy'")
    _last_known("verdict", ["subject_kind", "subject_id"])
    _last_known("warning", ["id"])
    _fits()


def _margins_anew() -> None:
    """SQLite can't change a check: the table is made anew, in the order of its key."""
    op.create_table(
        "margin_made_anew",
        sa.Column("fit_id", sa.Integer(), nullable=False),
        sa.Column("limit_name", sa.Text(), nullable=False),
        sa.Column("at", UtcDateTime(), nullable=False),
        sa.Column("direction", sa.Text(), nullable=False),
        sa.Column("severity", sa.Text(), nullable=False),
        sa.Column("margin_mm", sa.Double(), nullable=False),
        sa.Column("play_mm", sa.Double(), nullable=False),
        sa.Column("standing", sa.Text(), nullable=False),
        sa.Column("standing_since_at", UtcDateTime(), nullable=False),
        sa.Column("eased", sa.Boolean(), nullable=False),
        sa.CheckConstraint("direction IN ('swelling', 'shrinking')", name=op.f("ck_margin_direction")),
        sa.CheckConstraint("severity IN ('shows', 'harms')", name=op.f("ck_margin_severity")),
        sa.CheckConstraint(STANDING, name=op.f("ck_margin_standing")),
        sa.ForeignKeyConstraint(["fit_id"], ["fit.id"], name=op.f("fk_margin_fit_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("fit_id", "limit_name", "at", name=op.f("pk_margin")),
        sqlite_with_rowid=False,
    )
    kept = "fit_id, limit_name, at, direction, severity, margin_mm, play_mm"
    op.execute(
        f"INSERT INTO margin_made_anew ({kept}, standing, standing_since_at, eased) SELECT {kept}, "
        "CASE standing WHEN 'easy' THEN 'clear' ELSE standing END, standing_since_at, eased FROM margin "
        "ORDER BY fit_id, limit_name, at"
    )
    op.drop_table("margin")
    op.rename_table("margin_made_anew", "margin")


def _verdicts_anew() -> None:
    op.create_table(
        "verdict_made_anew",
        sa.Column("subject_kind", sa.Text(), nullable=False),
        sa.Column("subject_id", sa.Integer(), nullable=False),
        sa.Column("verdict", sa.Text(), nullable=False),
        sa.Column("since_at", UtcDateTime(), nullable=False),
        sa.Column("evaluated_at", UtcDateTime(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("detail", sa.JSON(), nullable=False),
        sa.Column("state_at", UtcDateTime(), nullable=True),
        sa.CheckConstraint(
            "subject_kind IN ('fit', 'stack', 'place', 'sensor', 'piece')", name=op.f("ck_verdict_subject_kind")
        ),
        sa.CheckConstraint(VERDICT, name=op.f("ck_verdict_verdict")),
        sa.PrimaryKeyConstraint("subject_kind", "subject_id", name=op.f("pk_verdict")),
    )
    kept = "subject_kind, subject_id, since_at, evaluated_at, reason, detail, state_at"
    op.execute(
        f"INSERT INTO verdict_made_anew ({kept}, verdict) SELECT {kept}, "
        "CASE verdict WHEN 'easy' THEN 'clear' ELSE verdict END FROM verdict"
    )
    op.drop_table("verdict")
    op.rename_table("verdict_made_anew", "verdict")


def _last_known(name: str, key: list[str]) -> None:
    """What an unknown verdict or its warning says was known last."""
    table = sa.table(name, sa.column("detail", sa.JSON()), *(sa.column(column) for column in key))
    for row in op.get_bind().execute(sa.select(table)).mappings().all():
        if isinstance(row["detail"], dict) and row["detail"].get("last_verdict") == "easy":
            same = sa.and_(*(table.c[column] == row[column] for column in key))
            op.execute(table.update().where(same).values(detail={**row["detail"], "last_verdict": "clear"}))


def _fits() -> None:
    table = sa.table("fit", sa.column("id"), sa.column("document", sa.JSON()))
    names = {"member": "part", "members": "parts", "part": "across"}
    for row in op.get_bind().execute(sa.select(table)).mappings().all():
        document = json.loads(row["document"]) if isinstance(row["document"], str) else row["document"]
        if isinstance(document, dict) and {"member", "members"} & document.keys():
            renamed = {names.get(key, key): value for key, value in document.items()}
            op.execute(table.update().where(table.c.id == row["id"]).values(document=renamed))


def downgrade() -> None:
    raise RuntimeError("a book is never taken back to an older schema: restore a backup instead")
