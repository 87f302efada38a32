"""Alembic's entry: runs on the connection that the store hands over."""

from alembic import context

from model.records.tables import Record
from model.records.types import UtcDateTime


def _render(kind: str, value: object, autogen_context: object) -> str | bool:
    if kind == "type" and isinstance(value, UtcDateTime):
        autogen_context.imports.add("from model.records.types import UtcDateTime")  # type: ignore[attr-defined]
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
