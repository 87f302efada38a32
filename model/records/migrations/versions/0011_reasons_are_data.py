"""A verdict and a warning keep their reason as data; what was kept as a sentence stays one.

Revision ID: 0011
Revises: 0010
"""

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    for name, keys in (("verdict", ("subject_kind", "subject_id")), ("warning", ("id",))):
        table = _table(name, *keys, "reason")
        rows = op.get_bind().execute(sa.select(table)).mappings().all()
        _write(table, keys, [(row, _told(row["detail"], row["reason"])) for row in rows])
        op.execute(f"ALTER TABLE {name} DROP COLUMN reason")
    of_outlook = ("subject_kind", "subject_id", "quantity")
    table = _table("outlook", *of_outlook)
    rows = op.get_bind().execute(sa.select(table)).mappings().all()
    _write(table, of_outlook, [(row, _seen(row["detail"])) for row in rows])


def downgrade() -> None:
    raise RuntimeError("a book is never taken back to an older schema: restore a backup instead")


def _table(name: str, *columns: str) -> sa.TableClause:
    return sa.table(name, *map(sa.column, columns), sa.column("detail", sa.JSON))


def _write(table: sa.TableClause, keys: tuple[str, ...], changes: list[tuple[Any, dict[str, Any]]]) -> None:
    if changes:
        one = sa.and_(*(table.c[key] == sa.bindparam(f"old_{key}") for key in keys))
        op.get_bind().execute(
            sa.update(table).where(one).values(detail=sa.bindparam("new", type_=sa.JSON)),
            [{**{f"old_{key}": row[key] for key in keys}, "new": detail} for row, detail in changes],
        )


def _told(detail: dict[str, Any], reason: str) -> dict[str, Any]:
    found = {**_seen(detail), "key": "told", "text": reason}
    if "ready" in found:
        found["ready"] = {name: value for name, value in found["ready"].items() if name != "reason"}
    if "opening" in found:
        before = dict(found["opening"])
        before["detail"] = _told(before["detail"], before.pop("reason"))
        found["opening"] = before
    return found


def _seen(detail: dict[str, Any]) -> dict[str, Any]:
    found = dict(detail)
    if "says" in found:
        found["seen"] = {"key": "told", "text": found.pop("says")}
    if found.get("lever"):  # what to do instead was kept as sentences
        found["lever"] = {**found["lever"], "instead": []}
    if "next" in found:
        found["next"] = [_seen(one) for one in found["next"]]
    return found
