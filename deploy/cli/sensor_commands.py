"""Commands about what comes in: sensors, rejected, salt-check."""

import sys
from typing import Annotated, Any, Literal

import typer
from sqlalchemy import func, select

from deploy.cli import wood_sensor_commands as wood
from deploy.cli.answer import AsJson, display_of, give_done, give_json, give_table, say, temperature_given
from deploy.cli.book_commands import PlaceKind, SinceText, instant_of
from deploy.cli.readings_commands import nowhere_line
from deploy.wiring import open_book
from model.records.acts import hangings
from model.records.acts.dismissed import bring_back_topic, dismiss_topic, dismissed_topics
from model.records.acts.places import place_named
from model.records.queries import sensing
from model.records.queries.mounted import mounted
from model.records.queries.two_rooms import TwoRooms, by_sensor, two_rooms
from model.records.schema.tables import RejectedMessage
from model.wood.errors import BadInput
from model.wood.reason import Reason
from model.words.display import Display
from model.words.reasons import clause, in_sentences

sensors_app = typer.Typer(help="Sensors known, and topics heard that nobody has accepted.")


@sensors_app.callback(invoke_without_command=True)
def sensors(context: typer.Context, as_json: AsJson = False) -> None:
    """List the sensors known, and the unknown topics with what is recognised in them."""
    if context.invoked_subcommand is not None:
        return
    from ingest.recognise.listing import unbound_topics
    from ingest.settings import Limits

    store, now = open_book()
    heard, room = unbound_topics(store), Limits().heard_topics
    with store.session() as session:
        known = sensing.sensors(session, now)
        doubts = sensing.open_doubts(session)
        pairs = two_rooms(session, now)
        gone = dismissed_topics(session)
        on_wood = {one.sensor_id: one for one in mounted(session, now)}
    if as_json:
        give_json(
            {
                "sensors": [
                    {
                        "name": sensor.name,
                        "place": sensor.place,
                        "wood": wood.document_of(on_wood.get(sensor.id)),
                        "topics": sorted(sensor.topics),
                        "last_observed_at": sensor.last_at,
                        "temperature_c": sensor.temperature_c,
                        "rh_pct": sensor.rh_pct,
                        "presence": sensor.presence,
                        "battery_pct": sensor.battery_pct,
                        "doubts": [clause(doubt) for doubt in doubts.get(sensor.id, ())],
                    }
                    for sensor in known
                ],
                "two_rooms": [
                    {"place": pair.place, "sensors": [pair.damp, pair.dry], "apart_pct": pair.apart_pct}
                    for pair in pairs
                ],
                "unknown_topics": [_heard_document(topic) for topic in heard],
                "is_full": len(heard) >= room,
                "dismissed_topics": list(gone),
            }
        )
        return
    for pair in pairs:
        say(in_sentences(pair.reason))
    if known:
        give_table(
            ["sensor", "place or wood", "last heard (UTC)", "says", "trust"],
            [
                [
                    sensor.name,
                    on_wood[sensor.id].wood if sensor.id in on_wood else sensor.place or "hangs nowhere",
                    f"{sensor.last_at:%Y-%m-%d %H:%M}" if sensor.last_at else "never",
                    wood.said_of(on_wood[sensor.id])
                    if sensor.id in on_wood
                    else _air(sensor.temperature_c, sensor.rh_pct, display_of()),
                    "; ".join(
                        clause(one)
                        for one in (*doubts.get(sensor.id, ()), *_apart(by_sensor(pairs).get(sensor.id)))
                    )
                    or "no doubt",
                ]
                for sensor in known
            ],
            title="Known",
        )
    if heard:
        give_table(
            ["topic", "messages kept", "taken for"],
            [[topic.topic, str(topic.kept), _recognised(topic)] for topic in heard],
            title="Heard, and waiting to be accepted",
        )
        if len(heard) >= room:
            say(f"The list is full at {room} topics: each new one takes the place of the longest silent.")
        say("Accept one with `paneltide sensors accept TOPIC --place PLACE`, or dismiss it for good.")
    if gone:
        say(f"Dismissed: {', '.join(gone)}. List one again with `paneltide sensors bring-back TOPIC`.")
    if not known and not heard:
        say("No sensor has been heard yet. Point one at the broker; any topic will do.")


def _apart(pair: TwoRooms | None) -> list[Reason]:
    return [] if pair is None else [pair.in_short]


def _heard_document(heard: Any) -> dict[str, Any]:
    proposal = heard.proposal
    return {
        "topic": heard.topic,
        "messages_kept": heard.kept,
        "last_at": heard.last_at,
        "last_payload": heard.last_payload.decode("utf-8", "replace"),
        "fields": [{"at": pointer, "value": got} for pointer, got in heard.fields],
        "proposal": None
        if proposal is None
        else {
            "sensors": [
                {"part": part.part, "name": part.name, "quantities": list(part.quantities)}
                for part in proposal.parts
            ],
            "presence": proposal.presence is not None,
            "confidence": proposal.confidence,
            "reasons": list(proposal.reasons),
        },
    }


def _recognised(heard: Any) -> str:
    if heard.proposal is None:
        numbers = ", ".join(f"{pointer or '/'} = {got}" for pointer, got in heard.fields[:8])
        return f"nothing recognised; its numbers: {numbers}" if numbers else "nothing recognised"
    return " ".join(heard.proposal.reasons)


def _air(temperature_c: float | None, rh_pct: float | None, display: Display) -> str:
    parts = [""]
    if temperature_c is not None:
        parts = [f"{display.temperature_value(temperature_c):.1f} {display.temperature_unit}"]
    parts.append(f"{rh_pct:.0f} %" if rh_pct is not None else "")
    return " ".join(part for part in parts if part) or "-"


@sensors_app.command("accept")
def sensors_accept(
    topic: Annotated[str | None, typer.Argument(help="One of the unknown topics.")] = None,
    part: Annotated[
        str | None,
        typer.Option(
            "--part",
            help="Of several sensors behind the topic only this one. Of a sensor on wood, the part it is on, "
            "as PIECE/PART.",
        ),
    ] = None,
    everything: Annotated[bool, typer.Option("--all", help="All in which something is recognised.")] = False,
    place: Annotated[str | None, typer.Option("--place", help="Where the sensor hangs.")] = None,
    kind: PlaceKind = None,
    name: Annotated[str | None, typer.Option("--name", help="What to call the sensor.")] = None,
    unit: Annotated[
        Literal["C", "F", "K"], typer.Option("--unit", help="Used when a message names none.")
    ] = "C",
    zone: Annotated[str, typer.Option("--zone", help="Time zone of device times without an offset.")] = "UTC",
    temperature: Annotated[
        str,
        typer.Option(
            "--temperature",
            help="Where a message holds the temperature, as a JSON Pointer: /data/t; / for a bare number.",
        ),
    ] = "",
    humidity: Annotated[
        str,
        typer.Option("--humidity", help="Where a message holds the humidity, as a JSON Pointer: /data/h."),
    ] = "",
    humidity_unit: Annotated[
        Literal["%", "ratio"], typer.Option("--humidity-unit", help="Used when a message names none.")
    ] = "%",
    stack: wood.StackName = None,
    fit: wood.FitName = None,
    wood_unit: wood.WoodUnit = "",
    dry_weight: wood.DryWeight = None,
    mc: wood.Moisture = None,
    measures: wood.Measures = None,
    falls: wood.Falls = False,
    set_for: wood.SetFor = "",
    wood_temperature: wood.WoodTemperature = None,
    show: Annotated[
        bool, typer.Option("--show", help="Only say what the last message reads with these fields.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Make a sensor of an unknown topic; the messages kept of it become readings."""
    from ingest.recognise.accept import accept, accept_all
    from ingest.recognise.listing import read_by_hand

    if (topic is None) != everything:
        raise BadInput("paneltide sensors accept", "TOPIC or --all", "must be given, one of the two", topic)
    by_hand = bool(temperature or humidity or show)
    if by_hand and everything:
        raise BadInput("paneltide sensors accept", "--all", "can't go with fields said by hand", "both")
    store, now = open_book()
    reading = None
    if by_hand and topic is not None:
        units = {"temperature_unit": unit, "rh_unit": humidity_unit}
        found = read_by_hand(store, topic, temperature=temperature, rh=humidity, **units, zone=zone)
        reading = found.reading
        seen = [
            {"observed_at": read.observed_at, "temperature_c": read.temperature_c, "rh_pct": read.rh_pct}
            for read in found.seen
        ]
        if show and as_json:
            give_json({"topic": topic, "reads": seen})
        elif not as_json:
            for read in found.seen:
                air = _air(read.temperature_c, read.rh_pct, display_of())
                say(f"The last message reads {air} at {read.observed_at:%Y-%m-%d %H:%M:%S} UTC.")
        asks = not as_json and sys.stdin.isatty()
        if show or (asks and not typer.confirm("Keep it so?")):
            return
    if topic is None:
        done = accept_all(store, now=lambda: now, place=place, place_kind=kind)
    else:
        ties = wood.ties_of(dry_weight, mc, measures, falls, set_for, wood_temperature)
        on = wood.bind_to(store, topic, stack, part, fit, wood_unit, ties)
        done = [
            accept(
                store,
                topic,
                now=lambda: now,
                on=on,
                part=part if on is None else None,
                name=name,
                place=place,
                place_kind=kind,
                temperature_unit=unit,
                zone=zone,
                reading=reading,
            )
        ]
    if as_json:
        give_json(
            [
                {
                    "sensors": list(each.sensors),
                    "topics": list(each.topics),
                    "readings": each.readings,
                    "rejected": each.rejected,
                    "hung": [
                        {"sensor": one.sensor, "place": one.place, "wood": one.wood, "since_at": one.since_at}
                        for one in each.hung
                    ],
                }
                for each in done
            ]
        )
        return
    if not done:
        say("Nothing was accepted: no unknown topic is recognised.")
    for each in done:
        say(f"{', '.join(each.sensors)}: accepted, {each.readings} kept messages became readings.")
        for one in each.hung:
            if one.wood is not None:
                say(f"{one.sensor} is on {one.wood} since {one.since_at:%Y-%m-%d %H:%M} UTC.")
            elif one.place is None:
                hang = f'paneltide sensors hang "{one.sensor}" --place PLACE'
                say(f"{one.sensor} hangs nowhere, and its readings belong to no place: {hang}")
            else:
                new = ", a new place," if one.is_new else ""
                say(f"{one.sensor} hangs at {one.place}{new} since {one.since_at:%Y-%m-%d %H:%M} UTC.")


@sensors_app.command("dismiss")
def sensors_dismiss(
    topic: Annotated[str, typer.Argument(help="One of the unknown topics.")],
    as_json: AsJson = False,
) -> None:
    """List a topic no more, for good; `bring-back` is the way back."""
    store, now = open_book()
    with store.session() as session:
        dismiss_topic(session, topic, now)
    said = f"{topic} is dismissed. List it again with `paneltide sensors bring-back`."
    give_done(as_json, "topic", topic, said)


@sensors_app.command("bring-back")
def sensors_bring_back(
    topic: Annotated[str, typer.Argument(help="One of the dismissed topics.")],
    as_json: AsJson = False,
) -> None:
    """List a dismissed topic again, with what was kept of it."""
    store, _ = open_book()
    with store.session() as session:
        bring_back_topic(session, topic)
    give_done(as_json, "topic", topic, f"{topic} waits to be accepted again.")


@sensors_app.command("hang")
def sensors_hang(
    sensor: Annotated[str, typer.Argument(help="The sensor's name.")],
    place: Annotated[str, typer.Option("--place", help="Where it hangs.")],
    since: SinceText = None,
    as_json: AsJson = False,
) -> None:
    """Hang a sensor at a place since an instant, now or long past; what it sent since then belongs there."""
    store, now = open_book()
    with store.session() as session:
        row, where = wood.sensor_named(session, sensor), place_named(session, place)
        at = instant_of(since, where.zone, now)
        hangings.hang_since(session, row, where, at)
        left = hangings.readings_nowhere(session, row)
        first = left.place.name if left.place else None
        said = [f"{row.name} hangs at {where.name} since {at:%Y-%m-%d %H:%M} UTC."]
        if left.count:
            said.append(nowhere_line(row.name, left.count, first, left.since_at))
    give_done(as_json, "sensor", sensor, "\n".join(said))


sensors_app.command("zero")(wood.zero)
sensors_app.command("take-off")(wood.take_off)


def rejected(
    limit: Annotated[int, typer.Option("--limit", min=1, max=10_000, help="How many, newest first.")] = 50,
    as_json: AsJson = False,
) -> None:
    """Messages that could not become readings: when, topic, reason, size."""
    store, _ = open_book()
    with store.session() as session:
        kept = session.scalar(select(func.count()).select_from(RejectedMessage)) or 0
        found = sensing.rejected(session, limit)
    if as_json:
        told = ("received_at", "topic", "reason", "size")
        messages = [{name: getattr(one, name) for name in told} for one in found]
        give_json({"kept": kept, "messages": messages})
        return
    if not found:
        say("No message was rejected.")
        return
    give_table(
        ["received (UTC)", "topic", "why", "bytes"],
        [[f"{one.received_at:%Y-%m-%d %H:%M:%S}", one.topic, one.reason, str(one.size)] for one in found],
        title=f"{kept} kept, newest first",
    )


def salt_check(
    sensor: Annotated[str, typer.Argument(help="The sensor's name.")],
    points: Annotated[
        list[str],
        typer.Option("--read", help="SALT=READING, as NaCl=78.5; once or twice, two salts far apart."),
    ],
    temperature: Annotated[str, typer.Option("--temperature", help="Of salt and sensor, as 20C.")] = "20C",
    since: SinceText = None,
    as_json: AsJson = False,
) -> None:
    """Correct a sensor's humidity, from an instant on, by what it showed over saturated salts."""
    from model.records.acts.trusted import SaltPoint
    from model.records.acts.trusted import salt_check as check

    temperature_c = temperature_given(temperature, "--temperature")
    read = []
    for point in points:
        salt, equals, reading = point.partition("=")
        try:
            read.append(SaltPoint(salt.strip(), temperature_c, float(reading)))
        except ValueError:
            equals = ""
        if not equals:
            raise BadInput(
                "paneltide salt-check", "--read", "must be a salt and a reading, as NaCl=78.5", point
            )
    store, now = open_book()
    with store.session() as session:
        row = wood.sensor_named(session, sensor)
        made = check(session, row, read, instant_of(since, row.zone, now), now)
        made_says = str(made.evidence.get("says", ""))
        document = {
            "sensor": sensor,
            "since_at": made.since_at,
            "intercept_pct": made.intercept_pct,
            "slope": made.slope,
            "uncertainty_pct": made.uncertainty_pct,
            "evidence": made.evidence,
        }
    if as_json:
        give_json(document)
        return
    from_when = f"{document['since_at']:%Y-%m-%d %H:%M} UTC"
    line = f"{document['intercept_pct']:.2f} + {document['slope']:.3f} × reading"
    say(f"{sensor} from {from_when} on: true RH = {line}, good to ±{document['uncertainty_pct']:.1f} %.")
    if made_says:
        say(made_says)
