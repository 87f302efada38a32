"""Commands about what comes in: sensors, rejected, import-readings, export."""

from pathlib import Path
from typing import Annotated, Any

import typer
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn
from sqlalchemy import func, select

from deploy import wiring
from deploy.answer import AsJson, give_json, give_table, say
from deploy.book_commands import SinceText, instant_of
from deploy.settings import load_settings
from model.records.clock import Now
from model.records.store import Store
from model.records.tables import RejectedMessage, Sensor
from model.wood.errors import BadInput
from model.wood.units import parse_temperature_c

SHOWN_LINES = 20
KINDS = ("shop", "storage", "home")

KindOption = Annotated[str, typer.Option("--kind", help="Of a place not known yet: shop, storage, home.")]

sensors_app = typer.Typer(help="Sensors known, and topics heard that nobody has accepted.")
export_app = typer.Typer(help="Write what is stored into a file.")


def _book(create: bool = False) -> tuple[Store, Now]:
    settings = load_settings()
    return wiring.open_store(settings, create=create), wiring.clock_of(settings)


@sensors_app.callback(invoke_without_command=True)
def sensors(context: typer.Context, as_json: AsJson = False) -> None:
    """List the sensors known, and the unknown topics with what is recognised in them."""
    if context.invoked_subcommand is not None:
        return
    from ingest.accept import known_and_heard

    store, _ = _book()
    known, heard = known_and_heard(store)
    if as_json:
        give_json(
            {
                "sensors": [
                    {
                        "name": sensor.name,
                        "place": sensor.place,
                        "topics": list(sensor.topics),
                        "last_observed_at": sensor.last_observed_at,
                        "temperature_c": sensor.temperature_c,
                        "rh_pct": sensor.rh_pct,
                        "presence": sensor.presence,
                        "battery_pct": sensor.battery_pct,
                        "doubts": list(sensor.doubts),
                    }
                    for sensor in known
                ],
                "unknown_topics": [_heard_document(topic) for topic in heard],
            }
        )
        return
    if known:
        give_table(
            ["sensor", "place", "last heard (UTC)", "air", "trust"],
            [
                [
                    sensor.name,
                    sensor.place or "hangs nowhere",
                    f"{sensor.last_observed_at:%Y-%m-%d %H:%M}" if sensor.last_observed_at else "never",
                    _air(sensor.temperature_c, sensor.rh_pct),
                    "; ".join(sensor.doubts) or "no doubt",
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
        say("Accept one with `paneltide sensors accept TOPIC --place PLACE`.")
    if not known and not heard:
        say("No sensor has been heard yet. Point one at the broker; any topic will do.")


def _heard_document(heard: Any) -> dict[str, Any]:
    proposal = heard.proposal
    return {
        "topic": heard.topic,
        "messages_kept": heard.kept,
        "last_at": heard.last_at,
        "last_payload": heard.last_payload.decode("utf-8", "replace"),
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
        return "nothing that is recognised"
    return " ".join(heard.proposal.reasons)


def _air(temperature_c: float | None, rh_pct: float | None) -> str:
    parts = [f"{temperature_c:.1f} °C" if temperature_c is not None else ""]
    parts.append(f"{rh_pct:.0f} %" if rh_pct is not None else "")
    return " ".join(part for part in parts if part) or "-"


@sensors_app.command("accept")
def sensors_accept(
    topic: Annotated[str | None, typer.Argument(help="One of the unknown topics.")] = None,
    everything: Annotated[bool, typer.Option("--all", help="All in which something is recognised.")] = False,
    place: Annotated[str | None, typer.Option("--place", help="Where the sensor hangs.")] = None,
    kind: Annotated[
        str, typer.Option("--kind", help="Of a place not known yet: shop, storage, home.")
    ] = "home",
    name: Annotated[str | None, typer.Option("--name", help="What to call the sensor.")] = None,
    unit: Annotated[str, typer.Option("--unit", help="C, F or K, used when a message names none.")] = "C",
    zone: Annotated[str, typer.Option("--zone", help="Time zone of device times without an offset.")] = "UTC",
    as_json: AsJson = False,
) -> None:
    """Make a sensor of an unknown topic; the messages kept of it become readings."""
    from ingest.accept import accept, accept_all

    if (topic is None) != everything:
        raise BadInput("paneltide sensors accept", "TOPIC or --all", "must be given, one of the two", topic)
    for option, value, allowed in (("--kind", kind, KINDS), ("--unit", unit, ("C", "F", "K"))):
        if value not in allowed:
            raise BadInput("paneltide sensors accept", option, f"must be one of {', '.join(allowed)}", value)
    store, now = _book()
    if topic is None:
        done = accept_all(store, now=now, place=place, place_kind=kind)
    else:
        done = [
            accept(
                store,
                topic,
                now=now,
                name=name,
                place=place,
                place_kind=kind,
                temperature_unit=unit,
                zone=zone,
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
                }
                for each in done
            ]
        )
        return
    if not done:
        say("Nothing was accepted: no unknown topic is recognised.")
    for each in done:
        say(f"{', '.join(each.sensors)}: accepted, {each.readings} kept messages became readings.")


def rejected(
    limit: Annotated[int, typer.Option("--limit", min=1, max=10_000, help="How many, newest first.")] = 50,
    as_json: AsJson = False,
) -> None:
    """Messages that could not become readings: when, topic, reason, size."""
    store, _ = _book()
    with store.session() as session:
        kept = session.scalar(select(func.count()).select_from(RejectedMessage)) or 0
        newest = select(RejectedMessage).order_by(RejectedMessage.received_at.desc()).limit(limit)
        rows = [
            {"received_at": row.received_at, "topic": row.topic, "reason": row.reason, "size": row.size}
            for row in session.scalars(newest)
        ]
    if as_json:
        give_json({"kept": kept, "messages": rows})
        return
    if not rows:
        say("No message was rejected.")
        return
    give_table(
        ["received (UTC)", "topic", "why", "bytes"],
        [
            [
                f"{row['received_at']:%Y-%m-%d %H:%M:%S}",
                str(row["topic"]),
                str(row["reason"]),
                str(row["size"]),
            ]
            for row in rows
        ],
        title=f"{kept} kept, newest first",
    )


def import_readings(
    file: Annotated[Path, typer.Argument(help="CSV, plain or gzipped.")],
    sensor: Annotated[
        str | None, typer.Option("--sensor", help="Whose, if the file has no sensor column.")
    ] = None,
    zone: Annotated[str, typer.Option("--zone", help="Time zone of times without an offset.")] = "UTC",
    place: Annotated[
        str | None, typer.Option("--place", help="Make sensors not known yet, and hang them at this place.")
    ] = None,
    kind: Annotated[
        str, typer.Option("--kind", help="Of a place not known yet: shop, storage, home.")
    ] = "home",
    from_line: Annotated[
        int, typer.Option("--from-line", min=1, help="First line, for a file that grew.")
    ] = 1,
    dry: Annotated[
        bool, typer.Option("--show-columns", help="Only say what each column is taken for.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Read readings in from a file; repeating an import changes nothing."""
    from ingest.columns import guess_columns
    from ingest.files import import_readings as read_in

    guess = guess_columns(file)
    if dry:
        if as_json:
            give_json({"file": str(file), "reasons": list(guess.reasons)})
        else:
            for reason in guess.reasons:
                say(reason)
        return
    store, now = _book(create=True)
    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, transient=True, disable=as_json) as bar:
        task = bar.add_task(file.name, total=None)
        report = read_in(
            store,
            file,
            now,
            sensor=sensor,
            zone=zone,
            create=place,
            place_kind=kind,
            columns=guess,
            from_line=from_line,
            progress=lambda done, total: bar.update(task, completed=done, total=total),
        )
    if as_json:
        give_json(
            {
                "accepted": report.accepted,
                "duplicate": report.duplicate,
                "rejected": report.rejected_count,
                "rejected_lines": [{"line": line, "reason": reason} for line, reason in report.rejected],
                "lines": report.lines,
                "sensors": dict(report.sensors),
                "created": report.created,
                "columns": list(guess.reasons),
                "notes": report.notes,
            }
        )
    else:
        for reason in guess.reasons:
            say(f"  {reason}")
        say(
            f"{report.accepted} readings accepted, {report.duplicate} known already, "
            f"{report.rejected_count} lines rejected."
        )
        for line, reason in report.rejected[:SHOWN_LINES]:
            say(f"  line {line}: {reason}")
        for note in report.notes:
            say(note)
    if report.rejected_count and not report.accepted + report.duplicate:
        raise BadInput(
            str(file),
            "file",
            "must hold a reading of a known sensor (give --place to make the file's sensors)",
            f"{report.rejected_count} rejected lines",
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
    from model.records.trusted import SaltPoint
    from model.records.trusted import salt_check as check

    temperature_c = parse_temperature_c(temperature, "--temperature")
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
    store, now = _book()
    with store.session() as session:
        row = session.scalar(select(Sensor).where(Sensor.name == sensor))
        if row is None:
            known = ", ".join(session.scalars(select(Sensor.name).order_by(Sensor.name))) or "none yet"
            raise BadInput("", "sensor", f"must be one that is known ({known})", sensor)
        made = check(session, row, read, instant_of(since, row.zone, now()), now())
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


@export_app.command("readings")
def export_readings(
    out: Annotated[Path, typer.Option("--out", help="A .csv, .csv.gz or .parquet file.")],
    sensor: Annotated[str | None, typer.Option("--sensor", help="Only this sensor's.")] = None,
    since: Annotated[str | None, typer.Option("--since", help="From this date or instant on.")] = None,
    until: Annotated[str | None, typer.Option("--until", help="Before this date or instant.")] = None,
) -> None:
    """Write readings as timestamp_utc, sensor, topic, temperature_c, rh_pct."""
    from ingest.export import export_readings as write_out

    store, now = _book()
    count = write_out(
        store,
        out,
        sensor=sensor,
        since_at=instant_of(since, "UTC", now()) if since else None,
        until_at=instant_of(until, "UTC", now()) if until else None,
    )
    say(f"{count} readings written to {out}.")


def register(app: typer.Typer) -> None:
    """Add these commands to the program."""
    app.add_typer(sensors_app, name="sensors")
    app.add_typer(export_app, name="export")
    app.command()(rejected)
    app.command("import-readings")(import_readings)
    app.command("salt-check")(salt_check)
