"""Alembic's entry: runs on the connection that the store hands over."""

from typing import Literal

from alembic import context
from alembic.autogenerate.api import AutogenContext

from model.records.schema.tables import Record
from model.records.schema.types import UtcDateTime


def _render(kind: str, value: object, autogen_context: AutogenContext) -> str | Literal[False]:
    if kind == "type" and isinstance(value, UtcDateTime):
        autogen_context.imports.add("from model.records.schema.types import UtcDateTime")
        return "UtcDateTime()"
    return False


context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Record.metadata,
    render_as_batch=True,
    render_item=_render,
    compare_type=True,
)
with context.begin_transaction():
    context.run_migrations()
