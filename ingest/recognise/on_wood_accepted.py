"""What a person says of a sensor on wood when it is accepted: what it is bound to, and what ties it."""

from collections.abc import Mapping

import msgspec

from ingest.payload.quantities import BadPayload, plain
from ingest.payload.wood import UNITS, unit_of
from ingest.recognise.on_wood import ASK_UNIT
from ingest.recognise.proposal import Proposal
from model.records.acts.mounts import BindTo
from model.records.schema.tables import Sensor
from model.wood.errors import BadInput


def for_wood(proposals: Mapping[str, Proposal], topic: str, on: BindTo | None) -> Mapping[str, Proposal]:
    """The proposals with the unit that a person gives; refused where wood and air don't go together."""
    chosen = proposals.get(topic)
    told = {part.reading.wood_quantity for part in chosen.parts} if chosen is not None else set()
    quantities = told - {None}
    if chosen is None or (not quantities and on is None):
        return proposals
    if on is None:
        rule = "must be given: a stack, a part or a fit, in place of a place"
        raise BadInput(plain(topic), "what it is bound to", rule, "nothing")
    if not quantities or len(chosen.parts) > 1:
        rule = "must say one weight, moisture, resistance or length"
        raise BadInput(plain(topic), "messages", rule, "none")
    [part] = chosen.parts
    reading = part.reading
    on.quantity = str(reading.wood_quantity)
    try:
        unit = unit_of(on.quantity, on.unit)
    except BadPayload as error:
        raise BadInput(plain(topic), "unit", error.problem, plain(on.unit)) from None
    reading = msgspec.structs.replace(reading, wood_unit=unit or reading.wood_unit)
    if any(ASK_UNIT in reason for reason in chosen.reasons) and unit is None:
        rule = f"must be given: {', '.join(UNITS[on.quantity])}"
        raise BadInput(plain(topic), "unit", rule, "nothing")
    return {
        **proposals,
        topic: msgspec.structs.replace(chosen, parts=(msgspec.structs.replace(part, reading=reading),)),
    }


def refuse_mixed(sensors: list[Sensor], joined: set[int], *, is_wood: bool) -> None:
    """Refuse a sensor in use that would report air and wood at once."""
    for sensor in sensors:
        if sensor.id in joined and bool(sensor.mounts) != is_wood:
            raise BadInput(
                "sensors", "name", "must not be a sensor's that reports something else", sensor.name
            )
