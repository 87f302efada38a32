"""What every stored record shares: UTC instants, named constraints, documents as JSON."""

from datetime import datetime
from typing import Any

from sqlalchemy import JSON, MetaData, Text
from sqlalchemy.orm import DeclarativeBase

from model.records.schema.types import UtcDateTime

NAMING = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "pk": "pk_%(table_name)s",
}

Document = dict[str, Any]


class Record(DeclarativeBase):
    """Base of every stored record. Every datetime column holds UTC."""

    metadata = MetaData(naming_convention=NAMING)
    type_annotation_map = {datetime: UtcDateTime, str: Text, Document: JSON}  # noqa: RUF012
