"""The typed record that leaves the program, and its JSON Schema.

One record serves the command line's `--json`, the answers under `/api` and what is published over MQTT, so
that a program that can read one can read them all.
"""

import json
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, PlainSerializer, WithJsonSchema
from pydantic.json_schema import GenerateJsonSchema, models_json_schema

DIALECT = "https://json-schema.org/draft/2020-12/schema"
VERSION: Literal[1] = 1
"""Raised when a name goes or changes its meaning; names that are added leave it."""


class JsonDocument(BaseModel):
    """A record that is given out as JSON: names and units as everywhere, each field described below itself.

    Made by name, or by `model_validate` from any object with attributes of the same names. A name that is no
    field is refused. Fields are never left out: what isn't known is null.
    """

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        from_attributes=True,
        populate_by_name=True,
        serialize_by_alias=True,
        use_attribute_docstrings=True,
    )

    def json_data(self) -> dict[str, Any]:
        """As plain data for `json.dumps`; what can't be computed is null."""
        data: dict[str, Any] = json.loads(self.model_dump_json())
        return data


def _rounded(digits: int) -> AfterValidator:
    # Adding zero makes -0.0 plain.
    return AfterValidator(lambda value: round(value, digits) + 0.0)


# A caliper reads 0.01 mm; a meter, and the model behind it, tell hundredths of a point apart; a good sensor
# tells tenths of a percent of humidity and of a degree. What can't be computed is null.
Mm = Annotated[float, _rounded(2)]
McPct = Annotated[float, _rounded(2)]
RhPct = Annotated[float, _rounded(1)]
DegreesC = Annotated[float, _rounded(1)]
ChancePct = Annotated[float, _rounded(0)]
Factor = Annotated[float, _rounded(3)]


def instant(at: datetime) -> str:
    """An instant as RFC 3339 in UTC, to the second."""
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


Instant = Annotated[
    datetime,
    PlainSerializer(instant, return_type=str),
    WithJsonSchema({"type": "string", "format": "date-time"}),
]
"""Aware; RFC 3339 in UTC, to the second."""


class _Schema(GenerateJsonSchema):
    def field_title_should_be_set(self, schema: Any) -> bool:
        """A field's name says what a title made of it would."""
        return False


def schema_parts(records: Iterable[type[JsonDocument]], where: str) -> dict[str, Any]:
    """The JSON Schema of each record and of all within them, by name; `where` is the address they get."""
    wanted = [(record, "serialization") for record in records]
    template = f"{where}{{model}}"
    _, found = models_json_schema(wanted, ref_template=template, schema_generator=_Schema)  # type: ignore[arg-type]
    parts: dict[str, Any] = found.get("$defs", {})
    return parts


def schema_of(record: type[JsonDocument]) -> dict[str, Any]:
    """One record's JSON Schema, whole in itself (draft 2020-12)."""
    return {"$schema": DIALECT, **record.model_json_schema(mode="serialization", schema_generator=_Schema)}
