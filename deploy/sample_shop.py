"""Loads the sample shop's invented past year into the book, and publishes its sensors over MQTT.

Everything comes from the package `sample_readings`; sample_readings/README.md tells the story.
"""

import threading
from collections.abc import Callable, Sequence
from importlib.resources import as_file

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from sqlalchemy import select
from sqlalchemy.orm import Session

from ingest.files.import_file import import_readings
from ingest.recognise.proposal import propose
from ingest.settings import IngestSettings
from model.records.acts.book import add_piece, add_stack, move
from model.records.acts.clients import add_client
from model.records.acts.hangings import hang_sensor
from model.records.acts.places import add_place
from model.records.clock import Now
from model.records.schema.tables import Binding, Place, Pulse, Sensor
from model.records.store import Store
from model.wood.errors import BadInput
from model.wood.piece import read_piece
from sample_readings import sensors, story

STORY_START_AT = story.START_AT
BRISK_DAYS = story.BRISK_SAMPLE_DAYS
CLIENT_ID = "paneltide-sample-shop"
AT_ONCE = 40  # messages on their way together; a broker's window is about 100
LONGEST_NAP_S = 0.5


# ---------------------------------------------------------------- the past year


def load_history(store: Store, progress: Callable[[float, float | None], None] = lambda *_: None) -> None:
    """Record the sample shop and read its past year in, up to `STORY_START_AT`.

    Parameters
    ----------
    store : Store
        A book at the current schema that holds no place yet.
    progress : callable, optional
        Told how many sensors' readings are in, and of how many.

    Raises
    ------
    BadInput
        If the book already holds something.
    """
    shop = story.shop_story()
    with store.session() as session:
        if session.scalar(select(Place.id).limit(1)) is not None:
            raise BadInput(
                store.shown, "the book", "must be empty before the sample shop is loaded", "a book in use"
            )
        places = {
            place.name: add_place(session, place.name, place.kind, zone=shop.zone, note=place.note)
            for place in shop.places
        }
        for client in shop.clients:
            places[client.home].client = add_client(session, client.name, client.reach)
        for sensor in shop.sensors:
            if sensor.accepted:
                _accept(session, sensor, places[sensor.place], shop.zone)
    accepted = [sensor for sensor in shop.sensors if sensor.accepted]
    for count, sensor in enumerate(accepted):
        progress(count, len(accepted))
        with as_file(story.package_file("readings", sensor.file_name)) as path:
            report = import_readings(store, path, lambda: STORY_START_AT)
        if report.rejected:
            line, reason = report.rejected[0]
            raise BadInput(sensor.file_name, f"line {line}", "must be a reading", reason)
    with store.session() as session:
        places = {place.name: place for place in session.scalars(select(Place))}
        for recorded in shop.pieces:
            first, *later = recorded.stands
            piece = read_piece(recorded.text(), recorded.file)
            row = add_piece(session, piece, places[first.place], first.since)
            for stand in later:
                move(session, row, places[stand.place], stand.since)
        for stack in shop.stacks:
            add_stack(
                session,
                stack.name,
                stack.document,
                places[stack.place],
                stack.since,
                destination=places[stack.destination],
            )


def _accept(session: Session, sensor: story.SensorStory, place: Place, zone: str) -> None:
    """Make a sensor of the sample shop, its messages read as they are recognised."""
    row = Sensor(name=sensor.name, zone=zone, accepted_at=story.HISTORY_FROM)
    for topic, payload in sensors.messages(sensor, story.HISTORY_FROM, 20.0, 45.0):
        proposal = propose(topic, [payload])
        assert proposal is not None
        for part in proposal.parts:
            document = part.reading.to_document()
            row.bindings.append(Binding(topic=topic, part=part.part, payload=document))
    session.add(row)
    session.flush()
    hang_sensor(session, row, place, story.HISTORY_FROM)


# ---------------------------------------------------------------- the sensors, live


def replay(
    mqtt_url: str, clock: Now, stop: threading.Event, ready: Callable[[], bool] = lambda: True
) -> None:
    """Publish what the sample shop's sensors measure as the clock passes each hour, until told to stop.

    Nothing is left out when the machine is slow: hours that are due go out one after another, each
    acknowledged by the broker before the next. A broker that isn't there, or goes away, is waited for.

    Parameters
    ----------
    mqtt_url : str
        ``mqtt://host:port`` of the broker.
    clock : Now
        The sample clock; what it shows decides which hours are due.
    ready : callable
        Whether somebody listens; nothing is published before, for a broker keeps nothing for strangers.
    """
    broker = IngestSettings.from_url(mqtt_url)
    client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=CLIENT_ID)
    if broker.username is not None:
        client.username_pw_set(broker.username, broker.password)
    if broker.tls:
        client.tls_set()
    acknowledged = threading.Semaphore(0)
    client.on_publish = lambda *_: acknowledged.release()
    client.reconnect_delay_set(1, 5)
    client.connect_async(broker.host, broker.port)
    client.loop_start()
    try:
        while not stop.is_set() and not (client.is_connected() and ready()):
            stop.wait(0.1)
        hour = 0
        while not stop.is_set():
            early_s = (story.at_hour(hour) - clock()).total_seconds()
            if early_s > 0.0:
                # The clock may run faster than the machine's: nap an hour's worth at its pace, at most.
                stop.wait(min(max(early_s / story.RATE, 0.005), LONGEST_NAP_S))
            elif _publish(client, messages_of_hour(hour), acknowledged, stop):
                hour += 1
    finally:
        client.disconnect()
        client.loop_stop()


def _publish(
    client: mqtt.Client,
    due: Sequence[sensors.Message],
    acknowledged: threading.Semaphore,
    stop: threading.Event,
) -> bool:
    """Publish, waiting for each handful to be acknowledged; false when stopped before the end."""
    for start in range(0, len(due), AT_ONCE):
        # While the broker is away the client keeps what was published and sends it when it is back.
        handful = due[start : start + AT_ONCE]
        for topic, payload in handful:
            client.publish(topic, payload, qos=1)
        for _ in handful:
            while not acknowledged.acquire(timeout=0.2):
                if stop.is_set():
                    return False
    return True


def messages_of_hour(hour: int) -> list[sensors.Message]:
    """Everything the sample shop's sensors publish at an hour from the story's start.

    A sensor that comes back sends what it kept while it was cut off, oldest first.
    """
    due: list[sensors.Message] = []
    for sensor in story.shop_story().sensors:
        if sensor.is_silent(hour):
            continue
        first = hour
        if hour == sensor.silent_until_hour and sensor.silent_from_hour is not None:
            first = sensor.silent_from_hour
        air = sensors.measured(sensor, first, hour - first + 1)
        for kept, temperature_c, rh_pct in zip(
            range(first, hour + 1), air.temperature_c, air.rh_pct, strict=True
        ):
            said = sensors.messages(sensor, story.at_hour(kept), float(temperature_c), float(rh_pct))
            fault = sensors.garbled(sensor, kept, said[0])
            due.extend(said if fault is None else [fault, *said])
    return due


def ingest_listens(store: Store) -> bool:
    """Whether ingest has said that it is connected to its broker; nothing said before that is heard."""
    with store.session() as session:
        pulse = session.get(Pulse, "ingest")
        broker = pulse.detail.get("broker") if pulse is not None else None
        return isinstance(broker, dict) and bool(broker.get("connected"))
