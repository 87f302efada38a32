"""What a verdict or a warning is about, by kind and id: its name, its zone, and the page that shows it."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from model.records.queries.answers import Subject
from model.records.schema.tables import FitRow, Hanging, PieceRow, Place, Sensor, Stack, Stay


def subjects(session: Session) -> dict[tuple[str, int], Subject]:
    """Everything a warning may be about, by kind and id."""
    zones = {place.id: place.zone for place in session.execute(select(Place.id, Place.zone))}
    stays = session.execute(
        select(Stay.piece_id, Stay.stack_id, Stay.place_id).where(Stay.until_at.is_(None))
    ).all()
    standing = {stay.piece_id: stay.place_id for stay in stays}
    lying = {stay.stack_id: stay.place_id for stay in stays}
    hangings = select(Hanging.sensor_id, Hanging.place_id).where(Hanging.until_at.is_(None))
    hung = {hanging.sensor_id: hanging.place_id for hanging in session.execute(hangings)}
    found: dict[tuple[str, int], Subject] = {}
    for piece_id, name in session.execute(select(PieceRow.id, PieceRow.name)):
        zone = zones.get(standing.get(piece_id, 0), "UTC")
        found["piece", piece_id] = Subject(name, zone, "piece", piece_id)
    for fit_id, name, piece_id in session.execute(select(FitRow.id, FitRow.name, FitRow.piece_id)):
        piece = found["piece", piece_id]
        said = name.replace("_", " ")
        found["fit", fit_id] = Subject(f"{piece.name}, {said}", piece.zone, "piece", piece_id)
    for stack_id, name in session.execute(select(Stack.id, Stack.name)):
        found["stack", stack_id] = Subject(name, zones.get(lying.get(stack_id, 0), "UTC"), "stack", stack_id)
    for place_id, name, zone in session.execute(select(Place.id, Place.name, Place.zone)):
        found["place", place_id] = Subject(name, zone, "place", place_id)
    for sensor_id, name in session.execute(select(Sensor.id, Sensor.name)):
        zone = zones.get(hung.get(sensor_id, 0), "UTC")
        found["sensor", sensor_id] = Subject(name, zone, "sensor", sensor_id)
    return found
