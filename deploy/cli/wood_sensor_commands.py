"""Commands about sensors on wood: what one is bound to when it is accepted, a new zero, taking it off."""

from typing import Annotated, Any

import typer
from sqlalchemy import select
from sqlalchemy.orm import Session

from deploy.cli.answer import AsJson, display_of, give_done, length_given, temperature_given
from deploy.wiring import open_book
from model.records.acts import mounts
from model.records.acts.mounts import BindTo, Ties
from model.records.queries.mounted import MountNow
from model.records.schema.tables import Sensor
from model.records.store import Store
from model.wood.errors import BadInput
from model.words.display import mc_with_doubt

StackName = Annotated[str | None, typer.Option("--stack", help="The stack that a scale or a probe is on.")]
FitName = Annotated[
    str | None, typer.Option("--fit", help="The fit whose gap a gauge measures, as PIECE/FIT.")
]
WoodUnit = Annotated[
    str,
    typer.Option("--wood-unit", help="Unit of a sensor on wood whose messages name none: g, kg, mm, Mohm."),
]
DryWeight = Annotated[
    float | None, typer.Option("--dry-weight", help="What the board on a scale weighs oven-dry, in grams.")
]
Moisture = Annotated[
    float | None, typer.Option("--mc", help="Moisture content of the wood now, by a meter, in percent.")
]
Measures = Annotated[
    str | None, typer.Option("--measures", help="The gap or width under a gauge now, by hand: 3.2mm.")
]
Falls = Annotated[
    bool, typer.Option("--falls", help="A gauge's reading falls as the gap or the panel grows.")
]
SetFor = Annotated[str, typer.Option("--set-for", help="The wood a probe is set for, where it is another.")]
WoodTemperature = Annotated[
    str | None,
    typer.Option("--wood-temperature", help="Temperature of the wood, where messages tell none, as 15C."),
]


def bind_to(
    store: Store,
    topic: str | None,
    stack: str | None,
    part: str | None,
    fit: str | None,
    unit: str,
    ties: Ties,
) -> BindTo | None:
    """What a sensor is bound to as asked; none where the topic is of air.

    `part` is a piece's where the topic speaks of wood.
    """
    from ingest.recognise.listing import recognised

    with store.session() as session:
        proposal = recognised(session).get(topic or "")
    if proposal is None or all(one.reading.wood_quantity is None for one in proposal.parts):
        if stack or fit:
            raise BadInput(
                "paneltide sensors accept", "--stack and --fit", "must be of a sensor on wood", topic
            )
        return None
    return BindTo(stack=stack, part=part, fit=fit, unit=unit, ties=ties) if stack or part or fit else None


def ties_of(
    dry_weight: float | None = None,
    mc: float | None = None,
    measures: str | None = None,
    falls: bool = False,
    set_for: str = "",
    wood_temperature: str | None = None,
    weighs: float | None = None,
) -> Ties:
    """What ties a sensor to its wood, as typed."""
    return Ties(
        dry_g=dry_weight,
        mc_pct=mc,
        mass_g=weighs,
        at_mm=None if measures is None else length_given(measures, "--measures"),
        grows=not falls,
        set_for=set_for,
        wood_c=None
        if wood_temperature is None
        else temperature_given(wood_temperature, "--wood-temperature"),
    )


def zero(
    sensor: Annotated[str, typer.Argument(help="The sensor's name.")],
    weighs: Annotated[
        float | None, typer.Option("--weighs", help="What the board weighs now on another scale, in grams.")
    ] = None,
    mc: Moisture = None,
    measures: Measures = None,
    as_json: AsJson = False,
) -> None:
    """Begin anew with a sensor on wood: its zero is what it says now; with nothing given, the wood is as it
    was before the zero moved.
    """
    store, now = open_book()
    with store.session() as session:
        row = sensor_named(session, sensor)
        mounts.set_zero(session, row, now, ties_of(mc=mc, measures=measures, weighs=weighs))
    give_done(as_json, "sensor", sensor, f"{sensor} begins anew: what it says from now on counts.")


def take_off(
    sensor: Annotated[str, typer.Argument(help="The sensor's name.")],
    as_json: AsJson = False,
) -> None:
    """Take a sensor off its wood; what it measured stays."""
    store, now = open_book()
    with store.session() as session:
        mounts.unmount_sensor(session, sensor_named(session, sensor), now)
    give_done(as_json, "sensor", sensor, f"{sensor} is off; what it measured stays.")


def sensor_named(session: Session, name: str) -> Sensor:
    """The sensor of a name; BadInput with the names there are."""
    row = session.scalar(select(Sensor).where(Sensor.name == name))
    if row is None:
        known = ", ".join(session.scalars(select(Sensor.name).order_by(Sensor.name))) or "none yet"
        raise BadInput("", "sensor", f"must be one that is known ({known})", name)
    return row


def document_of(one: MountNow | None) -> dict[str, Any] | None:
    """A sensor on wood as JSON has it; none of one that hangs in a room."""
    if one is None:
        return None
    said = None if one.said is None else {"value": one.said.value, "uncertainty": one.said.uncertainty}
    return {"on": one.wood, "sends": one.quantity, "last": one.value, "measures": one.measures, "said": said}


def said_of(one: MountNow) -> str:
    """What a sensor on wood says now."""
    if one.said is None:
        return "-"
    if one.measures == "mc_pct":
        return mc_with_doubt(one.said.value, one.said.uncertainty)
    return display_of().with_doubt(one.said.value, one.said.uncertainty, "nearest", 64)
